"""What arrives is written down whatever it is; what must not be used goes to quarantine."""

from decimal import Decimal
from typing import Any

import pytest

from gearroom.core.acts import Invalid, NotAllowed, NotFound, Refused
from kits.models import EntryKind, Holding, Lot, PackCode, PlaceKind, Receipt
from kits.services.ledger import audit
from kits.services.ledger.book import room_place
from kits.services.ledger.undo import reversal
from kits.services.recalls import recalls
from kits.services.restocking import building
from kits.services.stock import receiving
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def receive(w: make.World, **what: Any) -> receiving.Arrival:
    return receiving.receive(make.act(w.keeper), **{"shelf": w.shelf, "units": 5, **what})


def test_it_puts_units_on_the_shelf_with_their_receipt(w: make.World) -> None:
    done = receive(
        w,
        item=w.dressing,
        number="N1",
        expiry=make.days(500),
        supplier="Fellside Supplies",
        price=Decimal("12.50"),
        currency="GBP",
    )
    assert make.units(done.lot, w.shelf) == 5
    assert done.entry.kind == EntryKind.RECEIVE
    assert done.entry.room == w.store
    receipt = Receipt.objects.get(entry=done.entry)
    assert (receipt.units, receipt.supplier, receipt.price) == (
        5,
        "Fellside Supplies",
        Decimal("12.50"),
    )


def test_the_same_batch_received_twice_is_one_batch_with_two_receipts(w: make.World) -> None:
    first = receive(w, item=w.dressing, number="n1 ", expiry=make.days(500))
    second = receive(w, item=w.dressing, number="N1", expiry=make.days(500), shelf=w.upper)
    assert first.lot == second.lot
    assert first.lot.receipts.count() == 2
    assert (make.units(first.lot, w.shelf), make.units(first.lot, w.upper)) == (5, 5)


def test_the_same_number_with_another_date_is_another_batch(w: make.World) -> None:
    first = receive(w, item=w.dressing, number="N1", expiry=make.days(500))
    second = receive(w, item=w.dressing, number="N1", expiry=make.days(501))
    assert first.lot != second.lot


def test_it_counts_packs_by_their_code(w: make.World) -> None:
    PackCode.objects.create(gtin="05012345678900", item=w.dressing, units_per_pack=10)
    done = receive(w, units=None, packs=3, pack_code="5012345678900", expiry=make.days(90))
    assert done.lot.item == w.dressing
    assert done.units == 30


def test_packs_that_say_how_many_they_hold_count_by_that(w: make.World) -> None:
    PackCode.objects.create(gtin="05012345678900", item=w.dressing, units_per_pack=10)
    code = {"pack_code": "05012345678900", "expiry": make.days(90)}
    assert receive(w, units=None, packs=3, pack_holds=25, **code).units == 75
    with pytest.raises(Invalid):
        receive(w, units=None, packs=3, pack_holds=-1, **code)


def test_it_refuses_a_pack_code_of_another_thing(w: make.World) -> None:
    PackCode.objects.create(gtin="05012345678900", item=w.dressing, units_per_pack=10)
    with pytest.raises(Invalid, match="not to Shears"):
        receive(w, item=w.shears, pack_code="05012345678900")


def test_it_knows_no_pack_code_that_was_not_entered(w: make.World) -> None:
    with pytest.raises(NotFound):
        receive(w, pack_code="05012345678900")


def test_it_asks_which_thing_arrived(w: make.World) -> None:
    with pytest.raises(Invalid) as problem:
        receive(w)
    assert "item" in problem.value.facts["errors"]


def test_what_arrives_out_of_date_goes_to_quarantine_and_is_told(w: make.World) -> None:
    done = receive(w, item=w.dressing, number="OLD", expiry=make.days(-1))
    assert done.place.kind == PlaceKind.QUARANTINE
    assert done.entry.irregular == ["expired-on-arrival"]
    assert [r.code for r in done.remarks] == ["expired-on-arrival"]
    assert make.units(done.lot, w.shelf) == 0


def test_what_is_good_through_today_goes_on_the_shelf(w: make.World) -> None:
    done = receive(w, item=w.dressing, number="TODAY", expiry=make.today())
    assert done.place == w.shelf
    assert done.entry.irregular == []


