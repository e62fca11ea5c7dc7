"""A kit's record as of a day, for whoever has to answer for it: the list it followed, whether what
was inside was what the list asks for, who last looked inside, and its instruments' checks."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from gearroom.core import clock
from gearroom.core.models import Person
from gearroom.core.rules.grouping import grouped, summed
from kits.models import Entry, InstrumentCheck, Item, Kit, ListLine, Lot, PackingListVersion
from kits.rules.ledger import Batch, Kind, Level, look_by, usable_through
from kits.services.kits.history import Content, Contents, contents
from kits.services.ledger import known_then, readiness, swaps


@dataclass(frozen=True)
class ListedItem:
    """A line of the list and what was there for it: `there` units of the thing, and of what will do
    instead where that has no line of its own, in these `batches`; `good` of them were usable that
    day. For what is judged by eye, `level` instead."""

    item: Item
    carry: int
    never_below: int
    there: int
    good: int
    level: Level | None
    batches: Sequence[Content]

    @property
    def short(self) -> bool:
        """Below what there must never be less of."""
        empty = self.never_below > 0 and self.level in (None, Level.EMPTY)
        return empty if self.item.by_eye else self.good < self.never_below


@dataclass(frozen=True)
class Pouch:
    """One section: what its list asked for with what was there for it; `others`: what was in it
    besides; `levels`: all that was judged by eye."""

    name: str
    listed: Sequence[ListedItem]
    others: Sequence[Content]
    levels: Sequence[tuple[Item, Level]]


@dataclass(frozen=True)
class Checked:
    """An instrument that was inside, with its latest check by then, if there was one."""

    lot: Lot
    check: InstrumentCheck | None
    companions: Mapping[str, int] = field(default_factory=dict)
    """What goes with it, such as spare batteries, by name: how many units were inside."""


@dataclass(frozen=True)
class Record:
    """A kit as of an instant. `signed`: the signature on record for that version was in force that
    day. `look_by`: when it was due to be looked inside again. `recalled`: the ids of the
    batches inside that their maker had recalled. `withheld`: why the kit was kept back. `batches`:
    those inside, by id, as they were known."""

    inside: Contents
    day: date
    version: PackingListVersion
    signed: bool
    responsible: Person | None
    looked_inside: Entry | None
    look_by: date | None
    pouches: Sequence[Pouch]
    instruments: Sequence[Checked]
    recalled: frozenset[int]
    withheld: Sequence[str]
    batches: Mapping[int, Batch]


def record(kit: Kit, *, on: date | None = None, known_by: datetime | None = None) -> Record:
    """A kit's record at the end of a day (without one: now), as known now or as known by then.

    Raises Invalid for a `known_by` that is still to come.
    """
    inside = contents(kit, on=on, known_by=known_by)
    day = on or clock.local_date(inside.on, kit.home_room.time_zone)
    then = known_then.Then(inside.on, inside.known_by)
    settings = known_then.of_kit(kit, then)
    version = known_then.version(kit, then, day)
    numbers = {line.lot: line.number for line in inside.lines}
    recalled = known_then.recalled(numbers, then)
    withheld, kept_back = known_then.withheld(kit, [lot.pk for lot in numbers], then)
    looked = (
        Entry.objects.filter(
            kit=kit,
            detail__looked_inside=True,
            occurred_at__lte=inside.on,
            recorded_at__lte=inside.known_by,
        )
        .exclude(reversed_by__recorded_at__lte=inside.known_by)
        .select_related("person")
        .order_by("-occurred_at", "-id")
        .first()
    )
    instruments = checks(inside)
    batches = _batches(inside, recalled, kept_back, instruments)
    usable = frozenset(pk for pk, batch in batches.items() if usable_through(batch, day))
    return Record(
        inside=inside,
        day=day,
        version=version,
        signed=version.is_signed_on(day),
        responsible=Person.objects.filter(pk=settings["responsible"]).first(),
        looked_inside=looked,
        look_by=look_by(
            clock.local_date(looked.occurred_at, kit.home_room.time_zone),
            settings["look_interval_days"],
        )
        if looked
        else None,
        pouches=_pouches(version, inside, usable),
        instruments=instruments,
        recalled=recalled,
        withheld=withheld,
        batches=batches,
    )


def checks(inside: Contents) -> list[Checked]:
    """The instruments inside, each with its latest check by that instant."""
    lots = {line.lot.pk: line.lot for line in inside.lines if line.lot.item.kind == Kind.INSTRUMENT}
    latest = {
        check.lot_id: check
        for check in InstrumentCheck.objects.filter(
            lot__in=lots,
            entry__occurred_at__lte=inside.on,
            entry__recorded_at__lte=inside.known_by,
        )
        .exclude(entry__reversed_by__recorded_at__lte=inside.known_by)
        .select_related("checked_by")
        .order_by("id")
    }
    inside_of = summed((line.lot.item_id, line.units) for line in inside.lines)
    companions = grouped(
        (item.goes_with_id, item)
        for item in Item.objects.active().filter(goes_with__in={x.item_id for x in lots.values()})
    )
    return [
        Checked(lot, latest.get(pk), {x.name: inside_of[x.pk] for x in companions[lot.item_id]})
        for pk, lot in lots.items()
    ]


# ------------------------------------------------------------------------------------------- inside
def _batches(
    inside: Contents,
    recalled: frozenset[int],
    kept_back: frozenset[int],
    instruments: Sequence[Checked],
) -> dict[int, Batch]:
    """The batches inside as the rules see them, as they were known."""
    checked = {each.lot.pk: each.check for each in instruments}
    return {
        line.lot.pk: replace(
            readiness.as_batch(
                line.lot,
                readiness.thing_of(line.lot.item),
                checked.get(line.lot.pk),
                on_hold=line.lot.pk in kept_back,
            ),
            expiry=line.expiry,
            recalled=line.lot.pk in recalled,
        )
        for line in inside.lines
    }


def _pouches(version: PackingListVersion, inside: Contents, usable: frozenset[int]) -> list[Pouch]:
    sections = list(version.sections.prefetch_related("lines__item__substitutes"))
    wanted = {section.key: list(section.lines.all()) for section in sections}
    rows = [row for lines in wanted.values() for row in lines]
    instead = {
        row.item_id: frozenset(s.instead_id for s in row.item.substitutes.all()) for row in rows
    } | known_then.restore([row.item for row in rows], inside.known_by)
    for item, replaced in swaps.of_versions([version.pk]).get(version.pk, {}).items():
        instead[item] = instead.get(item, frozenset()).union(old.id for old in replaced)
    places = (*(x.section for x in inside.lines), *(where for where, _, _ in inside.levels))
    on_list = {section.key: section.name for section in sections}
    names = on_list | {x.section_key: x.name for x in places if x.section_key not in on_list}
    return [
        _pouch(name, key, wanted.get(key, ()), inside, usable, instead)
        for key, name in names.items()
    ]


def _pouch(
    name: str,
    key: str,
    wanted: Sequence[ListLine],
    inside: Contents,
    usable: frozenset[int],
    instead: Mapping[int, frozenset[int]],
) -> Pouch:
    lines = [line for line in inside.lines if line.section.section_key == key]
    levels = {
        item.pk: (item, level) for where, item, level in inside.levels if where.section_key == key
    }
    own = {row.item_id for row in wanted}
    does = {row.item_id: {row.item_id, *(instead[row.item_id] - own)} for row in wanted}
    batches = {
        item: [line for line in lines if line.lot.item_id in items] for item, items in does.items()
    }
    listed = [
        ListedItem(
            item=row.item,
            carry=row.carry,
            never_below=row.never_below,
            there=sum(line.units for line in batches[row.item_id]),
            good=sum(x.units for x in batches[row.item_id] if x.lot.pk in usable),
            level=levels[row.item_id][1] if row.item_id in levels else None,
            batches=batches[row.item_id],
        )
        for row in wanted
    ]
    wanted_items = set().union(*does.values())
    others = [line for line in lines if line.lot.item_id not in wanted_items]
    return Pouch(name, listed, others, list(levels.values()))
