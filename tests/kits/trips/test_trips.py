"""Trips as their source tells them, and which kits to send with them."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from gearroom.core.rules.roles import Role
from kits.models import Checkout, Entry, EntryKind, Kit, Notice, Trip, WithheldKind
from kits.rules.ledger.facts import Weight
from kits.services.custody import custody
from kits.services.kits import holds, kits
from kits.services.ledger import audit, verdicts
from kits.services.restocking import sorting
from kits.services.trips import proposals, reservations
from tests.core.api.made import Caller, is_problem
from tests.kits import factories as make
from tests.kits.problems import refused
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def call() -> Caller:
    """The booking system, where there is nothing yet but a room in another time zone."""
    room = make.room()
    room.time_zone = "Pacific/Auckland"
    room.save()
    return make.caller(make.person("Bookings", Role.INTEGRATION, room))


def at(day: int, hour: int = 8) -> str:
    """An hour of a day from today, as a body has it."""
    day_then = timezone.now().replace(hour=hour, minute=0, second=0, microsecond=0)
    return (day_then + timedelta(days=day)).isoformat()


def body(first: int = 3, last: int = 4, **more: Any) -> dict[str, Any]:
    return {
        "name": "Over the moor",
        "room": "main-store",
        "departs_at": at(first),
        "returns_at": at(last, 17),
        "people": 8,
        "leader_name": "Robin",
        "leader_phone": "0700 900 555",
        **more,
    }


PATH = "trips/bookings/T-100/"


# -------------------------------------------------------------------------------------- putting
def test_a_trip_put_again_unchanged_changes_nothing(call: Caller) -> None:
    first, again = call("PUT", PATH, body()), call("PUT", PATH, body())
    assert (first.status_code, first.json()["told"]) == (201, "created")
    assert (again.status_code, again.json()["told"]) == (200, "unchanged")
    assert again.json()["trip"] == first.json()["trip"]
    assert Entry.objects.filter(kind=EntryKind.TRIP).count() == 1


def test_a_changed_trip_is_updated_and_the_change_written_down(call: Caller) -> None:
    call("PUT", PATH, body())
    done = call("PUT", PATH, body(people=14, leader_phone="0700 900 556")).json()
    assert (done["told"], done["trip"]["people"], done["trip"]["revision"]) == ("updated", 14, 2)
    entry = Entry.objects.filter(kind=EntryKind.TRIP).latest("id")
    assert entry.detail["changed"] == {"people": [8, 14]}
    assert "900 55" not in str(list(Entry.objects.values("detail")))


def test_its_days_are_those_of_the_room_it_leaves_from(call: Caller) -> None:
    said = body(departs_at="2027-06-01T20:00:00Z", returns_at="2027-06-03T05:00:00Z")
    trip = call("PUT", PATH, said).json()["trip"]
    assert (trip["first_day"], trip["last_day"]) == ("2027-06-02", "2027-06-03")
    given = call("PUT", PATH, {**said, "first_day": "2027-06-01"}).json()["trip"]
    assert (given["first_day"], given["last_day"]) == ("2027-06-01", "2027-06-03")


@pytest.mark.parametrize(
    "change",
    [
        {"returns_at": at(2)},
        {"returns_at": at(3, 7)},
        {"first_day": make.days(5).isoformat(), "last_day": make.days(4).isoformat()},
    ],
)
def test_a_trip_that_ends_before_it_begins_is_refused(call: Caller, change: Any) -> None:
    problem = is_problem(call("PUT", PATH, body(**change)), 422, "trip-ends-before-it-begins")
    assert problem["last_day"]
    assert not Trip.objects.exists()


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"people": 0}, "people"),
        ({"people": -3}, "people"),
        ({"people": 2.5}, "people"),
        ({"people": "8"}, "people"),
        ({"people": 10**9}, "people"),
        ({"departs_at": "2027-06-01T08:00:00"}, "departs_at"),
        ({"departs_at": "tomorrow"}, "departs_at"),
        ({"hazards": ["lava"]}, "hazards.0"),
        ({"children": "no"}, "children"),
        ({"weather": "fine"}, "weather"),
        ({"name": " "}, "name"),
    ],
)
def test_what_cannot_be_said_of_a_trip_is_refused_by_field(
    call: Caller, change: dict[str, Any], field: str
) -> None:
    answer = call("PUT", PATH, body(**change))
    assert list(is_problem(answer, 400, "invalid-request")["errors"]) == [field]
    assert not Trip.objects.exists()


def test_a_trip_of_years_is_a_slip_of_the_finger(call: Caller) -> None:
    is_problem(call("PUT", PATH, body(3, 800)), 422, "trip-too-long")


def test_a_source_and_a_reference_have_a_form(call: Caller) -> None:
    is_problem(call("PUT", "trips/Book_ings/T-1/", body()), 422, "cannot-be-right")
    is_problem(call("PUT", f"trips/bookings/{'T' * 81}/", body()), 422, "cannot-be-right")


def test_the_same_key_with_another_trip_is_refused(call: Caller) -> None:
    key = "8d7f7e0e-65a3-4f4e-9c25-0d1f4c2ab001"
    first = call("PUT", PATH, body(), idempotency_key=key)
    again = call("PUT", PATH, body(), idempotency_key=key)
    assert (again.status_code, again.json()) == (201, first.json())
    is_problem(call("PUT", PATH, body(people=9), idempotency_key=key), 422, "key-reused")
    assert Trip.objects.get().people == 8


def test_a_trip_by_hand_gets_a_reference_of_our_own(w: make.World) -> None:
    done = make.caller(w.keeper).post("trips/", body())
    trip = done.json()["trip"]
    assert (done.status_code, trip["source"]) == (201, "by-hand")
    path = f"trips/by-hand/{trip['reference']}/"
    assert make.caller(w.keeper).get(path).json() == trip
    is_problem(make.caller(w.guide).post("trips/", body()), 403, "role-missing")


def test_another_rooms_trip_is_neither_seen_nor_changed(w: make.World) -> None:
    make.caller(w.keeper)("PUT", PATH, body())
    hut = make.caller(make.person("Hutbookings", Role.INTEGRATION, w.hut))
    is_problem(hut.get(PATH), 404, "not-found")
    is_problem(hut("PUT", PATH, body(room="cave-hut")), 404, "not-found")
    assert Trip.objects.get().room == w.store


def test_a_trip_is_changed_only_as_it_was_read_where_that_is_asked(call: Caller) -> None:
    call("PUT", PATH, body())
    read = call.get(PATH)
    call("PUT", PATH, body(people=9))
    is_problem(call("PUT", PATH, body(people=10), if_match=read["ETag"]), 412, "changed-since")


# ------------------------------------------------------------------- kits promised, dates changed
def test_new_dates_that_promise_a_kit_twice_are_told(w: make.World) -> None:
    call = make.caller(w.keeper)
    trip = Trip.objects.get(pk=call("PUT", PATH, body(3, 4)).json()["trip"]["id"])
    reservations.reserve(make.act(w.keeper), w.day_01, trip)
    other = make.trip("Cave day", w.store, 6, 6)
    reservations.reserve(make.act(w.keeper), w.day_01, other)
    done = call("PUT", PATH, body(3, 6)).json()
    assert [(c["kit"], c["other_trip"]["name"]) for c in done["clashes"]] == [
        ("DAY-01", "Cave day")
    ]
    told = Notice.objects.filter(kind="trip-changed")
    assert set(told.values_list("person", flat=True)) == {w.keeper.pk, w.instructor.pk}
    assert present(told.first()).facts["clashes"][0]["trip"] == "Cave day"
    call("PUT", PATH, body(3, 6))
    assert Notice.objects.filter(kind="trip-changed").count() == told.count()
    assert call("PUT", PATH, body(3, 5)).json()["clashes"] == []
    assert not list(audit.findings())


def test_a_cancelled_trip_gives_its_kits_free_and_its_keepers_know(w: make.World) -> None:
    call = make.caller(w.keeper)
    trip = Trip.objects.get(pk=call("PUT", PATH, body()).json()["trip"]["id"])
    reservations.reserve(make.act(w.keeper), w.day_01, trip)
    gone = call("PUT", PATH, body(cancelled=True)).json()
    assert (gone["told"], bool(gone["trip"]["cancelled_at"])) == ("updated", True)
    assert (gone["released"], gone["trip"]["kits"]) == (["DAY-01"], [])
    assert Entry.objects.filter(kind=EntryKind.UNRESERVE, kit=w.day_01, trip=trip).count() == 1
    (notice,) = Notice.objects.filter(person=w.keeper, kind="trip-changed")
    assert notice.facts["released"] == ["DAY-01"]
    assert call.get("kits/DAY-01/").json()["reserved"] is None
    other = make.trip("Cave day", w.store, 3, 3)
    reservations.reserve(make.act(w.keeper), w.day_01, other)
    back = call("PUT", PATH, body()).json()
    assert back["trip"]["cancelled_at"] is None
    assert back["clashes"] == []
    assert not list(audit.findings())


def test_all_kits_of_a_trip_are_extended_in_one_act(w: make.World) -> None:
    trip = make.trip("Moor", w.store, 0, 0, leader=w.guide)
    for kit in (w.day_01, w.day_02):
        custody.check_out(make.act(w.keeper), kit, person=w.guide, trip=trip, already_gone=True)
    reservations.reserve(make.act(w.keeper), w.day_01, make.trip("Gorge", w.store, 1, 1))
    then = (timezone.now() + timedelta(days=1)).replace(microsecond=0)
    call = make.caller(w.guide)

    path = f"trips/by-hand/{trip.reference}/extend/"
    done = call.post(path, {"returns_at": then.isoformat()}).json()

    assert {datetime.fromisoformat(each["due_at"]) for each in done["checkouts"]} == {then}
    assert [each["kit"] for each in done["checkouts"]] == ["DAY-01", "DAY-02"]
    assert done["trip"]["last_day"] == str(make.days(1))
    assert done["clashes"] == []  # the kit was taken without being reserved
    entry = Entry.objects.get(kind=EntryKind.TRIP)
    assert entry.detail["what"] == "extended"
    is_problem(call.post(path, {"returns_at": at(-1)}), 422, "due-in-the-past")
    is_problem(
        make.caller(w.adviser).post(path, {"returns_at": then.isoformat()}), 403, "role-missing"
    )


def test_what_is_due_at_a_trips_return_follows_it_and_what_somebody_set_stays(
    w: make.World,
) -> None:
    call = make.caller(w.keeper)
    trip = Trip.objects.get(pk=call("PUT", PATH, body(0, 1)).json()["trip"]["id"])
    for kit in (w.day_01, w.day_02):
        custody.check_out(make.act(w.keeper), kit, person=w.guide, trip=trip, already_gone=True)
    call.post("kits/DAY-02/due/", {"due_at": at(3)})

    done = call("PUT", PATH, body(0, 2)).json()

    assert done["due_changed"] == ["DAY-01"]
    due = dict(Checkout.objects.filter(in_at=None).values_list("kit__name", "due_at"))
    assert due == {
        "DAY-01": datetime.fromisoformat(at(2, 17)),
        "DAY-02": datetime.fromisoformat(at(3)),
    }
    entry = Entry.objects.filter(kind=EntryKind.TRIP).latest("id")
    first = Checkout.objects.get(kit=w.day_01, in_at=None)
    assert entry.detail["due"] == {str(first.pk): at(1, 17)}
    assert call("PUT", PATH, body(0, 2, people=9)).json()["due_changed"] == []
    assert not list(audit.findings())


def test_one_kit_is_due_at_another_time_or_none(w: make.World) -> None:
    call, then = make.caller(w.guide), (timezone.now() + timedelta(days=2)).isoformat()
    is_problem(call.post("kits/DAY-01/due/", {"due_at": then}), 409, "not-out")
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide)
    done = call.post("kits/DAY-01/due/", {"due_at": then})
    assert done.json()["due_at"] == then
    assert call.post("kits/DAY-01/due/", {"due_at": None}).json()["due_at"] is None
    assert not list(audit.findings())


def test_trips_are_listed_by_departure_and_by_what_is_asked(
    w: make.World, django_assert_max_num_queries: Any
) -> None:
    for number in range(8):
        trip = make.trip(f"Trip {number}", w.store, 8 - number, 9 - number)
        if number < 2:
            reservations.reserve(make.act(w.keeper), [w.day_01, w.day_02][number], trip)
    make.trip("Elsewhere", w.hut, 1, 1)
    call = make.caller(w.guide)

    def names(query: str) -> list[str]:
        return [row["name"] for row in call.get(f"trips/?{query}").json()["results"]]

    with django_assert_max_num_queries(18):  # with how each stands
        assert names("") == [f"Trip {n}" for n in range(7, -1, -1)]
    assert names(f"on_or_after={make.days(8)}") == ["Trip 1", "Trip 0"]
    assert names(f"on_or_before={make.days(2)}") == ["Trip 7", "Trip 6"]
    assert names("cancelled=true") == []
    assert names("source=bookings") == []


# -------------------------------------------------------------------------------------- proposal
def fill(w: make.World, *names: str) -> list[Kit]:
    """More kits like DAY-01, full and looked inside."""
    made = []
    for name in names:
        make.some(w.dressing, w.shelf, 6, "D9", make.days(500))
        make.some(w.shears, w.shelf, 1)
        make.some(w.tablets, w.shelf, 8, "T9", make.days(500))
        kit = make.kit(name, w.version, w.store)
        sorting.restock(make.act(), kit)
        made.append(make.fresh(kit))
    return made


def test_it_proposes_the_fewest_fit_kits_and_says_why_not_the_others(w: make.World) -> None:
    fill(w, "DAY-03")
    trip = make.trip("Moor", w.store, 3, 3, people=8)
    path = f"trips/by-hand/{trip.reference}/proposal/"
    found = make.caller(w.guide).post(path).json()
    assert (found["proposed"], found["suits"], found["lacking"]) == (["DAY-01"], True, [])
    why = {row["kit"]: [r["code"] for r in row["reasons"]] for row in found["passed_over"]}
    assert why["DAY-03"] == ["another-does-as-well"]
    assert "short" in why["DAY-02"]
    assert all(r["text"] for row in found["passed_over"] for r in row["reasons"])


def test_kits_promised_to_it_already_count(w: make.World) -> None:
    fill(w, "DAY-03")
    trip = make.trip("Moor", w.store, 3, 3, people=18)
    reservations.reserve(make.act(w.keeper), w.day_01, trip)
    found = proposals.proposal(make.actor(w.keeper), trip)
    assert [kit.name for kit in found.promised] == ["DAY-01"]
    assert [kit.name for kit in found.proposed] == ["DAY-03"]


def _reserve(w: make.World, kit: Kit) -> None:
    other = make.trip("Cave day", w.store, 2, 3)
    reservations.reserve(make.act(w.keeper), kit, other)


def _out(w: make.World, kit: Kit) -> None:
    due = timezone.now() + timedelta(days=5)
    custody.check_out(make.act(w.keeper), kit, person=w.guide, due_at=due)


def _overdue(w: make.World, kit: Kit) -> None:
    custody.check_out(make.act(w.keeper), kit, person=w.guide)
    kit.checkouts.update(
        out_at=timezone.now() - timedelta(days=3), due_at=timezone.now() - timedelta(days=2)
    )


@pytest.mark.parametrize(
    ("happens", "code"),
    [
        (_reserve, "reserved"),
        (_out, "out-past-departure"),
        (_overdue, "out-past-departure"),
        (lambda w, kit: holds.lay_up(make.act(w.keeper), kit), "laid-up"),
        (lambda w, kit: holds.mark_lost(make.act(w.keeper), kit), "lost"),
        (
            lambda w, kit: holds.withhold(make.act(w.keeper), kit, WithheldKind.DRYING),
            "withheld",
        ),
        (lambda w, kit: kits.edit_kit(make.act(w.keeper), kit, training=True), "training"),
    ],
)
def test_it_never_proposes_a_kit_that_is_not_free(w: make.World, happens: Any, code: str) -> None:
    happens(w, w.day_01)
    trip = make.trip("Moor", w.store, 3, 3)
    found = proposals.proposal(make.actor(w.keeper), trip)
    assert found.proposed == []
    (why,) = [row for row in found.passed_over if row.kit == w.day_01]
    assert code in [r["code"] for r in why.reasons]


def test_a_kit_out_today_and_back_before_the_departure_is_free(w: make.World) -> None:
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide)
    found = proposals.proposal(make.actor(w.keeper), make.trip("Moor", w.store, 3, 3))
    assert [kit.name for kit in found.proposed] == ["DAY-01"]


def test_nothing_is_proposed_beyond_what_the_kits_last(w: make.World) -> None:
    found = proposals.proposal(make.actor(w.keeper), make.trip("Next year", w.store, 305, 306))
    assert found.proposed == []


def test_nothing_is_proposed_for_a_trip_that_is_over_or_cancelled(w: make.World) -> None:
    with refused("trip-is-over", 422):
        proposals.proposal(make.actor(w.keeper), make.trip("Gone", w.store, -4, -3))
    off = make.trip("Off", w.store, 3, 3, cancelled_at=datetime.now(UTC))
    with refused("trip-cancelled"):
        proposals.proposal(make.actor(w.keeper), off)


def test_a_proposal_takes_as_many_queries_however_many_kits_there_are(
    w: make.World, django_assert_max_num_queries: Any
) -> None:
    for number in range(10, 22):
        make.kit(f"DAY-{number}", w.version, w.store)
    trip = make.trip("Moor", w.store, 3, 3)
    actor = make.actor(w.keeper)
    with django_assert_max_num_queries(15):
        found = proposals.proposal(actor, trip)
    assert len(found.passed_over) == 13


def test_what_is_proposed_is_fit_for_the_trip_once_reserved(w: make.World) -> None:
    trip = make.trip("Moor", w.store, 3, 5, people=4)
    found = proposals.proposal(make.actor(w.keeper), trip)
    told = {r["code"] for r in found.lacking}
    for kit in found.proposed:
        done = reservations.reserve(make.act(w.keeper), kit, trip)
        assert {r.code for r in done.verdict.reasons if r.weight >= Weight.SHORT} <= told
        assert verdicts.verdict(kit, trip.last_day).fit
