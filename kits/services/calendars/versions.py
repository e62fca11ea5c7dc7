"""A version of a calendar: what it would change, and changing that."""

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Problem, Refused, Unacceptable, locked, store
from gearroom.core.models import Room
from gearroom.core.rules.sentences import Sentence, say
from kits.models import Activity, CalendarEvent, Trip, TripCalendar
from kits.rules.text.hazards import hazards
from kits.rules.trips.calendars import (
    Change,
    Difference,
    Event,
    KnownEvent,
    ReadEvent,
    Unclear,
    difference,
    read,
    reference,
)
from kits.rules.trips.trips import TripState
from kits.services.calendars.calendars import require_rooms
from kits.services.notices import writing
from kits.services.notices.facts import CalendarEventsGone
from kits.services.notices.recipients import keepers_of
from kits.services.text.wording import as_invalid, hazard_slugs, in_words
from kits.services.trips import trip_batches, trips
from kits.services.trips.trip_batches import WantedTrip
from kits.services.trips.trip_facts import TripFacts

LEAVES, IS_BACK = time(8), time(18)
"""When a trip leaves and is back that only has days."""
MOST_REFUSED = 100
_ELSEWHERE = say("It is already a trip of this gear room, from another calendar.")


@dataclass(frozen=True)
class RefusedEvent:
    """An event of the last version that is no trip, and why in words."""

    name: str
    why: str


@dataclass(frozen=True)
class EventShown:
    """An event of a version and what that does: its trip as it would be, and which columns of the
    trip that is there are others; or why it is no trip."""

    name: str
    change: Change | None
    facts: TripFacts | None = None
    columns: Sequence[str] = ()
    refused: str = ""


@dataclass(frozen=True)
class Preview:
    """What a version of a calendar would change. `gone` are trips to come that are not in it;
    `read_at` is when the version before it was taken over. `plan` stands for all of it."""

    events: Sequence[EventShown]
    gone: Sequence[Trip]
    read_at: datetime | None

    @property
    def plan(self) -> str:
        events = [
            (of.name, of.change, of.columns, of.refused, _digest(of.facts) if of.facts else "")
            for of in self.events
        ]
        whole = repr((events, [trip.pk for trip in self.gone], self.read_at))
        return hashlib.sha256(whole.encode()).hexdigest()


@dataclass(frozen=True)
class _Version:
    """A version of a calendar beside what is known of it, by reference."""

    facts: Mapping[str, TripFacts]
    read: Mapping[str, ReadEvent]
    unclear: Sequence[Unclear]
    known: Mapping[str, CalendarEvent]
    difference: Difference

    @property
    def wanted(self) -> list[str]:
        """The references of the trips that it makes or changes."""
        changes = self.difference.changes.items()
        return [name for name, change in changes if change in (Change.NEW, Change.CHANGED)]

    @property
    def gone(self) -> list[CalendarEvent]:
        """The events that are no longer in it, though their trips are to come."""
        return [self.known[name] for name in self.difference.gone]


# --------------------------------------------------------------------------------- what for
def preview(act: Act, calendar: TripCalendar, content: bytes) -> Preview:
    """What a version would change; nothing is changed. Raises what `take` raises."""
    require_rooms(act, calendar)
    return _previewed(act, calendar, _compare(act, calendar, content))


def _previewed(act: Act, calendar: TripCalendar, version: _Version) -> Preview:
    rows = Trip.objects.filter(source=calendar.source, reference__in=version.wanted)
    there = {row.reference: row for row in rows.select_related("room", "leader", "activity")}
    return Preview(
        [
            *(_refused(each) for each in version.unclear),
            *(
                _shown(act, name, change, version.facts[name], there.get(name))
                for name, change in version.difference.changes.items()
            ),
        ],
        [each.trip for each in version.gone],
        calendar.read_at,
    )


def refused_of(calendar: TripCalendar) -> list[RefusedEvent]:
    """The events of the last version that are no trips."""
    return [
        RefusedEvent(name, in_words(Sentence(text, facts)))
        for name, text, facts in calendar.refused_why
    ]


