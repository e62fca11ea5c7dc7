"""What a version of a list leaves out on purpose, and why: a line of its own kind."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from django.utils.translation import gettext as _

from gearroom.core.acts import Invalid
from gearroom.core.models import Person
from kits.models import (
    Activity,
    Item,
    ItemNeed,
    Need,
    NotCarried,
    PackingListVersion,
    WhyNotCarried,
)
from kits.rules.text.hazards import hazards
from kits.services.text.wording import as_invalid

MOST_NOT_CARRIED = 100
FIELD = "not_carried"


class CarriedWhen(NamedTuple):
    """When something is carried all the same: for these hazards, for activities (keys), or from so
    many hours to definitive care on."""

    hazards: Sequence[str] = ()
    activities: Sequence[str] = ()
    hours_to_care: Decimal | None = None


NEVER = CarriedWhen()


@dataclass(frozen=True)
class NotCarriedDraft:
    """An item or a need (one of them) that is not carried: why, in words too; what is done instead;
    when it is carried all the same; who is trained to use it; who decided it and when; when to look
    at it again, or after what."""

    why: WhyNotCarried
    item: Item | None = None
    need: Need | None = None
    words: str = ""
    instead: str = ""
    when: CarriedWhen = NEVER
    trained: str = ""
    decided_by: Person | None = None
    decided_on: date | None = None
    look_again_on: date | None = None
    look_again_after: str = ""

    @property
    def name(self) -> str:
        """What is not carried."""
        return str(self.item or self.need)

    @property
    def key(self) -> str:
        """Which it is among the lines of its version."""
        return f"item-{self.item.pk}" if self.item else f"need-{self.need.pk if self.need else 0}"


def write(version: PackingListVersion, lines: Sequence[NotCarriedDraft]) -> None:
    """Let a draft leave out these, in place of what it left out before."""
    version.not_carried.all().delete()
    NotCarried.objects.bulk_create(
        NotCarried(
            version=version,
            item=line.item,
            need=line.need,
            why=line.why,
            words=line.words,
            instead=line.instead,
            hazards=list(line.when.hazards),
            activities=list(line.when.activities),
            hours_to_care=line.when.hours_to_care,
            trained=line.trained,
            decided_by=line.decided_by,
            decided_on=line.decided_on,
            look_again_on=line.look_again_on,
            look_again_after=line.look_again_after,
            position=position,
        )
        for position, line in enumerate(lines)
    )


def of(version: PackingListVersion) -> list[NotCarriedDraft]:
    """What a version leaves out, as a draft of the next."""
    rows = version.not_carried.select_related("item", "need", "decided_by")
    return [draft_of(row) for row in rows]


def draft_of(row: NotCarried) -> NotCarriedDraft:
    """A line as a draft says it: what it is compared by, and copied from."""
    return NotCarriedDraft(
        why=WhyNotCarried(row.why),
        item=row.item,
        need=row.need,
        words=row.words,
        instead=row.instead,
        when=CarriedWhen(tuple(row.hazards), tuple(row.activities), row.hours_to_care),
        trained=row.trained,
        decided_by=row.decided_by,
        decided_on=row.decided_on,
        look_again_on=row.look_again_on,
        look_again_after=row.look_again_after,
    )


def activity_names() -> dict[str, str]:
    """The names of activities by key, as they are on record."""
    return dict(Activity.objects.values_list("key", "name"))


def refuse_wrong(lines: Sequence[NotCarriedDraft], carried: set[int]) -> None:
    """Raise Invalid (field `not_carried`) for the first of what cannot be (`faults`), or for more
    than there can be."""
    if len(lines) > MOST_NOT_CARRIED:
        raise Invalid(
            _("A list can leave out at most %(most)s items and needs.")
            % {"most": MOST_NOT_CARRIED},
            field=FIELD,
        )
    for _at, fault in faults(lines, carried):
        raise fault


def faults(lines: Sequence[NotCarriedDraft], carried: set[int]) -> Iterator[tuple[int, Invalid]]:
    """What cannot be, each with the position of its line: neither an item nor a need, both, one
    twice, an item that the list carries (`carried`), *another reason* without words, hazards or
    activities that nobody knows."""
    known = set(Activity.objects.values_list("key", flat=True))
    times = Counter((line.item, line.need) for line in lines)
    for at, line in enumerate(lines):
        for says in _faults(line, times, carried, known):
            yield at, Invalid(says % {"name": line.name}, field=FIELD)
        try:
            with as_invalid(FIELD):
                hazards(line.when.hazards)
        except Invalid as fault:
            yield at, fault


def _faults(
    line: NotCarriedDraft,
    times: Mapping[tuple[Item | None, Need | None], int],
    carried: set[int],
    known: set[str],
) -> Iterator[str]:
    if (line.item is None) == (line.need is None):
        yield _("Choose an item or a need that is not carried.")
    elif times[line.item, line.need] > 1:
        yield _("%(name)s is left out twice. Combine the two entries.")
    if line.item is not None and line.item.pk in carried:
        yield _(
            "%(name)s is both on this list and among what the list leaves out. Remove one of "
            "the two."
        )
    if line.why == WhyNotCarried.OTHER and not line.words.strip():
        yield _("Enter why %(name)s is not carried.")
    if unknown := sorted(set(line.when.activities) - known):
        # The text is made whole here: what it names may have a percent sign.
        says = _("There is no activity “%(activity)s”.") % {"activity": unknown[0]}
        yield says.replace("%", "%%")


def best_carried(
    lines: Sequence[NotCarriedDraft], carried: set[int]
) -> Iterator[tuple[int, Invalid]]:
    """Needs that are left out though the list carries the best item for them, each with the
    position of its line."""
    rows = ItemNeed.objects.filter(best=True, item__in=carried).select_related("item")
    best = {row.need_id: row.item.name for row in rows.order_by("-pk")}
    says = _(
        "This list leaves out a need that %(item)s is for, but %(item)s is on the list. "
        "Remove one of the two."
    )
    for at, line in enumerate(lines):
        if line.need is not None and line.need.pk in best:
            yield at, Invalid(says % {"item": best[line.need.pk]}, field=FIELD)
