"""Trips, as whoever plans them has them in a table."""

from collections.abc import Hashable, Iterator
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, Invalid
from gearroom.core.rules.sentences import say
from kits.models import Trip
from kits.rules.exchange.tables import FileRow, RowChange, Values
from kits.rules.exchange.values import Column, Type, Value
from kits.rules.text.hazards import HAZARDS
from kits.services.exchange.names import Names, person_text
from kits.services.exchange.table import (
    Filters,
    Importer,
    OnRecord,
    Row,
    Table,
    as_read,
    row_by_row,
)
from kits.services.lookup import find
from kits.services.trips import sources, trips
from kits.services.trips.trip_facts import ADULT_FROM, OLDEST, TripFacts

_SMALL = 32_767

COLUMNS = (
    Column("source", say("Source"),
           say("The system that the trip came from; empty: entered by hand."),
           longest=40, blank_keeps=True),
    Column("reference", say("Reference"), say("The source’s own number for the trip."), longest=80,
           blank_keeps=True),
    Column("name", say("Name"), say("What the trip is called."), longest=160, needed=True),
    Column("room", say("Gear room"), say("The gear room that it leaves from."), refers="room"),
    Column("departs_at", say("Departs"), say("Day and time, by the clock of the gear room."),
           Type.MOMENT, needed=True),
    Column("returns_at", say("Returns"), say("Day and time, by the clock of the gear room."),
           Type.MOMENT, needed=True),
    Column("people", say("People"), say("How many people go."), Type.WHOLE, least=1, most=10_000,
           needed=True),
    Column("hazards", say("Hazards"), say("The hazards of the trip."), Type.SEVERAL,
           choices=HAZARDS, longest=40),
    Column("children", say("Children"), say("Whether children go."), Type.YES_NO),
    Column("youngest", say("Youngest"), say("The age of the youngest, in years."), Type.WHOLE,
           most=OLDEST),
    Column("oldest", say("Oldest"), say("The age of the oldest, in years."), Type.WHOLE,
           most=OLDEST),
    Column("latex_free", say("Latex-free"), say("Whether nothing may contain latex."),
           Type.YES_NO),
    Column("activity", say("Activity"), say("What people do on the trip."), longest=80,
           refers="activity"),
    Column("hours_to_care", say("Hours to a hospital or doctor"),
           say("How many hours it may take to reach one."), Type.AMOUNT, most=999),
    Column("leader", say("Leader"),
           say("A name of somebody on record; with their number where several have it."),
           longest=140, refers="person"),
    Column("leader_name", say("Leader’s name"), say("For somebody who is not on record.")),
    Column("leader_phone", say("Leader’s telephone"), say("For somebody who is not on record."),
           longest=40),
    Column("leader_email", say("Leader’s email address"),
           say("Instead of the leader: whoever has this address on record leads the trip."),
           longest=254),
    Column("state", say("State"), say("Whether it is still only planned, or cancelled."),
           Type.CHOICE, choices=("planned", "confirmed", "cancelled")),
    Column("first_day", say("First day"), say("It follows from when the trip departs."), Type.DAY,
           only_read=True),
    Column("last_day", say("Last day"), say("It follows from when the trip returns."), Type.DAY,
           only_read=True),
)  # fmt: skip

_PLAIN = (
    "name", "people", "children", "youngest", "oldest", "latex_free", "hours_to_care",
    "leader_name", "leader_phone", "leader_email",
)  # fmt: skip


def rows(actor: Actor, filters: Filters) -> Iterator[Row]:
    """The trips that somebody may see, by departure; narrowed to a room, and to those that are on
    the way on one of some days. Cancelled ones too."""
    own = find.trips_of(actor)
    if filters.room:
        own = own.filter(room=filters.room)
    if filters.since:
        own = own.filter(last_day__gte=filters.since)
    if filters.until:
        own = own.filter(first_day__lte=filters.until)
    for trip in own.order_by("departs_at", "pk").iterator(chunk_size=1000):
        yield _row(trip)


def _row(trip: Trip) -> Row:
    zone = ZoneInfo(trip.room.time_zone if trip.room else settings.TIME_ZONE)
    return {
        "source": trip.source,
        "reference": trip.reference,
        **{name: getattr(trip, name) for name in _PLAIN},
        "room": trip.room.slug if trip.room else None,
        "departs_at": trip.departs_at.astimezone(zone),
        "returns_at": trip.returns_at.astimezone(zone),
        "hazards": tuple(trip.hazards),
        "activity": trip.activity.key if trip.activity else None,
        "leader": None if trip.leader_email else person_text(trip.leader),
        "state": _state(trip),
        "first_day": trip.first_day,
        "last_day": trip.last_day,
    }


def _state(trip: Trip) -> str:
    if trip.cancelled_at is not None:
        return "cancelled"
    return "planned" if trip.planned else "confirmed"


def _identify(names: Names, row: Row, on_record: OnRecord) -> Row:
    source = str(row.get("source") or sources.BY_HAND)
    text, slug = row.get("room"), None
    if text:
        slug = names.canonical("room", str(text), field="room")
    zone = ZoneInfo(names.room(slug).time_zone if slug else settings.TIME_ZONE)
    times = {name: _at(row[name], zone) for name in ("departs_at", "returns_at")}
    if (reference := row.get("reference")) is None and source != sources.BY_HAND:
        raise Invalid(_("A trip from another system needs its reference."), field="reference")
    made: Row = {} if reference is None else {"reference": reference}
    youngest = row.get("youngest")
    if row.get("children") is None and isinstance(youngest, int) and youngest < ADULT_FROM:
        made["children"] = True
    return {**row, "source": source, **made, **times} | ({"room": slug} if "room" in row else {})


def _at(value: Value, zone: ZoneInfo) -> datetime:
    if not isinstance(value, datetime):
        raise Invalid(_("Enter the day and the time."))
    return value if value.tzinfo else value.replace(tzinfo=zone)


def _key(values: Values) -> Hashable:
    reference = values.get("reference")
    return None if reference is None else (values["source"], reference)


def _save(act: Act, names: Names, change: RowChange, row: FileRow) -> None:
    new = {each.column: each.new for each in change.cells}
    now: dict[str, Any] = {**(change.old or {}), **new}
    old = change.old or {}
    facts = TripFacts(
        **{name: now[name] for name in _PLAIN if now.get(name) is not None},
        room=names.room(str(now["room"])) if now.get("room") else None,
        departs_at=now["departs_at"],
        returns_at=now["returns_at"],
        first_day=_kept(old, new, "departs_at", "first_day"),
        last_day=_kept(old, new, "returns_at", "last_day"),
        hazards=now.get("hazards") or (),
        activity=names.activities[str(now["activity"])] if now.get("activity") else None,
        leader=names.person(str(now["leader"]), field="leader") if now.get("leader") else None,
        planned=now.get("state") == "planned",
        cancelled=now.get("state") == "cancelled",
    )
    reference = str(now.get("reference") or f"{act.key.hex[:10]}-{row.number}")
    trips.put(as_read(act, change, _PLAIN), str(now["source"]), reference, facts)


def _kept(old: Values, new: Values, time: str, day: str) -> date | None:
    """The day that a trip's source gave it, where its time stays as it is."""
    given = old.get(day)
    return given if time not in new and isinstance(given, date) else None


TABLE = Table(
    "trips",
    say("Trips"),
    say("Trips with their days, people and hazards. Kits are reserved for them as for any other."),
    COLUMNS,
    rows,
    narrowed_by=frozenset({"room", "since", "until"}),
    importer=Importer("edit_trip", _identify, _key, row_by_row(_save)),
)
