"""What a list must have where it serves a hazard: so many units for a need, and why."""

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.page.form_acts import Done
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import PageForm, ShortText, WholeNumber
from gearroom.site.web.page.shell import actor, show
from gearroom.site.web.planning.vocabulary import need_of
from kits.models import HazardNeed, Need
from kits.services.planning import vocabulary
from kits.services.text.planning import rate_texts
from kits.services.text.planning.planning_texts import CAUTION
from kits.services.text.wording import HAZARDS


class AskForm(PageForm):
    """What a hazard asks for."""

    hazard = ShortText(40)
    need = ShortText(40)
    units = WholeNumber(least=1, most=vocabulary.MOST_LEAST, label=gettext_lazy("Units"))
    reason = ShortText(vocabulary.MOST_REASON)


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    rows = list(HazardNeed.objects.select_related("need").order_by("need__name"))
    return show(
        request,
        "site/planning/hazards/hazards.html",
        problem=problem,
        hazards=[
            (slug, name, [row for row in rows if row.hazard == slug])
            for slug, name in HAZARDS.items()
        ],
        needs=Need.objects.active().order_by("name"),
        caution=CAUTION,
        most_reason=vocabulary.MOST_REASON,
        most_units=vocabulary.MOST_LEAST,
        may_edit=actor(request).may("edit_list"),
        values=request.POST if problem else {"units": "1"},
    )


@form_view("look", "hazard-needs", page_of=_page)
def asks(act: Act, request: HttpRequest) -> Done:
    """What hazards ask of a list: ask for a need, change how many and why, or ask no more."""
    if "remove" in request.POST:
        hazard, need = _hazard(request.POST.get("remove", "")), need_of(request.POST.get("of", ""))
        vocabulary.remove_hazard_need(act, hazard, need)
        says = _("Lists for %(hazard)s no longer have to cover “%(need)s”.")
    else:
        values = AskForm.read(request.POST)
        hazard, need = _hazard(values["hazard"]), need_of(values["need"])
        vocabulary.put_hazard_need(
            act, hazard, need, units=values["units"], reason=values["reason"]
        )
        says = _("Lists for %(hazard)s now have to cover “%(need)s”.")
    return Done(says % {"hazard": HAZARDS[hazard], "need": rate_texts.word(need.name)})


def _hazard(slug: str) -> str:
    """A hazard of the vocabulary. Raises Invalid."""
    if slug not in HAZARDS:
        raise Invalid(_("Choose a hazard."), field="hazard")
    return slug
