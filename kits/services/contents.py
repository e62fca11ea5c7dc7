"""What was in a kit on a day, as known now or as it was known then.

`on` is asked of when things happened (`occurred_at`), `known_by` of when we wrote them down
(`recorded_at`). An answer for a `known_by` in the past never changes: entries are only added.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db.models import F, Q, Sum
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.problems import Invalid
from kits.models import (
    Handover,
    Item,
    Kit,
    LevelFact,
    Lot,
    LotFact,
    Movement,
    Place,
    PlaceKind,
    Seal,
)
from kits.rules.expiry import good_through
from kits.rules.facts import Level
from kits.services import fitness
from kits.services.custody import end_of_day


@dataclass(frozen=True)
class Content:
    """Units of one batch in one section, with the batch's facts as they were known."""

    section: Place
    lot: Lot
    number: str
    expiry: date | None
    units: int
    good_until: date | None
    """The last good day by that date and, of an opened pack, by its opened life."""


@dataclass(frozen=True)
class Contents:
    """A kit's contents at an instant, who had it and under which seal."""

    on: datetime
    known_by: datetime
    lines: Sequence[Content]
    levels: Sequence[tuple[Place, Item, Level]]
    seal: str
    holder: str


def instant(kit: Kit, on: date | datetime | None) -> datetime:
    """The instant asked for: now, the very time, or the end of a local day."""
    if on is None:
        return clock.now()
    if isinstance(on, datetime):
        return on
    return end_of_day(on, kit.home_room.time_zone)


def contents(
    kit: Kit, *, on: date | datetime | None = None, known_by: datetime | None = None
) -> Contents:
    """What was in a kit. Without `on`: now. Without `known_by`: as known now.

    Raises Invalid for a `known_by` that is still to come.
    """
    now = clock.now()
    if known_by is not None and known_by > now:
        raise Invalid(_("What will be known later is not known yet."), field="known_by")
    known_by = known_by or now
    at = instant(kit, on)
    sections = {p.pk: p for p in kit.sections.filter(kind=PlaceKind.SECTION)}
    then = Q(entry__occurred_at__lte=at, entry__recorded_at__lte=known_by)
    units: dict[tuple[int, int], int] = defaultdict(int)
    for sign, place in ((1, "to_place"), (-1, "from_place")):
        for row in (
            Movement.objects.filter(then, **{f"{place}__in": sections})
            .values("lot", where=F(place))
            .annotate(total=Sum("units"))
            .order_by()
        ):
            units[row["where"], row["lot"]] += sign * row["total"]
    there = {where: count for where, count in units.items() if count}
    lots = Lot.objects.select_related("item").in_bulk({lot for _, lot in there})
    facts: dict[int, LotFact] = {}
    for fact in LotFact.objects.filter(lot__in=lots, entry__recorded_at__lte=known_by):
        facts[fact.lot_id] = fact
    batches = fitness.batches(lots.values())
    known_expiry = {pk: facts[pk].expiry if pk in facts else lot.expiry for pk, lot in lots.items()}
    lines = [
        Content(
            section=sections[place],
            lot=lots[lot],
            number=facts[lot].number if lot in facts else lots[lot].number,
            expiry=known_expiry[lot],
            units=count,
            good_until=good_through(replace(batches[lot], expiry=known_expiry[lot])),
        )
        for (place, lot), count in there.items()
    ]
    lines.sort(key=lambda c: (c.section.position, c.section.pk, c.lot.item.name, c.lot.pk))
    seen: dict[tuple[int, int], LevelFact] = {}
    for level in LevelFact.objects.filter(then, section__in=sections).select_related("item"):
        seen[level.section_id, level.item_id] = level
    return Contents(
        on=at,
        known_by=known_by,
        lines=lines,
        levels=[(sections[f.section_id], f.item, Level(f.level)) for f in seen.values()],
        seal=_seal(kit, at, known_by),
        holder=_holder(kit, at, known_by),
    )


def _seal(kit: Kit, at: datetime, known_by: datetime) -> str:
    seal = (
        Seal.objects.filter(
            kit=kit,
            section=None,
            put_on__occurred_at__lte=at,
            put_on__recorded_at__lte=known_by,
        )
        .exclude(broken__occurred_at__lte=at, broken__recorded_at__lte=known_by)
        .order_by("-id")
        .first()
    )
    return seal.number if seal else ""


def _holder(kit: Kit, at: datetime, known_by: datetime) -> str:
    had = (
        Handover.objects.filter(
            checkout__kit=kit,
            checkout__section=None,
            since__lte=at,
            entry__recorded_at__lte=known_by,
        )
        .exclude(checkout__in_at__lte=at, checkout__closed_by__recorded_at__lte=known_by)
        .exclude(checkout__undone__recorded_at__lte=known_by)
        .select_related("person")
        .order_by("-id")
        .first()
    )
    return had.person.name if had and had.person else ""
