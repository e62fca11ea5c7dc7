"""What a kit goes out for, whose it is, and until when."""

from datetime import UTC, datetime, time, timedelta
from typing import Any

import pytest

from gearroom.core import clock
from gearroom.core.models import Person
from gearroom.core.rules.roles import Role
from kits.models import AsFound, Checkout, Entry, Kit, Notice, Reservation, Trip
from kits.rules.trips.trips import Coverage
from kits.services.custody import custody
from kits.services.ledger import audit
from kits.services.lookup import promises
from kits.services.trips import reservations, trip_readiness
from tests.core.api.made import is_problem
from tests.kits import factories as make
from tests.kits.factories import act, trip
from tests.kits.problems import refused
from tests.labels.scan.scanned import filled

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def olu(w: make.World) -> Any:
    return make.person("Olu", Role.GUIDE, w.store)


def at(hour: int, minute: int = 0, day: int = 0) -> datetime:
    return datetime.combine(make.days(day), time(hour, minute), UTC)


def reserve(w: make.World, kit: Kit, walk: Trip, person: Any = None) -> Reservation:
    return reservations.reserve(act(w.keeper), kit, walk, person=person).reservation


def out(w: make.World, kit: Kit, who: Any, **more: Any) -> Checkout:
    held = custody.check_out(act(w.keeper), kit, person=who, **more).checkout
    assert held is not None
    return held


def coverage(walk: Trip) -> Coverage | None:
    (seen,) = trip_readiness.judge_trips(
        [Trip.objects.select_related("room", "leader").get(pk=walk.pk)]
    )
    return seen.coverage


# ----------------------------------------------------------------------------------- for which trip
def test_a_kit_promised_in_ninety_days_goes_for_no_trip_and_leaves_the_promise(
    w: make.World, olu: Any
) -> None:
    far = trip("Far away", w.store, 90, 95)
    reserve(w, w.day_01, far, w.guide)

    for who in (olu, w.guide):
        held = out(w, w.day_01, who)
        assert (held.trip, held.reservation) == (None, None)
        assert held.due_at is not None and held.due_at < clock.now() + timedelta(days=2)
        custody.check_in(act(w.keeper), w.day_01, as_found=AsFound.OPENED)
        Kit.objects.update(to_sort_since=None)

    assert Reservation.objects.get(released=None).trip == far


@pytest.mark.parametrize(
    ("change", "status", "code", "says"),
    [
        ({"cancelled_at": clock.now()}, 409, "trip-cancelled", "Crag walk has been cancelled."),
        (
            {"returns_at": clock.now() - timedelta(minutes=5)},
            422,
            "trip-is-over",
            "Crag walk ended on",
        ),
    ],
)
def test_nothing_is_taken_for_a_trip_that_is_cancelled_or_over_but_what_went_is_recorded(
    w: make.World, change: Any, status: int, code: str, says: str
) -> None:
    walk = trip("Crag walk", w.store, 0, 0, leader=w.guide)
    begun = clock.now() - timedelta(hours=1)
    Trip.objects.filter(pk=walk.pk).update(departs_at=begun, **change)
    call, body = make.caller(w.guide), {"person": str(w.guide.pk), "trip": str(walk.pk)}

    problem = is_problem(call.post("kits/DAY-01/check-out/", body), status, code)
    assert says in problem["detail"]
    went = call.post("kits/DAY-01/check-out/", {**body, "already_gone": True}).json()

    assert (went["checkout"]["trip"]["id"], went["entry"]["irregular"]) == (walk.pk, [code])


def test_what_went_while_its_trip_was_under_way_is_regular_however_late_it_is_typed_in(
    w: make.World,
) -> None:
    walk = trip("Crag walk", w.store, 0, 0, leader=w.guide)
    now = clock.now()
    begun, over = now - timedelta(hours=1), now - timedelta(minutes=5)
    Trip.objects.filter(pk=walk.pk).update(departs_at=begun, returns_at=over)
    walk.refresh_from_db()
    make_it = act(w.guide, claimed_at=now - timedelta(minutes=20), device_now=now)

    taken = custody.check_out(make_it, w.day_01, person=w.guide, trip=walk, already_gone=True)

    assert taken.entry.irregular == []


def test_its_guide_takes_it_for_the_trip_of_tomorrow_and_null_says_for_none(w: make.World) -> None:
    walk = trip("Ridge walk", w.store, 1, 1, leader=w.guide)
    reserve(w, w.day_01, walk)
    call = make.caller(w.guide)

    none = call.post("kits/DAY-01/check-out/", {"person": str(w.guide.pk), "trip": None})
    assert none.status_code == 201
    assert none.json()["checkout"]["trip"] is None
    Checkout.objects.update(in_at=clock.now(), closed_by=Entry.objects.latest("id"))
    its = call.post("kits/DAY-01/check-out/", {"person": str(w.guide.pk)})
    assert its.json()["checkout"]["trip"]["id"] == walk.pk


