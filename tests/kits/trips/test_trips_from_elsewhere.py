"""What another system says of its trips beyond when and how many: how certain, how old, who leads;
what comes of a change for the kits; and how it learns what changed."""

import uuid
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from gearroom.core.acts import NotAllowed
from gearroom.core.models import Person
from gearroom.core.rules.roles import Role
from gearroom.core.services.people import people
from kits.models import Checkout, LeaderAddress, Notice, Trip
from kits.services.custody import custody
from kits.services.people import personal_records
from kits.services.trips import leaders, reservations
from tests.core.api.made import Caller, is_problem
from tests.kits import factories as make
from tests.kits.problems import refused
from tests.kits.trips.test_trips import PATH, at, body

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def bookings(w: make.World) -> Caller:
    """The booking system of the main store."""
    return make.caller(make.person("Bookings", Role.INTEGRATION, w.store))


def by_email(**more: Any) -> dict[str, Any]:
    return (
        body(leader_name="Robin Example", leader_phone="", leader_email="Robin@Example.org") | more
    )


def named(who: Person, email: str = "robin@example.org") -> Person:
    Person.objects.filter(pk=who.pk).update(email=email)
    return Person.objects.get(pk=who.pk)


# ------------------------------------------------------------------------------ state and ages
def test_a_planned_trip_needs_its_kits_like_any_other(w: make.World, bookings: Caller) -> None:
    trip = bookings("PUT", PATH, body(3, 3, state="planned")).json()["trip"]
    assert (trip["state"], trip["coverage"]) == ("planned", "uncovered")
    reservations.reserve(make.act(w.keeper), w.day_01, Trip.objects.get())
    sure = bookings("PUT", PATH, body(3, 3, state="confirmed")).json()
    assert (sure["told"], sure["trip"]["state"], sure["trip"]["coverage"]) == (
        "updated",
        "confirmed",
        "covered",
    )
    off = bookings("PUT", PATH, body(3, 3, state="cancelled")).json()
    assert (off["trip"]["state"], off["released"]) == ("cancelled", ["DAY-01"])
    assert bookings("PUT", PATH, body(3, 3, cancelled=True)).json()["told"] == "unchanged"


def test_a_trip_is_not_cancelled_and_something_else(bookings: Caller) -> None:
    answer = bookings("PUT", PATH, body(state="planned", cancelled=True))
    assert list(is_problem(answer, 422, "cannot-be-right")["errors"]) == ["state"]


@pytest.mark.parametrize(
    ("ages", "children"),
    [
        ({"youngest": 17, "oldest": 19}, True),
        ({"youngest": 18}, False),
        ({"youngest": 10, "children": False}, False),
        ({"oldest": 12}, False),
        ({"children": True}, True),
    ],
)
def test_the_youngest_says_whether_children_go_unless_the_source_does(
    bookings: Caller, ages: dict[str, Any], children: bool
) -> None:
    trip = bookings("PUT", PATH, body(**ages)).json()["trip"]
    assert (trip["children"], trip["youngest"]) == (children, ages.get("youngest"))


def test_the_youngest_is_not_older_than_the_oldest(bookings: Caller) -> None:
    answer = bookings("PUT", PATH, body(youngest=15, oldest=14))
    assert list(is_problem(answer, 422, "cannot-be-right")["errors"]) == ["youngest"]


# --------------------------------------------------------------------------------------- leader
def test_whoever_has_the_address_leads_and_the_program_cannot_tell(
    w: make.World, bookings: Caller
) -> None:
    known = named(w.guide)
    first = bookings("PUT", PATH, by_email())
    other = bookings("PUT", "trips/bookings/T-101/", by_email(leader_email="no@example.org"))
    assert first.status_code == other.status_code == 201
    trips = [answer.json()["trip"] for answer in (first, other)]
    assert [(t["leader"], t["leader_email"], t["leader_name"]) for t in trips] == [
        (None, "", "Robin Example")
    ] * 2
    assert Trip.objects.get(reference="T-100").leader == known
    assert bookings.get(f"trips/?leader={known.pk}").json()["results"] == []
    seen = make.caller(w.keeper).get(PATH).json()
    assert (seen["leader"]["id"], seen["leader_email"]) == (known.pk, "robin@example.org")
    assert [
        t["id"] for t in make.caller(w.keeper).get(f"trips/?leader={known.pk}").json()["results"]
    ]


def test_a_program_does_not_learn_of_a_person_elsewhere_by_naming_them_as_leader(
    w: make.World, bookings: Caller
) -> None:
    elsewhere = named(make.person("Robin Example", Role.GUIDE, w.hut))
    bookings("PUT", PATH, by_email())
    assert Trip.objects.get().leader == elsewhere
    answer = bookings("PUT", "trips/bookings/T-101/", body(leader=elsewhere.pk, leader_name=""))
    is_problem(answer, 404, "not-found")


