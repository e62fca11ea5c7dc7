"""Kits for all open trips together, as they are on record."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from gearroom.core.acts import Invalid, NotAllowed, Refused
from kits.models import Entry, Item, Kit, ListLine, Reservation, Trip
from kits.rules.ledger import Criticality
from kits.rules.trips.season_kits import Found
from kits.services.buying.kit_costs import contents_costs
from kits.services.custody import custody
from kits.services.restocking import sorting
from kits.services.stock import offers
from kits.services.stock.offers import PackPrice
from kits.services.trips import reservations
from kits.services.trips.season import season_kits
from kits.services.trips.season.season_kits import SeasonKits, TripKits
from tests.kits import factories as make
from tests.kits.factories import World, act, actor, fresh

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    return make.world()


def of(found: SeasonKits, trip: Trip) -> TripKits:
    return next(row for row in found.trips if row.trip == trip)


def chosen(found: SeasonKits, trip: Trip) -> list[str]:
    return [each.kit.name for each in of(found, trip).chosen]


def test_each_trip_has_a_kit_and_nothing_is_reserved_by_asking(w: World) -> None:
    first, later = make.trip("Moor", w.store, 1, 1), make.trip("Ridge", w.store, 4, 4)
    before = Entry.objects.count()
    found = season_kits.season_kits(actor(w.keeper))
    assert [row.trip for row in found.trips] == [first, later]
    assert chosen(found, first) == ["DAY-01"]
    assert chosen(found, later)
    assert not any(row.lacking for row in found.trips)
    assert found.found is Found.BEST
    assert (Entry.objects.count(), Reservation.objects.count()) == (before, 0)


def test_what_the_shelves_make_ready_in_time_is_counted_on_and_said(w: World) -> None:
    make.some(w.dressing, w.shelf, 6, "D9", make.days(500))
    one, other = make.trip("Moor", w.store, 3, 3), make.trip("Ridge", w.store, 3, 3)
    found = season_kits.season_kits(actor(w.keeper))
    kits = {each.kit.name: each.to_restock for row in found.trips for each in row.chosen}
    assert kits == {"DAY-01": False, "DAY-02": True}
    for row in found.trips:
        assert not row.lacking
    sorting.restock(act(w.keeper), w.day_02)
    found = season_kits.season_kits(actor(w.keeper))
    assert not any(each.to_restock for row in found.trips for each in row.chosen)
    assert {one, other} == {row.trip for row in found.trips}


def test_a_trip_that_lacks_a_kit_says_what_and_how_it_could_go_after_all(w: World) -> None:
    Kit.objects.filter(pk=w.day_02.pk).update(lost_since=timezone.now())
    trips = [make.trip(name, w.store, 3, 3) for name in ("Moor", "Ridge")]
    found = season_kits.season_kits(actor(w.keeper))
    (without,) = [row for row in found.trips if not row.chosen]
    assert without.trip in trips
    assert without.lacking
    assert any("began on" in way and "DAY-01" in way for way in without.ways)
    assert any("One more kit like DAY-01" in way for way in without.ways)


def test_one_more_kit_says_what_its_contents_cost_as_far_as_prices_are_known(w: World) -> None:
    def says() -> str:
        found = season_kits.season_kits(actor(w.keeper), costs_of=contents_costs)
        (way,) = [way for row in found.trips for way in row.ways if "One more kit" in way]
        return way

    Kit.objects.filter(pk=w.day_02.pk).update(lost_since=timezone.now())
    for name in ("Moor", "Ridge"):
        make.trip(name, w.store, 3, 3)
    assert says() == "One more kit like DAY-01: borrow or buy one."
    carried = dict(
        ListLine.objects.filter(section__version=w.version, item__by_eye=False).values_list(
            "item", "carry"
        )
    )
    shop, items = offers.add_supplier(act(), "North Medical"), Item.objects.in_bulk(carried)
    first, *others = items.values()
    offers.state_offer(
        act(), item=first, supplier=shop, units=1, currency="GBP", prices=[PackPrice(1, Decimal(2))]
    )
    assert f"at least {2 * carried[first.pk]}.00 GBP" in says()
    assert f"{len(others)} item" in says()
    for item in others:
        offers.state_offer(
            act(),
            item=item,
            supplier=shop,
            units=1,
            currency="GBP",
            prices=[PackPrice(1, Decimal("0.50"))],
        )
    cost = 2 * carried[first.pk] + sum(carried[item.pk] for item in others) / 2
    assert f"To buy what belongs in it costs {cost:.2f} GBP, without a bag." in says()


def test_a_kit_that_nothing_in_stock_keeps_ready_so_long_is_named(w: World) -> None:
    far = make.trip("Next year", w.store, 900, 900)
    (row,) = season_kits.season_kits(actor(w.keeper)).trips
    assert (row.trip, row.chosen) == (far, [])
    assert row.lacking
    (way,) = row.ways
    assert "DAY-01 would be enough if made ready for the whole trip" in way


def test_what_is_reserved_stays_and_serves_only_its_trip(w: World) -> None:
    moor, ridge = make.trip("Moor", w.store, 3, 3), make.trip("Ridge", w.store, 3, 3)
    reservations.reserve(act(w.keeper), w.day_01, ridge)
    found = season_kits.season_kits(actor(w.keeper))
    assert [each.kit.name for each in of(found, ridge).promised] == ["DAY-01"]
    assert chosen(found, ridge) == []
    assert "DAY-01" not in chosen(found, moor)


def test_a_kit_that_is_not_back_is_not_counted_on(w: World) -> None:
    moor = make.trip("Moor", w.store, 3, 3)
    due = timezone.now() + timedelta(days=1)
    custody.check_out(act(w.keeper), w.day_01, person=w.guide, due_at=due)
    assert chosen(season_kits.season_kits(actor(w.keeper)), moor) == ["DAY-01"]
    w.day_01.checkouts.update(due_at=timezone.now() - timedelta(hours=1))
    found = season_kits.season_kits(actor(w.keeper))
    assert [kit.name for kit in found.not_counted_on] == ["DAY-01"]
    assert "DAY-01" not in chosen(found, moor)


def test_all_are_reserved_or_none(w: World) -> None:
    moor, ridge = make.trip("Moor", w.store, 3, 3), make.trip("Ridge", w.store, 3, 3)
    with pytest.raises(Invalid):
        season_kits.reserve(act(w.keeper), [])
    reservations.reserve(act(w.keeper), w.day_02, make.trip("Cave", w.store, 3, 3))
    with pytest.raises(Refused) as problem:
        season_kits.reserve(act(w.keeper), [(moor, w.day_01), (ridge, w.day_02)])
    assert problem.value.code == "kit-reserved"
    assert Reservation.objects.filter(trip__in=[moor, ridge]).count() == 0
    done = season_kits.reserve(act(w.keeper), [(moor, w.day_01), (moor, w.day_01)])
    assert [(each.reservation.kit.name, each.reservation.trip) for each in done] == [
        ("DAY-01", moor)
    ]


@pytest.fixture
def promised(w: World) -> tuple[Trip, Trip]:
    """Moor has the one kit that Ridge needs, and could go with another."""
    small = make.kit_list(
        "Small", {"main": [(w.shears, 1, 1, Criticality.ROUTINE)]}, w.adviser, people=4
    )
    make.kit("SMALL-1", small, w.store)
    Kit.objects.filter(pk=w.day_02.pk).update(lost_since=timezone.now())
    moor, ridge = make.trip("Moor", w.store, 3, 3, people=4), make.trip("Ridge", w.store, 3, 3)
    reservations.reserve(act(w.keeper), w.day_01, moor, person=w.guide)
    return moor, ridge


def test_with_changes_a_reserved_kit_goes_where_it_is_needed_more(
    w: World, promised: tuple[Trip, Trip]
) -> None:
    moor, ridge = promised
    stays = season_kits.season_kits(actor(w.keeper))
    assert of(stays, ridge).lacking
    found = season_kits.season_kits(actor(w.keeper), changes=True)
    row = of(found, moor)
    assert [each.kit.name for each in row.released] == ["DAY-01"]
    assert (chosen(found, moor), chosen(found, ridge)) == (["SMALL-1"], ["DAY-01"])
    assert row.why.startswith("SMALL-1 instead of DAY-01, which goes with Ridge")
    assert not any(each.lacking for each in found.trips)
    small = Kit.objects.get(name="SMALL-1")
    season_kits.reserve(act(w.keeper), [(moor, small), (ridge, w.day_01)], [(moor, w.day_01)])
    rows = Reservation.objects.promised().order_by("kit__name")
    assert list(rows.values_list("kit__name", "trip__name", "person")) == [
        ("DAY-01", "Ridge", None),
        ("SMALL-1", "Moor", w.guide.pk),
    ]


def test_a_change_is_refused_whole_where_things_are_no_longer_so(
    w: World, promised: tuple[Trip, Trip]
) -> None:
    moor, ridge = promised
    wanted = [(moor, Kit.objects.get(name="SMALL-1")), (ridge, w.day_01)]
    custody.check_out(act(w.keeper), w.day_01, person=w.guide, trip=moor)
    assert not of(season_kits.season_kits(actor(w.keeper), changes=True), moor).released
    with pytest.raises(Refused) as problem:
        season_kits.reserve(act(w.keeper), wanted, [(moor, w.day_01)])
    assert problem.value.code == "kit-is-out"
    custody.check_in(act(w.keeper), w.day_01)
    reservations.release(act(w.keeper), Reservation.objects.promised().get())
    with pytest.raises(Refused) as problem:
        season_kits.reserve(act(w.keeper), wanted, [(moor, w.day_01)])
    assert problem.value.code == "not-reserved"
    assert not Reservation.objects.promised().exists()


def test_a_kit_that_is_not_back_in_time_does_not_serve_the_trip_it_is_reserved_for(
    w: World,
) -> None:
    moor = make.trip("Moor", w.store, 3, 3)
    reservations.reserve(act(w.keeper), w.day_01, moor)
    due = timezone.now() + timedelta(days=3)
    custody.check_out(act(w.keeper), w.day_01, person=w.guide, due_at=due, take_reason="Away")
    (row,) = season_kits.season_kits(actor(w.keeper)).trips
    (kit,) = row.promised
    assert kit.not_back and not row.is_settled


def test_only_what_one_sees_is_chosen_and_only_a_keeper_reserves(w: World) -> None:
    moor = make.trip("Moor", w.store, 3, 3)
    cave = make.trip("Cave", w.hut, 3, 3)
    assert [row.trip for row in season_kits.season_kits(actor(w.stranger)).trips] == [cave]
    assert chosen(season_kits.season_kits(actor(w.stranger)), cave) == []
    with pytest.raises(NotAllowed):
        season_kits.reserve(act(w.stranger), [(moor, w.day_01)])


def test_the_number_of_queries_does_not_grow_with_trips_or_kits(w: World) -> None:
    make.trip("Moor", w.store, 1, 1)
    with CaptureQueriesContext(
        connection,
    ) as few:
        season_kits.season_kits(actor(w.keeper))
    for n in range(4):
        make.trip(f"Ridge {n}", w.store, 2 + n, 2 + n)
        make.kit(f"DAY-1{n}", w.version, w.store)
    with CaptureQueriesContext(connection) as many:
        season_kits.season_kits(actor(w.keeper))
    assert len(many) <= len(few)
    assert fresh(w.day_01).name == "DAY-01"


# ----------------------------------------------------------------------------------------- the API
def test_it_is_asked_and_accepted_at_the_door(w: World) -> None:
    moor = make.trip("Moor", w.store, 3, 3)
    make.trip("Cave", w.hut, 3, 3)
    call = make.caller(w.keeper)
    answer = call.get("plans/trips/?room=main-store").json()
    (row,) = answer["trips"]
    assert (row["trip"], row["name"], row["lacking"], row["ways"]) == (moor.pk, "Moor", [], [])
    assert row["chosen"] == [
        {"kit": "DAY-01", "to_restock": False, "from_elsewhere": False, "not_back": False}
    ]
    assert (answer["quality"], answer["not_counted_on"]) == ("best", [])
    wanted = [{"kit": "DAY-01", "trip": f"by-hand:{moor.reference}"}]
    done = call.post("plans/trips/reserve/", {"reserve": wanted})
    assert done.status_code == 201
    (made,) = done.json()["reservations"]
    assert (made["kit"], made["trip"]["id"]) == ("DAY-01", moor.pk)
    (row,) = call.get("plans/trips/?room=main-store").json()["trips"]
    assert ([each["kit"] for each in row["promised"]], row["chosen"]) == (["DAY-01"], [])
    assert call.post("plans/trips/reserve/", {"reserve": []}).status_code == 400
