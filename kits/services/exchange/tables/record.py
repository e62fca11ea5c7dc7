"""The record: every act, and every unit that it moved. It is only exported: what has happened is
recorded by doing it, and put right by undoing it.
"""

from collections.abc import Iterator, Sequence
from datetime import timedelta

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.models import Room
from gearroom.core.rules.sentences import say
from kits.models import Entry, Movement, Place
from kits.rules.exchange.values import Column, Type
from kits.services.exchange.names import person_text
from kits.services.exchange.table import Filters, Row, Table
from kits.services.lookup import find, without_strangers
from kits.services.lookup.own_side import own_side

_AT_ONCE = 1000
"""Acts that are held in memory at a time."""

COLUMNS = (
    Column("entry", say("Record"), say("The number of the act."), Type.WHOLE, most=10**9),
    Column("occurred_at", say("When"), say("When it happened."), Type.MOMENT),
    Column("recorded_at", say("Recorded"), say("When it was written down."), Type.MOMENT),
    Column("kind", say("Kind"), say("What was done.")),
    Column("kit", say("Kit"), say("The kit that it was done to."), longest=40),
    Column("room", say("Gear room"), say("Where it was done.")),
    Column("trip", say("Trip"), say("The trip that it was done for."), longest=160),
    Column("person", say("Who"), say("Who did it; empty: the program.")),
    Column("reason", say("Reason"), say("Why it was done."), longest=500),
    Column("incident", say("Incident"), say("The reference of an incident."), longest=80),
    Column("irregular", say("Irregular"), say("The rules that it broke."), Type.SEVERAL),
    Column("reverses", say("Undoes"), say("The number of the act that it undoes."), Type.WHOLE,
           most=10**9),
    Column("reversed_by", say("Undone by"), say("The number of the act that undid it."),
           Type.WHOLE, most=10**9),
    Column("item", say("Item"), say("What was moved.")),
    Column("lot", say("LOT or serial number"), say("The batch’s, as it is known now.")),
    Column("expiry", say("Expiry date"), say("The batch’s, as it is known now."), Type.DAY),
    Column("units", say("Units"), say("How many were moved."), Type.WHOLE),
    Column("from_place", say("From"), say("Where they were.")),
    Column("to_place", say("To"), say("Where they went.")),
    Column("batch_assumed", say("Batch assumed"),
           say("Whether nobody looked at the batch number, so that the oldest was assumed."),
           Type.YES_NO),
)  # fmt: skip


def rows(actor: Actor, filters: Filters) -> Iterator[Row]:
    """The acts that somebody may see, in the order in which they were recorded: a row for each
    batch that was moved, or one row. Days are those on which it happened."""
    acts = find.entries_of(actor)
    if filters.room:
        acts = acts.filter(room=filters.room)
    zone = filters.room.time_zone if filters.room else "UTC"
    if filters.since:
        before = clock.end_of_day(filters.since - timedelta(days=1), zone)
        acts = acts.filter(occurred_at__gt=before)
    if filters.until:
        acts = acts.filter(occurred_at__lte=clock.end_of_day(filters.until, zone))
    acts = acts.select_related("kit", "room", "trip", "person", "reversed_by").prefetch_related(
        "movements__lot__item",
        "movements__from_place__kit",
        "movements__to_place__kit",
        "movements__from_room",
        "movements__to_room",
    )
    last = 0
    while some := list(acts.filter(pk__gt=last).order_by("pk")[:_AT_ONCE]):
        last = some[-1].pk
        for entry in without_strangers(actor, some):
            yield from _rows(actor, entry)


def _rows(actor: Actor, entry: Entry) -> Iterator[Row]:
    moved = [leg for leg in entry.movements.all() if _is_seen(actor, leg)]
    if not moved:
        yield {**_act(entry), **dict.fromkeys(_OF_MOVEMENT)}
    for leg in moved:
        seen = own_side(actor, leg)
        yield {
            **_act(seen.entry),
            "item": leg.lot.item.name,
            "lot": leg.lot.serial or leg.lot.number,
            "expiry": leg.lot.expiry,
            "units": leg.units,
            "from_place": _place(seen.from_place),
            "to_place": _place(seen.to_place),
            "batch_assumed": leg.lot_assumed,
        }


_OF_MOVEMENT = tuple(column.name for column in COLUMNS[13:])


def _is_seen(actor: Actor, leg: Movement) -> bool:
    """Whether a movement is into, out of or within a room of somebody's."""
    rooms: Sequence[Room | None] = (leg.from_room, leg.to_room)
    return actor.everywhere or any(room is not None and actor.belongs_to(room.pk) for room in rooms)


def _act(entry: Entry) -> Row:
    reversed_by = getattr(entry, "reversed_by", None)
    return {
        "entry": entry.pk,
        "occurred_at": entry.occurred_at,
        "recorded_at": entry.recorded_at,
        "kind": str(entry.kind),
        "kit": entry.kit.name if entry.kit else "",
        "room": entry.room.slug if entry.room else "",
        "trip": entry.trip.name if entry.trip else "",
        "person": person_text(entry.person) or "",
        "reason": entry.reason,
        "incident": entry.incident,
        "irregular": tuple(map(str, entry.irregular)),
        "reverses": entry.reverses_id,
        "reversed_by": reversed_by.pk if reversed_by else None,
    }


def _place(place: Place) -> str:
    return f"{place.kit.name}, {place.name}" if place.kit_id and place.kit else place.name


TABLE = Table(
    "record",
    say("Record"),
    say("Everything that was done, with the units that it moved. It cannot be imported: what has "
        "happened is recorded by doing it."),
    COLUMNS,
    rows,
    use_case="read_history",
    narrowed_by=frozenset({"room", "since", "until"}),
    name_of=lambda values: str(values["entry"]),
)  # fmt: skip
