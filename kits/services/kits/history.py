"""A kit's past: its acts, newest first, with what each put in and took out; and what was in it on a
day, as known now or as it was known then.

`on` is asked of when things happened (`occurred_at`), `known_by` of when we wrote them down
(`recorded_at`). An answer for a `known_by` in the past never changes: entries are only added.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db.models import Prefetch, Q, Sum
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Actor, Invalid
from gearroom.core.models import Person
from gearroom.core.rules.grouping import grouped, summed
from kits.models import (
    CheckoutFact,
    Entry,
    EntryKind,
    Kit,
    LevelFact,
    ListSection,
    Lot,
    LotFact,
    Movement,
    Photo,
    Place,
    SealFact,
)
from kits.rules.ledger import Level, good_through
from kits.services.ledger import LooseLevel, facts, known_then, readiness
from kits.services.ledger.undo import reversal
from kits.services.lookup import find

MAY_BE_ANOTHER_KITS = (
    EntryKind.CHECK_OUT,
    EntryKind.EMERGENCY,
    EntryKind.CHECK_IN,
    EntryKind.PASS,
)
"""Kinds of acts that may have been done with another kit (see `custody.wrong_kit`)."""


@dataclass(frozen=True)
class Moved:
    """Units of a thing that an act put into a kit or took out of it."""

    thing: str
    units: int


@dataclass(frozen=True)
class PastAct:
    """One act, and what moved by it. `put_right`: it was taken back later. `moves`: it may have
    been another kit's (see `mixups`). `undoes`: it may be undone (see `reversal`).
    `handed_over_by`: who sent it for whoever wrote it down."""

    entry: Entry
    put_in: Sequence[Moved]
    taken_out: Sequence[Moved]
    put_right: bool
    moves: bool
    undoes: bool
    handed_over_by: Person | None


def history(
    actor: Actor, kit: Kit, *, most: int, before: int | None = None
) -> tuple[list[PastAct], int | None]:
    """The last `most` acts on a kit that somebody may see, or those before an entry's id; and the
    id to go on before, or None where that is all. The number of queries does not grow with them."""
    acts = find.entries_of(actor).filter(kit=kit)
    if before is not None:
        acts = acts.filter(pk__lt=before)
    rows = list(
        acts.select_related("person", "trip", "reversed_by")
        .prefetch_related(
            "checkouts_opened__person",
            "handovers__person",
            "movements__lot__item",
            "movements__from_place",
            "movements__to_place",
            Prefetch("photos", Photo.objects.defer("jpeg")),
        )
        .order_by("-id")[: most + 1]
    )
    page = rows[:most]
    ids = {entry.pk: entry.detail.get("handed_over_by") for entry in page}
    senders = Person.objects.in_bulk({pk for pk in ids.values() if pk})
    past = [_past_act(kit, entry, senders.get(ids[entry.pk])) for entry in page]
    return past, page[-1].pk if len(rows) > most else None


def _past_act(kit: Kit, entry: Entry, sender: Person | None) -> PastAct:
    across = [
        (leg.to_place.kit_id == kit.pk, (leg.lot.item.name, leg.units))
        for leg in entry.movements.all()
        if (leg.to_place.kit_id == kit.pk) != (leg.from_place.kit_id == kit.pk)
    ]
    moved = grouped(across)
    put_right = hasattr(entry, "reversed_by")
    moves = entry.kind in MAY_BE_ANOTHER_KITS and not facts.section_key(entry) and not put_right
    undoes = not put_right and entry.kind not in reversal.INSTEAD and not facts.is_added(entry)
    return PastAct(entry, _rows(moved[True]), _rows(moved[False]), put_right, moves, undoes, sender)


def _rows(moved: list[tuple[str, int]]) -> list[Moved]:
    return [Moved(name, units) for name, units in sorted(summed(moved).items())]


# -------------------------------------------------------------------------- what was in it on a day
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
        raise Invalid(
            _("That time is in the future. Enter the present time or an earlier one."),
            field="known_by",
        )
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