def test_nobody_named_means_whom_it_is_promised_to(w: make.World) -> None:
    walk = trip("Ridge walk", w.store, 0, 0)
    reserve(w, w.day_01, walk, w.guide)
    held = custody.check_out(act(w.keeper), w.day_01).checkout
    assert held is not None
    assert (held.person, held.trip) == (w.guide, walk)


# ------------------------------------------------------------------------------ another's promise
@pytest.mark.parametrize("first", [0, 1])
def test_a_kit_of_another_guide_s_trip_is_refused_with_what_would_do(
    w: make.World, olu: Any, first: int
) -> None:
    filled("DAY-03", w)
    walk = trip("Ridge walk", w.store, first, first, leader=w.guide)
    later = timedelta(hours=1)  # so that it has not departed, at any time of day
    Trip.objects.update(departs_at=walk.departs_at + later, returns_at=walk.returns_at + later)
    reserve(w, w.day_01, walk)
    call, body = make.caller(olu), {"person": str(olu.pk)}

    problem = is_problem(call.post("kits/DAY-01/check-out/", body), 409, "reserved-for-another")

    assert (problem["trip_name"], problem["guide_name"]) == ("Ridge walk", "Gil")
    assert problem["swap"] == "DAY-03"
    assert not Checkout.objects.exists()
    call.post(f"reservations/{problem['reservation']}/swap/", {"kit": "DAY-03"})
    assert call.post("kits/DAY-01/check-out/", body).status_code == 201
    assert coverage(walk) is Coverage.COVERED


def test_a_kit_of_another_guide_s_trip_is_swapped_where_the_request_says_so(
    w: make.World, olu: Any
) -> None:
    spare = filled("DAY-03", w)
    walk = trip("Ridge walk", w.store, 1, 1, leader=w.guide)
    reserve(w, w.day_01, walk)

    done = make.caller(olu).post(
        "kits/DAY-01/check-out/", {"person": str(olu.pk), "swap": True, "trip": None}
    )

    assert done.status_code == 201
    assert (Checkout.objects.get().kit, Checkout.objects.get().trip) == (w.day_01, None)
    assert Reservation.objects.promised().get(trip=walk).kit == spare


def test_a_trip_of_another_week_is_not_in_the_way(w: make.World, olu: Any) -> None:
    reserve(w, w.day_01, trip("Ridge walk", w.store, 6, 6, leader=w.guide))
    assert out(w, w.day_01, olu).trip is None


def test_a_reason_takes_it_unless_the_other_trip_would_go_without_within_48_hours(
    w: make.World, olu: Any
) -> None:
    reserve(w, w.day_01, trip("Ridge walk", w.store, 1, 1, leader=w.guide))
    late = (clock.now() + timedelta(days=1)).isoformat()
    body = {"person": str(olu.pk), "due_at": late, "take_reason": "the bridge is out"}

    problem = is_problem(
        make.caller(olu).post("kits/DAY-01/check-out/", body), 409, "reserved-for-another"
    )
    assert (problem["uncovered_within_48h"], problem["swap"]) == (True, None)

    assert make.caller(w.keeper).post("kits/DAY-01/check-out/", body).status_code == 201
    entry = Entry.objects.get(kind="check-out")
    assert (entry.reason, entry.irregular) == ("the bridge is out", ["reserved-for-another"])
    assert Notice.objects.filter(entry=entry).exists()


def test_a_guide_s_reason_is_enough_where_the_other_trip_is_days_away(
    w: make.World, olu: Any
) -> None:
    walk = trip("Ridge walk", w.store, 4, 4, leader=w.guide)
    reserve(w, w.day_01, walk)
    due = clock.now() + timedelta(days=4)
    with refused("reserved-for-another"):
        custody.check_out(act(olu), w.day_01, person=olu, due_at=due)
    custody.check_out(act(olu), w.day_01, person=olu, due_at=due, take_reason="a longer search")
    assert coverage(walk) is Coverage.UNCOVERED


def test_what_was_promised_on_the_day_before_is_taken_as_promised(w: make.World, olu: Any) -> None:
    mine, theirs = trip("Mine", w.store, 0, 0), trip("Theirs", w.store, 1, 1)
    reserve(w, w.day_01, mine, olu)
    reserve(w, w.day_01, theirs, w.guide)
    assert custody.check_out(act(olu), w.day_01, person=olu).checkout.trip == mine  # type: ignore[union-attr]
    assert coverage(mine) is Coverage.COVERED


# --------------------------------------------------------------------------------------- emergency
def test_an_emergency_belongs_to_whoever_presses_it_for_no_trip(w: make.World, olu: Any) -> None:
    walk = trip("Ridge walk", w.store, 1, 1, leader=w.guide)
    promise = reserve(w, w.day_01, walk)

    answer = make.caller(olu).post("kits/DAY-01/check-out/", {"emergency": True}).json()

    told = answer["checkout"]
    assert (told["person"]["name"], told["trip"], told["due_at"]) == ("Olu", None, None)
    assert Checkout.objects.get().reservation is None
    promise.refresh_from_db()
    assert promise.released is None
    assert coverage(walk) is Coverage.UNCOVERED