def test_what_is_recalled_when_it_arrives_goes_to_quarantine(w: make.World) -> None:
    recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="BAD1")
    done = receive(w, item=w.dressing, number="bad1", expiry=make.days(90))
    assert done.place == room_place(w.store, PlaceKind.QUARANTINE)
    assert done.entry.irregular == ["recalled"]
    assert present(done.lot.recall).number == "BAD1"


@pytest.mark.parametrize("thing", ["dressing", "tablets"])
def test_it_keeps_what_has_no_date_on_the_shelf_and_says_so(w: make.World, thing: str) -> None:
    done = receive(w, item=getattr(w, thing), number="X")
    assert done.place == w.shelf
    assert "undated" in [r.code for r in done.remarks]


def test_it_says_nothing_of_a_thing_that_needs_no_date(w: make.World) -> None:
    assert receive(w, item=w.shears).remarks == ()


def test_an_instrument_needs_its_serial_and_says_that_it_wants_a_check(w: make.World) -> None:
    with pytest.raises(Invalid, match="serial"):
        receive(w, item=w.gauge, units=1)
    done = receive(w, item=w.gauge, units=1, serial="g-2")
    assert done.lot.serial == "G-2"
    assert [r.code for r in done.remarks] == ["not-checked"]


def test_an_instrument_is_one_unit_and_in_one_place(w: make.World) -> None:
    with pytest.raises(Invalid, match="one unit"):
        receive(w, item=w.gauge, units=2, serial="G-2")
    with pytest.raises(Refused) as problem:
        receive(w, item=w.gauge, units=1, serial="G-1", shelf=w.upper)
    assert problem.value.code == "instrument-held"


def test_nothing_else_has_a_serial(w: make.World) -> None:
    with pytest.raises(Invalid, match="no serial"):
        receive(w, item=w.dressing, serial="S1")


@pytest.mark.parametrize("units", [0, -3, 2.5, 3.0, "3", True, None, 1_000_001])
def test_it_refuses_numbers_that_are_none_and_writes_nothing(w: make.World, units: Any) -> None:
    before = (Lot.objects.count(), list(Holding.objects.values("lot", "place", "units")))
    with pytest.raises(Invalid):
        receive(w, item=w.dressing, number="N9", expiry=make.days(50), units=units)
    assert before == (Lot.objects.count(), list(Holding.objects.values("lot", "place", "units")))


@pytest.mark.parametrize(
    ("price", "currency"),
    [
        (Decimal("1"), ""),
        (None, "GBP"),
        (Decimal("-1"), "GBP"),
        (Decimal("1.001"), "GBP"),
        (Decimal("NaN"), "GBP"),
        (Decimal("1"), "gbp"),
        (Decimal("1"), "£"),
    ],
)
def test_it_refuses_a_price_without_its_currency_or_that_is_none(
    w: make.World, price: Decimal | None, currency: str
) -> None:
    with pytest.raises(Invalid):
        receive(w, item=w.shears, price=price, currency=currency)


def test_it_refuses_a_date_that_is_a_misprint(w: make.World) -> None:
    with pytest.raises(Invalid, match="Check the date on the pack"):
        receive(w, item=w.dressing, number="N", expiry=make.days(366 * 60))


def test_it_receives_onto_shelves_not_into_kits(w: make.World) -> None:
    with pytest.raises(Invalid, match="shelf"):
        receive(w, item=w.dressing, shelf=make.section(w.day_01))


def test_only_keepers_of_the_room_receive(w: make.World) -> None:
    for who in (w.guide, w.stranger, w.adviser):
        with pytest.raises(NotAllowed):
            receiving.receive(make.act(who), item=w.shears, units=1, shelf=w.shelf)
    with pytest.raises(NotAllowed):
        receive(w, item=w.shears, shelf=w.hut_shelf)


def test_the_book_is_in_balance_afterwards(w: make.World) -> None:
    receive(w, item=w.dressing, number="OLD", expiry=make.days(-1))
    receive(w, item=w.shears)
    assert list(audit.findings()) == []


def test_a_receipt_taken_back_as_a_mistake_is_no_price_paid(w: make.World) -> None:
    done = receive(w, item=w.shears, price=Decimal("20.00"), currency="GBP")
    reversal.reverse(make.act(w.keeper), done.entry.pk)
    assert make.units(w.lots["shears"], w.shelf) == 5
    (wanted,) = [r for r in building.shortages(w.day_02, currency="GBP") if r.item == w.shears]
    assert wanted.cost is None