def test_a_later_address_does_not_show_as_a_change(w: make.World, bookings: Caller) -> None:
    bookings("PUT", PATH, by_email())
    named(w.guide)
    assert bookings("PUT", PATH, by_email()).json()["told"] == "unchanged"


def test_an_address_of_two_or_of_a_program_is_nobodys(w: make.World, bookings: Caller) -> None:
    named(w.guide)
    named(w.instructor)
    bookings("PUT", PATH, by_email())
    assert Trip.objects.get().leader is None
    named(w.instructor, "")
    named(w.guide, "")
    named(make.person("Other program", Role.INTEGRATION, w.store))
    bookings("PUT", "trips/bookings/T-101/", by_email())
    assert Trip.objects.get(reference="T-101").leader is None


def test_keepers_are_asked_once_an_address_and_their_answer_is_remembered(
    w: make.World, bookings: Caller
) -> None:
    for number in range(3):
        bookings("PUT", f"trips/bookings/T-{number}/", by_email())
    (notice,) = Notice.objects.filter(kind="leader-unknown")
    assert (notice.person, notice.facts["leader_email"]) == (w.keeper, "robin@example.org")

    done = leaders.name_leader(make.act(w.keeper), Trip.objects.get(reference="T-1"), w.guide)

    assert len(done.trips) == 3
    assert set(Trip.objects.values_list("leader", flat=True)) == {w.guide.pk}
    bookings("PUT", "trips/bookings/T-9/", by_email())
    assert Trip.objects.get(reference="T-9").leader == w.guide
    assert bookings("PUT", "trips/bookings/T-1/", by_email()).json()["told"] == "unchanged"
    assert Notice.objects.filter(kind="leader-unknown").count() == 1
    again = leaders.name_leader(make.act(w.keeper), Trip.objects.get(reference="T-1"), w.instructor)
    assert len(again.trips) == 4
    assert not leaders.name_leader(make.act(w.keeper), again.trips[0], w.instructor).trips


def test_whoever_was_named_for_an_address_and_left_leads_no_new_trip_and_keepers_are_asked_again(
    w: make.World, bookings: Caller
) -> None:
    bookings("PUT", PATH, by_email())
    trip = leaders.name_leader(make.act(w.keeper), Trip.objects.get(), w.guide).trips[0]
    people.leave(make.act(make.person("Chief", Role.ADMINISTRATOR)), w.guide)
    assert bookings("PUT", PATH, by_email()).json()["told"] == "unchanged"
    for number in range(2):
        bookings("PUT", f"trips/bookings/T-{number}/", by_email())
    assert set(Trip.objects.exclude(pk=trip.pk).values_list("leader", flat=True)) == {None}
    assert Notice.objects.filter(kind="leader-unknown", person=w.keeper).count() == 2


def test_who_leads_is_said_by_keepers_of_its_room_of_people_and_of_addresses(
    w: make.World, bookings: Caller
) -> None:
    bookings("PUT", PATH, by_email())
    trip = Trip.objects.get()
    program = make.person("Other program", Role.INTEGRATION, w.store)
    with pytest.raises(NotAllowed):
        leaders.name_leader(make.act(program), trip, w.guide)
    with refused("not-a-person"):
        leaders.name_leader(make.act(w.keeper), trip, program)
    plain = make.trip("By hand", w.store, 3, 3)
    with refused("leader-has-no-address"):
        leaders.name_leader(make.act(w.keeper), plain, w.guide)


def test_an_erased_leader_leaves_no_address(w: make.World, bookings: Caller) -> None:
    bookings("PUT", PATH, by_email(departs_at=at(-3), returns_at=at(-2, 17)))
    leaders.name_leader(make.act(w.keeper), Trip.objects.get(), w.guide)
    bookings("PUT", PATH, by_email(departs_at=at(-3), returns_at=at(-2, 18)))
    chief = make.person("Chief", Role.ADMINISTRATOR)
    personal_records.erase(make.act(chief), w.guide)
    trip = Trip.objects.get()
    assert (trip.leader_email, trip.leader_name) == ("", "")
    assert not LeaderAddress.objects.exists()


