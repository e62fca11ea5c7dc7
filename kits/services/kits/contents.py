"""What was in a kit on a day, as known now or as it was known then.

`on` is asked of when things happened (`occurred_at`), `known_by` of when we wrote them down
(`recorded_at`). An answer for a `known_by` in the past never changes: entries are only added.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db.models import Q, Sum
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Actor, Invalid
from gearroom.core.models import Person
from gearroom.core.rules.grouping import summed
from kits.models import (
    CheckoutFact,
    Kit,
    LevelFact,
    ListSection,
    Lot,
    LotFact,
    Movement,
    Place,
    SealFact,
)
from kits.rules.ledger.expiry import good_through
from kits.rules.ledger.facts import Level
from kits.services.ledger import facts, known_then, readiness
from kits.services.ledger.levels import LooseLevel
from kits.services.lookup import find


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
    """A kit's contents at an instant, who had it and under which seal, and the name it had."""

    on: datetime
    known_by: datetime
    name: str
    lines: Sequence[Content]
    levels: Sequence[LooseLevel]
    seal: str
    holder: str


def instant(kit: Kit, on: date | datetime | None) -> datetime:
    """The instant meant by `on`: now, the very time, or the end of a local day."""
    if on is None:
        return clock.now()
    return on if isinstance(on, datetime) else clock.end_of_day(on, kit.home_room.time_zone)


def refuse_unless_known(actor: Actor, kit: Kit) -> None:
    """Raise NotAllowed unless somebody may see what was in a kit before: those of the room where it
    is at home."""
    if not find.knows_kit(actor, kit):
        actor.require("read_history", kit.home_room_id)


def contents(
    kit: Kit, *, on: date | datetime | None = None, known_by: datetime | None = None
) -> Contents:
    """What was in a kit. Without `on`: now. Without `known_by`: as known now.

    Raises Invalid for a `known_by` that is still to come.
    """
    now = clock.now()
    if known_by is not None and known_by > now:
        raise Invalid(_("That time is in the future."), field="known_by")
    known_by = known_by or now
    at = instant(kit, on)
    sections = {p.pk: p for p in kit.sections.all()}
    then = Q(entry__occurred_at__lte=at, entry__recorded_at__lte=known_by)
    in_force = facts.then(at, known_by)
    then_known = known_then.Then(at, known_by)
    on_list = ListSection.objects.filter(version=known_then.version_id(kit, then_known))
    positions = dict(on_list.values_list("key", "position"))
    units = summed(
        ((where, lot), sign * total)
        for sign, place in ((1, "to_place"), (-1, "from_place"))
        for where, lot, total in Movement.objects.filter(then, **{f"{place}__in": sections})
        .values_list(place, "lot")
        .annotate(total=Sum("units"))
        .order_by()
    )
    there = {where: count for where, count in units.items() if count}
    lots = Lot.objects.select_related("item").in_bulk({lot for _, lot in there})
    known_facts = LotFact.objects.filter(lot__in=lots, entry__recorded_at__lte=known_by)
    written = {fact.lot_id: fact for fact in known_facts}
    batches = readiness.batches(lots.values())
    expiry = {pk: written[pk].expiry if pk in written else lot.expiry for pk, lot in lots.items()}
    lines = [
        Content(
            section=sections[place],
            lot=lots[lot],
            number=written[lot].number if lot in written else lots[lot].number,
            expiry=expiry[lot],
            units=count,
            good_until=good_through(replace(batches[lot], expiry=expiry[lot])),
        )
        for (place, lot), count in there.items()
    ]
    levels = LevelFact.objects.filter(in_force, section__in=sections).select_related("item")
    latest = {(level.section_id, level.item_id): level for level in levels.order_by("id")}
    items = [*(lot.item for lot in lots.values()), *(level.item for level in latest.values())]
    known_then.restore(items, known_by)
    lines.sort(
        key=lambda c: (
            positions.get(c.section.section_key, len(positions)),  # what is not on it comes last
            c.section.pk,
            c.lot.item.name,
            c.lot.pk,
        )
    )
    return Contents(
        on=at,
        known_by=known_by,
        name=known_then.of_kit(kit, then_known)["name"],
        lines=lines,
        levels=[
            LooseLevel(sections[f.section_id], f.item, Level(f.level)) for f in latest.values()
        ],
        seal=_seal(kit, in_force),
        holder=_holder(kit, in_force),
    )


def _seal(kit: Kit, when: Q) -> str:
    spans = facts.seals(SealFact.objects.filter(when, kit=kit))
    on = (span.number for span in spans if span.section is None and span.broken is None)
    return next(on, "")


def _holder(kit: Kit, when: Q) -> str:
    times = facts.times(CheckoutFact.objects.filter(when, kit=kit))
    held = next((t for t in times if t.section is None and t.closed is None), None)
    return Person.objects.get(pk=held.person).name if held and held.person else ""
