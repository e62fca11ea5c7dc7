"""The rotation of a room, and swapping as it says."""

from dataclasses import replace
from datetime import datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from gearroom.core import clock
from gearroom.core.acts import Invalid, NotAllowed, Refused
from kits.models import Entry, Holding, Item, Kit, Lot, Seal
from kits.services.ledger import audit
from kits.services.planning.plans import Purchase
from kits.services.planning.records.rates import records
from kits.services.restocking import sealing, sorting
from kits.services.rotation import rotation
from kits.services.rotation.swapping import Swapped, swap
from kits.services.stock.order_levels.stock_levels import on_shelves
from tests.kits import factories as make
from tests.kits.factories import World, act, actor, fresh
from tests.kits.rotation.school import school
from tests.kits.weather.cold import van

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    return school()


def spare() -> Kit:
    return Kit.objects.get(name="SPARE")


def of_room(w: World) -> rotation.RoomRotation:
    return rotation.of_room(actor(w.keeper), w.store)


def ready_made_swap(w: World) -> tuple[rotation.KitWork, rotation.SwapRow]:
    work = next(each for each in of_room(w).work if each.kit.name == "SPARE")
    row = next(row for row in work.swaps if row.out.number == "SOON" and row.shelf)
    return work, row


def test_what_ends_soon_comes_out_of_the_kit_that_never_uses_it(w: World) -> None:
    found = of_room(w)
    work, row = ready_made_swap(w)
    assert not work.only_for_this  # it has no seal: it is open
    assert row.into.number in ("D1", "D2", "NEW")
    assert found.units_saved > 1
    assert found.money_saved > 0
    assert (found.currency, found.unpriced) == ("", 2)


def test_nothing_is_filled_or_swapped_that_may_not_be_there_because_of_the_weather(
    w: World,
) -> None:
    _work, row = ready_made_swap(w)
    Kit.objects.filter(name="SPARE").update(location=van(w))
    assert ready_made_swap(w)  # frost harms nothing of it yet
    Item.objects.filter(pk=row.out.item_id).update(min_temp_c=5)
    assert "SPARE" not in {work.kit.name for work in of_room(w).work}
    assert not rotation.of_kit(actor(w.keeper), fresh(spare()))


def test_a_sealed_kit_is_opened_only_where_that_pays(w: World) -> None:
    sorting.look_inside(act(w.keeper), spare())
    sorting.restock(act(w.keeper), spare())
    sealing.reseal(act(w.keeper), spare(), number="S-1", anyway=True)
    w.store.opening_pays_from = Decimal(100)
    w.store.save()
    assert "SPARE" not in {work.kit.name for work in of_room(w).work}
    w.store.opening_pays_from = Decimal("0.01")
    w.store.save()
    (work,) = (work for work in of_room(w).work if work.kit.name == "SPARE")
    assert work.only_for_this


def test_an_open_kit_is_offered_what_lies_on_the_shelves_beside_it(w: World) -> None:
    rows = rotation.of_kit(actor(w.keeper), fresh(spare()))
    assert [row.out.number for row in rows] == ["SOON"]
    (row,) = rows
    assert row.shelf is not None
    assert row.into.number in ("D1", "D2", "NEW")
    swap(act(w.keeper), spare(), [Swapped(row.out, row.into, row.section, row.shelf, row.units)])
    assert not rotation.of_kit(actor(w.keeper), fresh(spare()))


def test_a_kit_that_is_elsewhere_or_for_training_is_offered_no_swap(w: World) -> None:
    Kit.objects.filter(name="SPARE").update(training=True)
    assert not rotation.of_kit(actor(w.keeper), fresh(spare()))
    Kit.objects.filter(name="SPARE").update(training=False, lost_since=timezone.now())
    assert not rotation.of_kit(actor(w.keeper), fresh(spare()))
    with pytest.raises(NotAllowed):
        rotation.of_kit(actor(w.stranger), fresh(spare()))


