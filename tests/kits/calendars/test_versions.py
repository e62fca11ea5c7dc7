"""Trips follow their calendar: each version of it is read, and nothing is cancelled silently."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from gearroom.core.acts import Act, Invalid, NotAllowed, Unacceptable, locked
from gearroom.core.rules.roles import Role
from kits.models import Entry, Notice, Trip, TripCalendar
from kits.services.calendars import calendars, questions, versions
from kits.services.calendars.calendars import CalendarFacts
from kits.services.trips import due_times, reservations, sources, trip_batches, trips
from kits.services.trips.trip_batches import WantedTrip
from kits.services.trips.trip_facts import TripFacts
from tests.kits import factories as make
from tests.kits.calendars.ics import event_in, ics
from tests.kits.problems import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def calendar(w: make.World) -> TripCalendar:
    facts = CalendarFacts("Trips", w.store, 8, places=[("the hut", w.hut)])
    return calendars.add(chief(w), facts)


def chief(w: make.World) -> Act:
    return make.act(make.person("Chief", Role.ADMINISTRATOR))


def hill(uid: str = "hill", days: int = 5, *more: str) -> str:
    return event_in(days, uid, *more)


def take(w: make.World, calendar: TripCalendar, *events: str) -> dict[str, int]:
    counts = versions.take(chief(w), calendar, ics(*events))
    return {name: count for name, count in counts.items() if count}


def test_events_are_trips_of_the_room_that_their_place_stands_for(
    w: make.World, calendar: TripCalendar
) -> None:
    events = [
        hill("hill", 5, "CATEGORIES:hill,Sharp tools"),
        hill("cave", 6, "LOCATION:By the hut"),
    ]
    assert take(w, calendar, *events) == {"new": 2}
    first, second = Trip.objects.order_by("departs_at")
    assert (first.room, first.hazards, first.people) == (w.store, ["hill", "sharp-tools"], 8)
    assert (second.room, second.source) == (w.hut, "calendar-trips")
    assert take(w, calendar, *events) == {"unchanged": 2}
    assert Entry.objects.filter(kind="trip").count() == 2


@pytest.mark.parametrize(
    "categories", ["open water,Rope work", "Offenes Wasser,Arbeit am Seil", "WATER,rope,Other"]
)
def test_hazards_may_be_named_as_on_the_pages_in_each_language(
    w: make.World, calendar: TripCalendar, categories: str
) -> None:
    take(w, calendar, hill("sea", 5, f"CATEGORIES:{categories}"))
    assert Trip.objects.get().hazards == ["water", "rope"]


def test_what_a_preview_says_is_what_is_done(w: make.World, calendar: TripCalendar) -> None:
    take(w, calendar, hill("a"), hill("b"), hill("c"), hill("d", 5, "SEQUENCE:2"))
    content = ics(
        hill("a", 6), hill("b"), hill("d", 6, "SEQUENCE:1"), hill("e"), hill("f", -9),
        hill("g", 5, "RRULE:FREQ=DAILY"), hill("h", 5, "DESCRIPTION:People: 0"),
    )  # fmt: skip
    before = Trip.objects.count()
    seen = versions.preview(chief(w), calendar, content)
    assert Trip.objects.count() == before
    assert {each.name: str(each.change or "refused") for each in seen.events} == {
        "A day": "changed", "B day": "unchanged", "D day": "older", "E day": "new",
        "F day": "left-out", "G day": "refused", "H day": "refused",
    }  # fmt: skip
    assert [trip.name for trip in seen.gone] == ["C day"]
    (a,) = [each for each in seen.events if each.name == "A day"]
    assert set(a.columns) == {"departs_at", "returns_at", "first_day", "last_day"}
    assert versions.take(chief(w), calendar, content) == {
        "changed": 1, "unchanged": 1, "older": 1, "new": 1, "left-out": 1, "refused": 2, "gone": 1,
    }  # fmt: skip
    calendar.refresh_from_db()
    assert [each.name for each in versions.refused_of(calendar)] == ["G day", "H day"]


def test_a_cancelled_event_cancels_its_trip_and_gives_its_kits_free(
    w: make.World, calendar: TripCalendar
) -> None:
    take(w, calendar, hill())
    reservations.reserve(make.act(w.keeper), w.day_01, Trip.objects.get())
    assert take(w, calendar, hill("hill", 5, "STATUS:CANCELLED", "SEQUENCE:1")) == {"changed": 1}
    trip = Trip.objects.get()
    assert trip.cancelled_at is not None
    assert not reservations.kits_of(trip.source, trip.reference)
    assert take(w, calendar, hill()) == {"older": 1}
    assert take(w, calendar, hill("hill", 5, "SEQUENCE:2")) == {"changed": 1}
    assert Trip.objects.get().cancelled_at is None


def test_a_trip_that_is_no_longer_there_is_asked_about_once_and_never_cancelled_by_itself(
    w: make.World, calendar: TripCalendar
) -> None:
    take(w, calendar, hill("a"), hill("b"), hill("over", 5))
    now = datetime.now(UTC)
    past = {"departs_at": now, "returns_at": now, "first_day": now.date(), "last_day": now.date()}
    Trip.objects.filter(reference="over").update(**past)
    for _time in range(2):
        take(w, calendar, hill("a"))
    (event,) = questions.open_questions(make.act(w.keeper).actor)
    assert event.trip.reference == "b" and event.trip.cancelled_at is None
    assert Notice.objects.filter(kind="calendar-events-gone", person=w.keeper).count() == 1
    questions.keep(make.act(w.keeper), event)
    assert not questions.open_questions(make.act(w.keeper).actor)
    take(w, calendar, hill("a"), hill("b"))
    take(w, calendar, hill("a"))
    assert questions.open_questions(make.act(w.keeper).actor).count() == 1


def test_a_trip_cancelled_when_it_was_gone_is_there_again_with_its_event(
    w: make.World, calendar: TripCalendar
) -> None:
    take(w, calendar, hill("a"), hill("b"))
    take(w, calendar, hill("a"))
    (event,) = questions.open_questions(make.act(w.keeper).actor)
    done = questions.cancel(make.act(w.keeper), event)
    assert done.trip.cancelled_at is not None
    assert not questions.open_questions(make.act(w.keeper).actor)
    assert take(w, calendar, hill("a")) == {"unchanged": 1}
    assert take(w, calendar, hill("a"), hill("b")) == {"unchanged": 1, "changed": 1}
    assert Trip.objects.get(reference="b").cancelled_at is None


def test_a_version_without_events_or_that_is_none_changes_nothing(
    w: make.World, calendar: TripCalendar
) -> None:
    take(w, calendar, hill("a"))
    with pytest.raises(Unacceptable, match="no events"):
        take(w, calendar)
    with pytest.raises(Invalid):
        versions.take(chief(w), calendar, ics(hill("a"))[:-9])
    assert not questions.open_questions(make.act(w.keeper).actor)


def test_what_keepers_put_off_stays_put_off_while_the_event_is_the_same(
    w: make.World, calendar: TripCalendar
) -> None:
    take(w, calendar, hill("a"))
    trip = Trip.objects.get()
    later = trip.returns_at + timedelta(hours=3)
    due_times.extend(make.act(w.keeper), trip, later)
    take(w, calendar, hill("a"))
    assert Trip.objects.get().returns_at == later
    take(w, calendar, hill("a", 6))
    assert Trip.objects.get().returns_at > later


def test_an_event_that_was_refused_is_tried_again(w: make.World, calendar: TripCalendar) -> None:
    assert take(w, calendar, hill("a", 5, "DESCRIPTION:People: 0")) == {"refused": 1}
    calendars.change(chief(w), calendar, CalendarFacts("Trips", w.store, 4))
    assert take(w, calendar, hill("a")) == {"new": 1}
    assert Trip.objects.get().people == 4


def test_a_calendar_of_rooms_of_others_is_not_theirs(w: make.World, calendar: TripCalendar) -> None:
    with pytest.raises(NotAllowed):
        versions.take(make.act(w.keeper), calendar, ics(hill("a", 5)))


def test_what_was_looked_at_is_taken_over_only_while_it_would_do_the_same(
    w: make.World, calendar: TripCalendar
) -> None:
    take(w, calendar, hill("a"))
    content = ics(hill("a", 6))
    plan = versions.preview(chief(w), calendar, content).plan
    for change in (
        lambda: take(w, calendar, hill("a", 7)),
        lambda: take(w, calendar, hill("a"), hill("b")),
        lambda: calendars.change(chief(w), calendar, CalendarFacts("Trips", w.store, 4)),
    ):
        change()
        with refused("calendar-changed"):
            versions.take(chief(w), calendar, content, plan=plan)
        calendars.change(chief(w), calendar, CalendarFacts("Trips", w.store, 8))
        take(w, calendar, hill("a"))
    take(w, calendar, hill("a"), hill("b"))
    plan = versions.preview(chief(w), locked(chief(w), calendar), content).plan
    assert versions.take(chief(w), calendar, content, plan=plan)["changed"] == 1


def test_an_event_in_two_calendars_of_a_room_is_one_trip(
    w: make.World, calendar: TripCalendar
) -> None:
    other = calendars.add(chief(w), CalendarFacts("Other", w.store, 8))
    hut = calendars.add(chief(w), CalendarFacts("Hut", w.hut, 8))
    take(w, calendar, hill("a"), hill("b"))
    assert take(w, hut, hill("a")) == {"new": 1}  # each room packs for it
    assert take(w, other, hill("a"), hill("c")) == {"new": 1, "refused": 1}
    assert "from another calendar" in versions.refused_of(locked(chief(w), other))[0].why
    assert take(w, calendar, hill("a", 6), hill("b")) == {"changed": 1, "unchanged": 1}
    take(w, calendar, hill("b"))
    assert take(w, other, hill("a"), hill("c")) == {"new": 1, "unchanged": 1}


def test_no_other_program_changes_a_trip_that_its_calendar_would_change_back(
    w: make.World, calendar: TripCalendar
) -> None:
    take(w, calendar, hill("a"), hill("b"))
    trip = Trip.objects.get(reference="a")
    same, other = facts_of(trip), replace(facts_of(trip), name="Other")

    def put(facts: TripFacts) -> str:
        return trips.put(make.act(w.keeper), trip.source, trip.reference, facts).outcome

    assert put(same) == "unchanged"
    with refused("trip-of-calendar"):
        put(other)
    wanted = [WantedTrip("a", same), WantedTrip("b", other), WantedTrip("new", other)]
    results = trip_batches.put_all(make.act(w.keeper), trip.source, wanted)
    assert [each.problem.code if each.problem else "" for each in results] == [
        "", "trip-of-calendar", "trip-of-calendar",
    ]  # fmt: skip
    calendars.stop(chief(w), calendar)
    assert put(other) == "updated"


def test_a_trip_that_was_kept_is_changed_here_and_its_event_brings_it_back(
    w: make.World, calendar: TripCalendar
) -> None:
    take(w, calendar, hill("a"), hill("b"))
    take(w, calendar, hill("b"))
    trip = Trip.objects.get(reference="a")
    assert not sources.is_changed_here(trip)
    questions.keep(make.act(w.keeper), trip.calendar_event)
    assert sources.is_changed_here(trip)
    off = replace(facts_of(trip), cancelled=True)
    assert trips.put(make.act(w.keeper), trip.source, "a", off).outcome == "updated"
    assert take(w, calendar, hill("a"), hill("b")) == {"changed": 1, "unchanged": 1}
    trip.refresh_from_db()
    assert trip.cancelled_at is None
    assert not sources.is_changed_here(trip)


def facts_of(trip: Trip) -> TripFacts:
    return TripFacts(trip.name, trip.departs_at, trip.returns_at, trip.people, room=trip.room)


def test_of_two_keepers_who_answer_differently_the_second_is_told(
    w: make.World, calendar: TripCalendar
) -> None:
    take(w, calendar, hill("a"), hill("b"), hill("c"))
    take(w, calendar, hill("c"))
    kept, cancelled = questions.open_questions(make.act(w.keeper).actor)
    for _twice in range(2):
        questions.keep(make.act(w.keeper), kept)
        questions.cancel(make.act(w.keeper), cancelled)
    with refused("trip-kept"):
        questions.cancel(make.act(w.keeper), kept)
    with refused("trip-cancelled"):
        questions.keep(make.act(w.keeper), cancelled)
    kept.trip.refresh_from_db()
    assert kept.trip.cancelled_at is None
    take(w, calendar, hill("a"), hill("b"), hill("c"))
    with refused("calendar-event-back"):
        questions.cancel(make.act(w.keeper), cancelled)
    cancelled.trip.refresh_from_db()
    assert cancelled.trip.cancelled_at is None