# --------------------------------------------------------------------- what a change means for kits
def test_a_change_says_which_kits_no_longer_fit_and_keepers_know(
    w: make.World, bookings: Caller
) -> None:
    bookings("PUT", PATH, body(3, 3))
    reservations.reserve(make.act(w.keeper), w.day_01, Trip.objects.get())
    grown = bookings("PUT", PATH, body(3, 3, people=40)).json()
    assert [each["code"] for each in grown["no_longer_served"]] == ["too-few-people"]
    assert grown["trip"]["coverage"] == "uncovered"
    (notice,) = Notice.objects.filter(kind="trip-changed", person=w.keeper)
    assert notice.facts["lacking"]
    more = bookings("PUT", PATH, body(3, 3, people=41)).json()
    assert (more["no_longer_fit"], more["no_longer_served"]) == ([], [])
    assert Notice.objects.filter(kind="trip-changed", person=w.keeper).count() == 1
    bookings("PUT", PATH, body(3, 3))
    later = bookings("PUT", PATH, body(600, 600)).json()
    assert later["no_longer_fit"] == ["DAY-01"]


def test_whoever_has_a_kit_is_told_that_its_trip_is_moved_or_cancelled(
    w: make.World, bookings: Caller
) -> None:
    bookings("PUT", PATH, body(0, 1))
    trip = Trip.objects.get()
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide, trip=trip, already_gone=True)

    bookings("PUT", PATH, body(0, 2))

    told = Notice.objects.filter(kind="trip-moved")
    assert set(told.values_list("person", flat=True)) == {
        w.guide.pk,
        w.keeper.pk,
        w.instructor.pk,
    }
    facts = told.filter(person=w.guide).get().facts
    assert [kit["due_at"] for kit in facts["kits"]] == [at(2, 17)]
    bookings("PUT", PATH, body(0, 2, people=9))
    assert told.filter(person=w.guide).count() == 1
    gone = bookings("PUT", PATH, body(0, 2, cancelled=True)).json()
    assert gone["trip"]["kits"] == []
    assert told.filter(person=w.guide).latest("id").facts["what"] == "cancelled"
    assert Checkout.objects.open().get(kit=w.day_01).person == w.guide


# ------------------------------------------------------------------------------- changed since
def changed(call: Caller, since: str, **more: Any) -> list[dict[str, Any]]:
    query = "&".join(f"{name}={value}" for name, value in more.items())
    since = since.replace("+", "%2B")
    rows: list[dict[str, Any]] = call.get(f"trips/?changed_since={since}&{query}").json()["results"]
    return rows


def test_what_changed_since_comes_in_the_order_of_changes_cancelled_ones_too(
    bookings: Caller,
) -> None:
    for number in range(3):
        bookings("PUT", f"trips/bookings/T-{number}/", body(9 - number, 9 - number))
    last = changed(bookings, "2026-01-01T00:00:00+00:00")[-1]["changed_at"]
    bookings("PUT", "trips/bookings/T-1/", body(8, 8, state="cancelled"))
    bookings("PUT", "trips/bookings/T-0/", body(9, 9, people=3))
    assert [row["reference"] for row in changed(bookings, last)] == ["T-2", "T-1", "T-0"]
    bookings("PUT", "trips/bookings/T-2/", body(7, 7))
    assert changed(bookings, last) == changed(bookings, last, source="bookings")


def test_the_time_of_a_change_never_goes_back(bookings: Caller, time_machine: Any) -> None:
    later = timezone.now() + timedelta(hours=1)
    time_machine.move_to(later)
    first = bookings("PUT", PATH, body()).json()["trip"]["changed_at"]
    time_machine.move_to(later - timedelta(minutes=5))
    second = bookings("PUT", PATH, body(people=9)).json()["trip"]["changed_at"]
    assert datetime.fromisoformat(second) > datetime.fromisoformat(first)


# ---------------------------------------------------------------------------------- proposal
def test_a_proposal_is_read_and_says_when_it_was_made(w: make.World, bookings: Caller) -> None:
    bookings("PUT", PATH, body(3, 3))
    first = bookings.get(f"{PATH}proposal/").json()
    assert (first["proposed"], first["suits"]) == (["DAY-01"], True)
    reservations.reserve(make.act(w.keeper), w.day_01, make.trip("Cave", w.store, 3, 3))
    key = str(uuid.uuid4())
    for _once in range(2):
        asked = bookings("POST", f"{PATH}proposal/", {}, idempotency_key=key).json()
        assert asked["proposed"] == []
    again = bookings.get(f"{PATH}proposal/").json()
    assert again["proposed"] == []
    assert again["as_of"] > first["as_of"]


def test_whoever_leaves_out_the_source_learns_how_a_trip_is_written(
    w: make.World, bookings: Caller
) -> None:
    answer = bookings.post("reservations/", {"kit": "DAY-01", "trip": "B-1001"})
    detail = is_problem(answer, 404, "not-found")["detail"]
    assert "no trip B-1001" in detail and "bookings:B-1001" in detail