def test_of_a_room_with_too_many_kits_the_mail_says_nothing(
    w: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    def for_email() -> rotation.RoomRotation | None:
        held, shelves = on_shelves([w.store.pk])
        on_hand = held[w.store.pk], shelves
        return rotation.for_email(w.store, timezone.now(), records(), on_hand)

    found = for_email()
    assert found is not None
    assert found.work == of_room(w).work
    monkeypatch.setattr(rotation, "MOST_KITS_IN_EMAIL", 1)
    assert for_email() is None


@pytest.mark.parametrize("zone", ["Pacific/Auckland", "Pacific/Honolulu"])
def test_its_day_is_that_of_the_room(w: World, zone: str) -> None:
    w.store.time_zone = zone
    w.store.save()
    midnight = datetime.combine(make.days(30), time(), ZoneInfo(zone))
    before = midnight - timedelta(seconds=1)
    for instant, day in ((before, make.days(29)), (midnight, make.days(30))):
        with clock.pretending(instant):
            assert of_room(w).today == day


def test_working_it_out_moves_nothing(w: World) -> None:
    before = Entry.objects.count(), sorted(Holding.objects.values_list("place", "lot", "units"))
    of_room(w)
    assert before == (
        Entry.objects.count(),
        sorted(Holding.objects.values_list("place", "lot", "units")),
    )


def test_only_who_may_restock_there_sees_it(w: World) -> None:
    with pytest.raises(NotAllowed):
        rotation.of_room(actor(w.stranger), w.store)


def test_kits_elsewhere_training_kits_and_what_is_on_hold_are_left_alone(w: World) -> None:
    Kit.objects.filter(name="SPARE").update(training=True)
    assert "SPARE" not in {work.kit.name for work in of_room(w).work}
    Kit.objects.filter(name="SPARE").update(training=False, room=w.hut)
    assert "SPARE" not in {work.kit.name for work in of_room(w).work}


def test_the_price_of_most_counts_for_the_rest() -> None:
    priced = Purchase(Decimal("1.20"), "GBP", 400)
    prices, currency, unpriced = rotation._prices(
        [1, 2, 3, 4], {1: priced, 2: Purchase(Decimal(9), "EUR", None), 4: priced}
    )
    assert (prices, currency, unpriced) == (
        {1: Decimal("1.20"), 2: Decimal("1.20"), 3: Decimal("1.20"), 4: Decimal("1.20")},
        "GBP",
        2,
    )


# ------------------------------------------------------------------------------------- swapping
def swapped(w: World, units: int | None = None) -> Swapped:
    _, row = ready_made_swap(w)
    assert row.shelf is not None
    return Swapped(row.out, row.into, row.section, row.shelf, units or row.units)


def test_a_swap_moves_both_ways_and_the_audit_agrees(w: World) -> None:
    work, _ = ready_made_swap(w)
    rows = [
        Swapped(row.out, row.into, row.section, row.shelf, row.units)
        for row in work.swaps
        if row.shelf
    ]
    there = {row.into.pk: make.units(row.into, row.shelf) for row in rows}
    swap(act(w.keeper), spare(), rows)
    for row in rows:
        assert make.units(row.into, row.section) >= row.units
        assert make.units(row.into, row.shelf) == there[row.into.pk] - row.units
    assert sum(make.units(row.out, row.shelf) for row in rows[:1]) > 0
    assert not list(audit.findings())
    assert "SPARE" not in {each.kit.name for each in of_room(w).work if each.swaps}


def test_a_swap_breaks_the_seal_and_is_no_look_inside(w: World) -> None:
    sorting.look_inside(act(w.keeper), spare())
    sealing.reseal(act(w.keeper), spare(), number="S-1", anyway=True)
    looked = fresh(spare()).looked_inside_on
    swap(act(w.keeper), spare(), [swapped(w)])
    assert not Seal.objects.unbroken().filter(kit=spare()).exists()
    assert fresh(spare()).looked_inside_on == looked


def test_what_is_no_longer_there_is_not_swapped(w: World) -> None:
    row = swapped(w)
    swap(act(w.keeper), spare(), [row])
    before = Entry.objects.count()
    with pytest.raises(Refused) as refused:
        swap(act(w.keeper), spare(), [row])
    assert refused.value.code == "not-enough"
    assert Entry.objects.count() == before


def test_a_swap_is_of_one_item_one_kit_and_a_shelf_here(w: World) -> None:
    row = swapped(w)
    with pytest.raises(Invalid):
        swap(act(w.keeper), spare(), [])
    with pytest.raises(Invalid):
        swap(act(w.keeper), spare(), [replace(row, into=w.lots["tablets"])])
    with pytest.raises(Invalid):
        swap(act(w.keeper), fresh(w.day_01), [row])
    with pytest.raises(Invalid):
        swap(act(w.keeper), spare(), [replace(row, shelf=w.hut_shelf)])


def test_what_is_out_of_date_by_now_does_not_go_in(w: World) -> None:
    row = swapped(w)
    Lot.objects.filter(pk=row.into.pk).update(expiry=make.days(-1))
    with pytest.raises(Refused) as refused:
        swap(act(w.keeper), spare(), [row])
    assert refused.value.code == "expired"
