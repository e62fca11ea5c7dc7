"""What planning is in words of: needs in groups, activities, and what an item serves."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, NotFound, Problem
from gearroom.site.web.page.form_acts import Done
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import PageForm, ShortText, Tick, WholeNumber
from gearroom.site.web.page.shell import actor, show
from kits.models import Activity, ItemNeed, Need, NeedGroup
from kits.rules.planning.records.units_per_use import MOST_UNITS
from kits.services.lookup import find
from kits.services.planning import vocabulary
from kits.services.text.planning import rate_texts


class NeedForm(PageForm):
    """A need's name and group."""

    name = ShortText(vocabulary.MOST_NAME)
    group = ShortText(12)


class ActivityForm(PageForm):
    """An activity's name."""

    name = ShortText(vocabulary.MOST_NAME)


def need_of(key: str) -> Need:
    """A need by its key. Raises Invalid where none was chosen, NotFound."""
    if not key:
        raise Invalid(_("Choose a need."), field="need")
    need = Need.objects.filter(key=key).first()
    if need is None:
        raise NotFound("need", key)
    return need


def _activity_of(key: str) -> Activity:
    activity = Activity.objects.filter(key=key).first()
    if activity is None:
        raise NotFound("activity", key)
    return activity


def chosen_activity(key: str) -> Activity | None:
    """The activity that a form chose; None for any. Raises Invalid."""
    activity = Activity.objects.filter(key=key).first() if key else None
    if key and activity is None:
        raise Invalid(_("Choose an activity from the list."), field="activity")
    return activity


# ------------------------------------------------------------------------- needs and activities
def _words_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    needs = list(Need.objects.order_by("name"))
    return show(
        request,
        "site/planning/vocabulary/vocabulary.html",
        problem=problem,
        groups=[
            (
                group.value,
                rate_texts.group(group.value),
                [n for n in needs if n.group == group.value],
            )
            for group in NeedGroup
        ],
        activities=Activity.objects.order_by("name"),
        may_edit=actor(request).may("edit_list"),
        values=request.POST if problem else {},
    )


@form_view("look", "needs", page_of=_words_page)
def words(act: Act, request: HttpRequest) -> Done:
    """Needs and activities: add one, rename it, retire it or bring it back."""
    name = next((name for name in _WORDS if name in request.POST), None)
    if name is None:
        raise Invalid(_("Choose an action."))
    return Done(_WORDS[name](act, request.POST))


def _add_need(act: Act, sent: QueryDict) -> str:
    need = vocabulary.add_need(act, **NeedForm.read(sent))
    return _("“%(name)s” has been added.") % {"name": need.name}


def _edit_need(act: Act, sent: QueryDict) -> str:
    need = vocabulary.edit_need(act, need_of(sent.get("edit-need", "")), **NeedForm.read(sent))
    return _("“%(name)s” has been saved.") % {"name": need.name}


def _add_activity(act: Act, sent: QueryDict) -> str:
    activity = vocabulary.add_activity(act, **ActivityForm.read(sent))
    return _("“%(name)s” has been added.") % {"name": activity.name}


def _edit_activity(act: Act, sent: QueryDict) -> str:
    of = _activity_of(sent.get("edit-activity", ""))
    activity = vocabulary.rename_activity(act, of, **ActivityForm.read(sent))
    return _("“%(name)s” has been saved.") % {"name": activity.name}


def _retired(name: str) -> str:
    return _("“%(name)s” is no longer offered. Past records with it are kept.") % {"name": name}


def _back(name: str) -> str:
    return _("“%(name)s” is offered again.") % {"name": name}


_WORDS: dict[str, Callable[[Act, QueryDict], str]] = {
    "add-need": _add_need,
    "edit-need": _edit_need,
    "retire-need": lambda act, sent: _retired(
        vocabulary.retire(act, need_of(sent.get("retire-need", ""))).name
    ),
    "bring-back-need": lambda act, sent: _back(
        vocabulary.bring_back(act, need_of(sent.get("bring-back-need", ""))).name
    ),
    "add-activity": _add_activity,
    "edit-activity": _edit_activity,
    "retire-activity": lambda act, sent: _retired(
        vocabulary.retire(act, _activity_of(sent.get("retire-activity", ""))).name
    ),
    "bring-back-activity": lambda act, sent: _back(
        vocabulary.bring_back(act, _activity_of(sent.get("bring-back-activity", ""))).name
    ),
}


# ----------------------------------------------------------------------------- what an item serves
class ServesForm(PageForm):
    """A need that an item serves."""

    need = ShortText(40)
    units_per_use = WholeNumber(least=1, most=MOST_UNITS, label=gettext_lazy("Units per use"))
    best = ShortText(8)
    needs_training = Tick()


def _serves_page(request: HttpRequest, item: int, problem: Problem | None = None) -> HttpResponse:
    of = find.item(item)
    rows = ItemNeed.objects.filter(item=of).select_related("need").order_by("need__name")
    return show(
        request,
        "site/planning/vocabulary/serves.html",
        problem=problem,
        item=of,
        rows=rows,
        needs=Need.objects.active().exclude(pk__in=[row.need_id for row in rows]).order_by("name"),
        may_edit=actor(request).may("edit_list"),
        values=request.POST if problem else {"units_per_use": "1"},
    )


@form_view("look", "serves", page_of=_serves_page)
def serves(act: Act, request: HttpRequest, item: int) -> Done:
    """What an item serves: add a need or change how, or remove it."""
    of = find.item(item)
    if "remove" in request.POST:
        need = need_of(request.POST.get("remove", ""))
        vocabulary.remove_serves(act, of, need)
        says = _("%(item)s is no longer listed for “%(need)s”.")
    else:
        values = ServesForm.read(request.POST)
        need = need_of(values["need"])
        vocabulary.put_serves(
            act,
            of,
            need,
            best=values["best"] != "no",
            units_per_use=values["units_per_use"],
            needs_training=values["needs_training"],
        )
        says = _("%(item)s is now listed for “%(need)s”.")
    return Done(says % {"item": of.name, "need": need.name})