def test_a_program_never_has_a_kit(w: make.World) -> None:
    program = make.person("Bookings", Role.INTEGRATION, w.store)
    held = custody.check_out(act(program), w.day_01, emergency=True).checkout
    assert held is not None
    assert held.person is None
    with refused("who-takes-it", 422):
        custody.check_out(act(w.keeper), w.day_01, person=program)


# ---------------------------------------------------------------------------------------- when due
def test_without_a_trip_it_is_due_when_the_room_closes(w: make.World) -> None:
    with clock.pretending(at(9, day=1)):
        assert out(w, w.day_01, w.guide).due_at == at(18, day=1)
    custody.check_in(act(w.keeper), w.day_01)


def test_taken_after_three_it_is_due_tomorrow_and_at_the_room_s_own_hour(w: make.World) -> None:
    w.store.closing_time = time(17, 30)
    w.store.save()
    with clock.pretending(at(15, 1, day=1)):
        assert out(w, w.day_01, w.guide).due_at == at(17, 30, day=2)


def test_a_kit_that_lives_in_a_vehicle_is_due_at_no_time(w: make.World) -> None:
    Kit.objects.filter(pk=w.day_01.pk).update(lives_in="vehicle")
    held = out(w, make.fresh(w.day_01), w.guide)
    assert held.due_at is None
    for path in ("kits/DAY-01/", "kits/", "checkouts/", "checkouts/?overdue=true"):
        assert make.caller(w.keeper).get(path).status_code == 200, path


def test_who_works_alone_is_asked_for_no_time(w: make.World) -> None:
    assert out(w, w.day_01, w.guide).due_at is not None
    custody.check_in(act(w.guide), w.day_01, as_found=AsFound.SEALED)
    Kit.objects.update(to_sort_since=None)
    for person in Person.objects.exclude(pk=w.guide.pk):
        person.left_on = make.today()
        person.save()
    assert out(w, make.fresh(w.day_01), w.guide).due_at is None


# ----------------------------------------------------------------------------- back before the end
def test_a_kit_back_before_its_trip_serves_it_no_longer(w: make.World) -> None:
    walk = trip("Saturday", w.store, 1, 1, leader=w.guide)
    promise = reserve(w, w.day_01, walk)
    out(w, w.day_01, w.guide)
    assert coverage(walk) is Coverage.COVERED

    custody.check_in(act(w.keeper), w.day_01)  # to be sorted

    assert coverage(walk) is Coverage.UNCOVERED
    told = make.caller(w.keeper).get(f"trips/by-hand/{walk.reference}/").json()
    assert told["coverage"] == "uncovered"
    assert told["kits"][0]["stand"] == "not-fit"
    kit = make.caller(w.keeper).get("kits/DAY-01/readiness/").json()
    assert told["kits"][0]["verdict"]["verdict"] == kit["verdict"] == "do-not-take"
    assert kit["trip"]["id"] == walk.pk
    promise.refresh_from_db()
    assert promise.released is None


def test_a_kit_home_on_the_last_day_has_served_its_trip(w: make.World) -> None:
    walk = trip("Today", w.store, 0, 0, leader=w.guide)
    reserve(w, w.day_01, walk)
    out(w, w.day_01, w.guide)
    custody.check_in(act(w.keeper), w.day_01)
    assert coverage(walk) is Coverage.COVERED
    assert promises.next_trip(w.day_01) is None


def test_a_kit_that_was_out_on_a_trip_has_served_it_though_its_promise_was_taken_back(
    w: make.World,
) -> None:
    walk = trip("Today", w.store, 0, 0, leader=w.guide)
    promise = reserve(w, w.day_01, walk)
    out(w, w.day_01, w.guide)
    reservations.release(act(w.keeper), promise)
    assert coverage(walk) is Coverage.COVERED
    custody.check_in(act(w.keeper), w.day_01)
    assert coverage(walk) is Coverage.COVERED


def test_a_trip_waits_for_a_kit_that_is_due_in_time_and_never_for_one_overdue(
    w: make.World, olu: Any
) -> None:
    walk = trip("Friday", w.store, 3, 3, leader=w.guide)
    reserve(w, w.day_01, walk)
    held = out(w, w.day_01, olu, due_at=clock.now() + timedelta(days=1))
    assert coverage(walk) is Coverage.WAITING
    Checkout.objects.filter(pk=held.pk).update(
        out_at=clock.now() - timedelta(hours=2), due_at=clock.now() - timedelta(hours=1)
    )
    assert coverage(walk) is Coverage.UNCOVERED
    assert list(audit.findings()) == []
