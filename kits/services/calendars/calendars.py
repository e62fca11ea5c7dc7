"""Calendars that trips come from: added, changed, stopped and used again."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.db.models import QuerySet
from django.utils.text import slugify
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, Invalid, Refused, locked, one, refuse_taken_name, store
from gearroom.core.models import Room
from gearroom.core.outbound import FAILURE_TEXTS, OutboundError, checked
from gearroom.core.services.installation.encryption import decrypted, encrypted
from kits.models import CalendarPlace, Trip, TripCalendar
from kits.services.lookup import find
from kits.services.trips.sources import CALENDAR
from kits.services.trips.trip_facts import MOST_PEOPLE

MOST = 30
"""Calendars in one installation: each is read every quarter of an hour."""
MOST_PLACES = 50

_PURPOSE = "calendar address"


@dataclass(frozen=True)
class CalendarFacts:
    """What somebody says of a calendar. `address` None: as it is; empty: it comes in files.
    `places` are words and the room that they stand for; the first that fits counts."""

    name: str
    room: Room
    people: int
    address: str | None = None
    places: Sequence[tuple[str, Room]] = ()


def calendars_of(actor: Actor) -> QuerySet[TripCalendar]:
    """The calendars of rooms whose trips somebody may edit."""
    rows = TripCalendar.objects.select_related("room")
    if actor.everywhere:
        return rows
    return rows.filter(room__in=[room for room in actor.room_ids if actor.may("edit_trip", room)])


def get(actor: Actor, calendar: int) -> TripCalendar:
    """One of those. Raises NotFound."""
    return one(calendars_of(actor).filter(pk=calendar), "calendar", calendar)


def add(act: Act, facts: CalendarFacts) -> TripCalendar:
    """A new calendar, of which nothing is a trip yet. Raises Invalid, and Refused
    (`too-many-calendars`, `name-taken`)."""
    _require(act, facts)
    if TripCalendar.objects.count() >= MOST:
        raise Refused(
            "too-many-calendars",
            _("There are already %(most)d calendars. Change one that is no longer used.")
            % {"most": MOST},
        )
    name = _name(facts)
    with refuse_taken_name(_taken(name)):
        calendar = TripCalendar.objects.create(
            name=name,
            source=_source(name),
            room=facts.room,
            address=_address(facts.address or ""),
            people=_people(facts),
            created_at=act.received_at,
        )
        _set_places(calendar, facts)
    return calendar


def change(act: Act, calendar: TripCalendar, facts: CalendarFacts) -> TripCalendar:
    """Change a calendar; it is read again whole, since the same events may be other trips now.
    Raises Invalid, and Refused (`name-taken`)."""
    require_rooms(act, calendar)
    _require(act, facts)
    name = _name(facts)
    with refuse_taken_name(_taken(name)):
        calendar = locked(act, calendar)
        if facts.address is not None:
            store(calendar, address=_address(facts.address))
        store(
            calendar,
            name=name,
            room=facts.room,
            people=_people(facts),
            etag="",
            last_modified="",
            checked_at=None,
        )
        _set_places(calendar, facts)
    return calendar


def stop(act: Act, calendar: TripCalendar) -> TripCalendar:
    """Read a calendar no more; its trips stay as they are."""
    require_rooms(act, calendar)
    with transaction.atomic():
        calendar = locked(act, calendar)
        store(calendar, stopped_at=calendar.stopped_at or act.received_at)
    return calendar


def use_again(act: Act, calendar: TripCalendar) -> TripCalendar:
    """Read a calendar again that was stopped."""
    require_rooms(act, calendar)
    with transaction.atomic():
        calendar = locked(act, calendar)
        store(calendar, stopped_at=None, checked_at=None, etag="", last_modified="")
    return calendar


def remove(act: Act, calendar: TripCalendar) -> str:
    """Delete a calendar that is not in use and that no trip came from; its name. Raises Refused
    (`calendar-in-use`, `calendar-has-trips`)."""
    require_rooms(act, calendar)
    with transaction.atomic():
        calendar = locked(act, calendar)
        if is_in_use(calendar):
            raise Refused("calendar-in-use", _("This calendar is in use. Stop using it first."))
        if calendar.events.exists():
            raise Refused(
                "calendar-has-trips",
                _("Trips came from this calendar, so it stays on record."),
            )
        calendar.delete()
    return calendar.name


def is_in_use(calendar: TripCalendar) -> bool:
    """Whether its trips were imported once and it was not stopped since."""
    return calendar.taken_on is not None and calendar.stopped_at is None


def read_soon(act: Act, calendar: TripCalendar) -> TripCalendar:
    """Have a calendar read as soon as the sweep comes. Raises Refused (`calendar-not-taken-on`)."""
    require_rooms(act, calendar)
    if calendar.taken_on is None or calendar.stopped_at is not None or not calendar.address:
        raise Refused(
            "calendar-not-taken-on",
            _("First see what this calendar would change, and import its trips."),
        )
    with transaction.atomic():
        calendar = locked(act, calendar)
        store(calendar, checked_at=None)
    return calendar


def address_of(calendar: TripCalendar) -> str:
    """Its address; empty where it has none, or SECRET_KEY is another than when it was kept."""
    return decrypted(calendar.address, _PURPOSE)


def require_rooms(act: Act, calendar: TripCalendar) -> None:
    """Raise NotAllowed unless somebody may edit trips in every room of a calendar."""
    rooms = {calendar.room_id, *calendar.places.values_list("room", flat=True)}
    for room in rooms:
        act.actor.require("edit_trip", room)


# --------------------------------------------------------------------------------- what is typed
def _require(act: Act, facts: CalendarFacts) -> None:
    for room in [facts.room, *(room for _words, room in facts.places)]:
        act.actor.require("edit_trip", room.pk)


def _name(facts: CalendarFacts) -> str:
    if not (name := " ".join(facts.name.split())):
        raise Invalid(_("Enter a name for the calendar."), field="name")
    return name


def _taken(name: str) -> str:
    return _("There is already a calendar called %(name)s.") % {"name": name}


def _people(facts: CalendarFacts) -> int:
    if not 1 <= facts.people <= MOST_PEOPLE:
        raise Invalid(
            _("A trip must have 1 to %(most_people)s people.") % {"most_people": MOST_PEOPLE},
            field="people",
        )
    return facts.people


def _address(typed: str) -> str:
    """An address as it is kept. One for programs that subscribe (`webcal:`) is read by HTTPS."""
    typed = typed.strip()
    if not typed:
        return ""
    if typed.lower().startswith(("webcal://", "webcals://")):
        typed = "https://" + typed.split("://", 1)[1]
    try:
        return encrypted(str(checked(typed)), _PURPOSE)
    except OutboundError as error:
        raise Invalid(str(FAILURE_TEXTS[error.failure]), field="address") from None


def _source(name: str) -> str:
    """A source of trips that no other has."""
    base = f"{CALENDAR}{slugify(name)}"[:36].strip("-")
    taken = {
        *TripCalendar.objects.values_list("source", flat=True),
        *Trip.objects.filter(source__startswith=base).values_list("source", flat=True).distinct(),
    }
    return next(
        each
        for each in (base, *(f"{base}-{number}" for number in range(2, len(taken) + 3)))
        if each not in taken
    )


def _set_places(calendar: TripCalendar, facts: CalendarFacts) -> None:
    calendar.places.all().delete()
    CalendarPlace.objects.bulk_create(
        CalendarPlace(calendar=calendar, words=words, room=room) for words, room in facts.places
    )


def places_from(actor: Actor, text: str) -> list[tuple[str, Room]]:
    """The places that lines of a text name, each as words, an equals sign and the room. Raises
    Invalid (`places`), and NotFound for a room that is not the actor's."""
    places = []
    for line in filter(None, map(str.strip, text.splitlines())):
        words, sign, room = (part.strip() for part in line.partition("="))
        if not sign or not words or not room or len(words) > 80:
            raise Invalid(
                _(
                    "Write each place in a line of its own, then = and the gear room, for example: "
                    "hut = %(room)s. This line is not: %(line)s"
                )
                % {"room": "Main store", "line": line[:80]},
                field="places",
            )
        places.append((words, find.room(actor, room)))
    if len(places) > MOST_PLACES:
        raise Invalid(_("Enter up to %(most)d places.") % {"most": MOST_PLACES}, field="places")
    return places
