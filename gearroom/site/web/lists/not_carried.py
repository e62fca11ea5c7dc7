"""What a version of a list leaves out on purpose: shown, and edited in a draft."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, NotFound, Problem
from gearroom.core.services.people import people
from gearroom.site.web.page import (
    Choice,
    Day,
    Done,
    PageForm,
    Several,
    ShortText,
    actor,
    form_view,
    show,
    today_here,
    words,
)
from gearroom.site.web.page.forms import Number
from kits.models import Activity, Item, Need, NotCarried, PackingListVersion, WhyNotCarried
from kits.services.lists import comparison, draft_editing, look_again, not_carried
from kits.services.lists.not_carried import CarriedWhen, NotCarriedDraft
from kits.services.lists.packing_lists import version_of
from kits.services.lookup import find
from kits.services.text.planning import not_carried_texts

MOST_HOURS = Decimal(999)


@dataclass(frozen=True)
class ShownLine:
    """A line as pages show it, in words: what it is, why, when it is carried all the same, when to
    look at it again; `due`: that day has come."""

    line: NotCarriedDraft
    name: str
    why: str
    when: str
    again: str
    due: bool


def shown(version: PackingListVersion, today: date) -> list[ShownLine]:
    """What a version leaves out, as pages show it."""
    lines = not_carried.of(version)
    due = look_again.due_in(version, today) if lines else set()
    names = not_carried.activity_names() if lines else {}
    return [_shown(line, names, today, due) for line in lines]


def shown_lines(lines: Sequence[NotCarriedDraft], today: date) -> list[ShownLine]:
    """Lines of a draft that nobody has saved, as pages show them."""
    names = not_carried.activity_names() if lines else {}
    return [_shown(line, names, today, None) for line in lines]


def _shown(
    line: NotCarriedDraft, names: Mapping[str, str], today: date, due_keys: set[str] | None
) -> ShownLine:
    due = None if due_keys is None else line.key in due_keys
    return ShownLine(
        line,
        not_carried_texts.name(line.item, line.need),
        not_carried_texts.why(line.why, line.words),
        not_carried_texts.when(*line.when, names),
        not_carried_texts.again(line.look_again_on, line.look_again_after, today, due=due),
        bool(due),
    )


@dataclass(frozen=True)
class ComparedLine:
    """A line of either of two versions, where they differ; None where a version has none."""

    name: str
    before: ShownLine | None
    after: ShownLine | None


def compared(
    before: PackingListVersion, after: PackingListVersion, today: date
) -> list[ComparedLine]:
    """What two versions leave out otherwise, as pages show it."""
    rows = comparison.left_out_otherwise(before, after)
    names = not_carried.activity_names() if rows else {}
    due = {of.pk: look_again.due_in(of, today) for of in (before, after)} if rows else {}

    def side(row: NotCarried | None) -> ShownLine | None:
        if row is None:
            return None
        return _shown(not_carried.draft_of(row), names, today, due[row.version_id])

    return [
        ComparedLine(either.name, was, now)
        for was, now in ((side(row.before), side(row.after)) for row in rows)
        if (either := now or was)
    ]


class NotCarriedForm(PageForm):
    """What is not carried, why, what is done instead, when it is carried all the same, and who
    decided it."""

    thing = ShortText(120)
    need = ShortText(40)
    why = Choice(WhyNotCarried, label=gettext_lazy("Reason"))
    words = ShortText(300)
    instead = ShortText(300)
    hazard = Several()
    activity = Several()
    hours = Number(MOST_HOURS, required=False, label=gettext_lazy("Hours to definitive care"))
    trained = ShortText(300)
    decided_by = ShortText(20)
    decided_on = Day(required=False, label=gettext_lazy("Decided on"))
    look_again_on = Day(required=False, label=gettext_lazy("Look at it again on"))
    look_again_after = ShortText(200)


def _page(
    request: HttpRequest, id: int, number: int, problem: Problem | None = None
) -> HttpResponse:
    version = version_of(id, number)
    lines = shown(version, today_here(request))
    key = request.POST.get("was") or request.GET.get("of", "")
    edited = next((each for each in lines if each.line.key == key), None)
    if key and edited is None:
        raise NotFound("line of what that kit list leaves out", key)
    sent = request.POST if problem and "why" in request.POST else None
    values: Any = sent or (_values(edited.line) if edited else {})
    who = actor(request)
    return show(
        request,
        "site/lists/draft/not_carried.html",
        problem=problem,
        version=version,
        lines=lines,
        edited=edited,
        values=values,
        reasons=not_carried_texts.WHY.items(),
        needs=Need.objects.active(),
        things=Item.objects.active().values_list("name", flat=True),
        hazards=words.HAZARDS.items(),
        activities=Activity.objects.filter(retired_on=None),
        chosen_hazards=sent.getlist("hazard") if sent else values.get("hazard", ()),
        chosen_activities=sent.getlist("activity") if sent else values.get("activity", ()),
        people=people.choices(who),
    )


def _values(line: NotCarriedDraft) -> dict[str, Any]:
    """A line as its form shows it."""
    return {
        "thing": line.item.name if line.item else "",
        "need": line.need.key if line.need else "",
        "why": str(line.why),
        "words": line.words,
        "instead": line.instead,
        "hazard": line.when.hazards,
        "activity": line.when.activities,
        "hours": "" if line.when.hours_to_care is None else f"{line.when.hours_to_care:f}",
        "trained": line.trained,
        "decided_by": str(line.decided_by.pk) if line.decided_by else "",
        "decided_on": line.decided_on.isoformat() if line.decided_on else "",
        "look_again_on": line.look_again_on.isoformat() if line.look_again_on else "",
        "look_again_after": line.look_again_after,
    }


@form_view("edit_list", "list-not-carried", page_of=_page)
def edit(act: Act, request: HttpRequest, id: int, number: int) -> Done:
    """What a draft leaves out on purpose: add a line, change it or remove it."""
    version, sent = version_of(id, number), request.POST
    if key := sent.get("drop"):
        draft_editing.drop_not_carried(act, version, key)
        return Done(_("Removed."))
    line = _line(act, sent)
    draft_editing.put_not_carried(act, version, line, was=sent.get("was", ""))
    return Done(_("%(name)s has been saved.") % {"name": line.name})


def _line(act: Act, sent: QueryDict) -> NotCarriedDraft:
    values = NotCarriedForm.read(sent)
    thing, key, decided_by = (values.pop(name) for name in ("thing", "need", "decided_by"))
    when = CarriedWhen(*(values.pop(name) for name in ("hazard", "activity", "hours")))
    need = Need.objects.filter(key=key).first() if key else None
    if key and need is None:
        raise Invalid(_("Choose a need from the list."), field="need")
    return NotCarriedDraft(
        item=find.item(thing) if thing else None,
        need=need,
        when=when,
        decided_by=find.person(act.actor, decided_by) if decided_by else None,
        **values,
    )