def take(act: Act, calendar: TripCalendar, content: bytes, *, plan: str = "") -> Counter[str]:
    """Bring the trips of a calendar to what its version says; how many of each outcome. A trip that
    is no longer in it stays as it is, and its keepers are asked what is to become of it.

    Raises Invalid (`content`) for what is no calendar, Unacceptable (`calendar-empty`) where all
    events are gone, and Refused (`calendar-changed`) where `plan` is given and is not what would
    be done now: then nothing is changed.
    """
    require_rooms(act, calendar)
    with transaction.atomic():
        calendar = locked(act, calendar)
        version = _compare(act, calendar, content)
        if plan and plan != _previewed(act, calendar, version).plan:
            raise Refused(
                "calendar-changed",
                _(
                    "This would no longer do what you looked at: meanwhile somebody has changed "
                    "the calendar or its trips, or imported another version. Look at it again."
                ),
            )
        done = trip_batches.put_all(
            act,
            calendar.source,
            [WantedTrip(name, version.facts[name]) for name in version.wanted],
            by_calendar=True,
        )
        refused = {each.reference: each.problem for each in done if each.problem}
        _keep(calendar, version, refused, act.received_at)
        counts = Counter(
            "refused" if name in refused else str(change)
            for name, change in version.difference.changes.items()
        )
        counts["refused"] += len(version.unclear)
        counts["gone"] = len(version.gone)
        why = [(each.name, each.why.text, dict(each.why.facts)) for each in version.unclear]
        why += [
            (version.facts[name].name, each.detail.replace("%", "%%"), {})
            for name, each in refused.items()
        ]
        store(
            calendar,
            taken_on=calendar.taken_on or act.received_at,
            checked_at=act.received_at,
            read_at=act.received_at,
            failing_since=None,
            failure="",
            counts=dict(counts),
            refused_why=why[:MOST_REFUSED],
        )
        _ask(calendar, version.gone, act.received_at)
    return counts


# --------------------------------------------------------------------------------- inside
def _compare(act: Act, calendar: TripCalendar, content: bytes) -> _Version:
    with as_invalid("content"):
        events = read(content)
    now = act.received_at
    known = {
        row.trip.reference: row
        for row in calendar.events.select_related("trip__room").order_by("trip__departs_at", "pk")
    }
    if not events and any(_to_come(row.trip, now) for row in known.values()):
        raise Unacceptable(
            "calendar-empty",
            _("This calendar has no events at all. Nothing has been changed."),
        )
    places = [(each.words.casefold(), each.room) for each in calendar.places.select_related("room")]
    activities = {
        name.casefold(): row
        for row in Activity.objects.filter(retired_on=None)
        for name in (row.key, row.name)
    }
    slugs = hazard_slugs()
    facts = {
        reference(each.uid): _facts(calendar, places, activities, slugs, each)
        for each in events
        if isinstance(each, Event)
    }
    elsewhere = _elsewhere(calendar, facts)
    facts = {name: of for name, of in facts.items() if name not in elsewhere}
    sequences = {reference(each.uid): each.sequence for each in events if isinstance(each, Event)}
    read_events = {
        name: ReadEvent(sequences[name], _digest(of), not of.cancelled and of.returns_at > now)
        for name, of in facts.items()
    }
    unclear = [
        Unclear(each.uid, each.name, _ELSEWHERE) if isinstance(each, Event) else each
        for each in events
        if isinstance(each, Unclear) or reference(each.uid) in elsewhere
    ]
    return _Version(
        facts,
        read_events,
        unclear,
        known,
        difference(
            {
                name: KnownEvent(
                    row.sequence,
                    _known_digest(row),
                    _to_come(row.trip, now),
                    row.gone_at is not None,
                )
                for name, row in known.items()
            },
            read_events,
            [reference(each.uid) for each in unclear if each.uid],
        ),
    )


def _elsewhere(calendar: TripCalendar, facts: Mapping[str, TripFacts]) -> set[str]:
    """The references of events that are trips already, from another calendar and the same room: a
    UID is one event everywhere (RFC 5545, 3.8.4.7)."""
    others = CalendarEvent.objects.filter(
        trip__reference__in=[name for name, of in facts.items() if not of.cancelled],
        trip__cancelled_at=None,
        gone_at=None,
    ).exclude(calendar=calendar)
    there = others.values_list("trip__reference", "trip__room")
    known = set(calendar.events.values_list("trip__reference", flat=True)) if there else set()
    return {
        name
        for name, room in there
        if name not in known and (of := facts[name].room) is not None and of.pk == room
    }


def _known_digest(row: CalendarEvent) -> str:
    """What an event said that is known. One that was cancelled here while it was not in the
    calendar is a trip again once it is back, though it says the same."""
    return "" if row.gone_at is not None and row.trip.cancelled_at is not None else row.digest


def _to_come(trip: Trip, now: datetime) -> bool:
    return trip.cancelled_at is None and trip.returns_at > now


