"""What a version of a list leaves out on purpose, as pages show it and a draft's table has it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid
from gearroom.site.web.page import (
    Choice,
    Day,
    PageForm,
    Several,
    ShortText,
)
from gearroom.site.web.page.forms import Number
from kits.models import Need, NotCarried, PackingListVersion, WhyNotCarried
from kits.services.lists import comparison, look_again, not_carried
from kits.services.lists.not_carried import CarriedWhen, NotCarriedDraft
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
    why = Choice(WhyNotCarried, message=gettext_lazy("Choose why this is not carried."))
    words = ShortText(300)
    instead = ShortText(300)
    hazard = Several()
    activity = Several()
    hours = Number(MOST_HOURS, required=False, label=gettext_lazy("Hours to a hospital or doctor"))
    trained = ShortText(300)
    decided_by = ShortText(20)
    decided_on = Day(required=False, label=gettext_lazy("Decided on"))
    look_again_on = Day(required=False, label=gettext_lazy("Next review on"))
    look_again_after = ShortText(200)


def line_of(act: Act, form: NotCarriedForm) -> NotCarriedDraft:
    """The line that a row of a draft's table stands for. Raises Invalid, NotFound."""
    values = form.values()
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