def _facts(
    calendar: TripCalendar,
    places: Sequence[tuple[str, Room]],
    activities: Mapping[str, Activity],
    slugs: Mapping[str, str],
    event: Event,
) -> TripFacts:
    """What an event says of its trip. All of it: what it says no more is no more so."""
    where, kinds = event.where.casefold(), [kind.casefold() for kind in event.kinds]
    names = (kind.replace("-", " ") for kind in kinds)
    room = next((room for words, room in places if words in where), calendar.room)
    zone = ZoneInfo(room.time_zone)
    return TripFacts(
        name=event.name,
        departs_at=_moment(event.starts, LEAVES, zone),
        returns_at=_moment(event.ends, IS_BACK, zone),
        people=calendar.people if event.people is None else event.people,
        room=room,
        hazards=hazards(slugs[name] for name in names if name in slugs),
        youngest=event.youngest,
        oldest=event.oldest,
        leader_name=event.leader_name,
        leader_email=event.leader_email,
        planned=event.state is TripState.PLANNED,
        cancelled=event.state is TripState.CANCELLED,
        activity=next((activities[kind] for kind in kinds if kind in activities), None),
        hours_to_care=event.hours_to_care,
    )


def _moment(of: date, hour: time, zone: ZoneInfo) -> datetime:
    """A day at an hour, or a time, by the clock of a zone where it has none of its own."""
    if not isinstance(of, datetime):
        return datetime.combine(of, hour, zone)
    return of.replace(tzinfo=zone) if of.tzinfo is None else of


def _digest(facts: TripFacts) -> str:
    activity = facts.activity.pk if isinstance(facts.activity, Activity) else None
    values: dict[str, Any] = {
        **vars(facts),
        "room": facts.room.pk if facts.room else None,
        "activity": activity,
        "departs_at": facts.departs_at.timestamp(),
        "returns_at": facts.returns_at.timestamp(),
    }
    return hashlib.sha256(repr(sorted(values.items())).encode()).hexdigest()


def _keep(
    calendar: TripCalendar, version: _Version, refused: Mapping[str, object], now: datetime
) -> None:
    """Keep what is known of the events now. What was refused is as before, so that it is tried
    again."""
    taken = {
        name
        for name, change in version.difference.changes.items()
        if change not in (Change.OLDER, Change.LEFT_OUT) and name not in refused
    }
    rows = Trip.objects.filter(source=calendar.source, reference__in=taken - set(version.known))
    CalendarEvent.objects.bulk_create(
        CalendarEvent(
            calendar=calendar,
            trip=trip,
            sequence=version.read[trip.reference].sequence,
            digest=version.read[trip.reference].digest,
        )
        for trip in rows
    )
    others = []
    for name, row in version.known.items():
        before = (row.sequence, row.digest, row.gone_at, row.kept)
        if name in taken:
            row.sequence, row.digest = version.read[name].sequence, version.read[name].digest
        if name in version.difference.back:
            row.gone_at, row.kept = None, False
        if name in version.difference.gone:
            row.gone_at = now
        if before != (row.sequence, row.digest, row.gone_at, row.kept):
            others.append(row)
    CalendarEvent.objects.bulk_update(
        others, ["sequence", "digest", "gone_at", "kept"], batch_size=100
    )


def _ask(calendar: TripCalendar, gone: Sequence[CalendarEvent], now: datetime) -> None:
    """Ask keepers what is to become of trips that are no longer in a calendar."""
    if not gone:
        return
    facts: CalendarEventsGone = {
        "calendar": calendar.name,
        "calendar_id": calendar.pk,
        "trips": [each.trip.name for each in gone],
    }
    rooms = {room.pk: room for each in gone if (room := each.trip.room)} or {0: calendar.room}
    people = [person for room in (calendar.room, *rooms.values()) for person in keepers_of(room)]
    writing.notify(
        people,
        "calendar-events-gone",
        f"calendar:{calendar.pk}:gone:{now.isoformat()}",
        room=calendar.room,
        facts=facts,
    )


def _refused(event: Unclear) -> EventShown:
    return EventShown(event.name or event.uid, None, refused=in_words(event.why))


def _shown(act: Act, name: str, change: Change, facts: TripFacts, there: Trip | None) -> EventShown:
    if change not in (Change.NEW, Change.CHANGED):
        return EventShown(facts.name, change, facts)
    try:
        columns = trips.checked(act, name, facts)
    except Problem as problem:
        return EventShown(facts.name, None, facts, refused=problem.detail)
    changed = sorted(trips.changes_of(there, columns)) if there else ()
    return EventShown(facts.name, change, facts, changed)
