"""A bought, filled kit is taken apart: each thing kept, put on a shelf, set aside or thrown out."""

from decimal import Decimal
from typing import Any

import pytest

from gearroom.core.acts import Invalid, NotAllowed, Refused
from kits.models import EntryKind, Holding, Item, Lot, Movement, PlaceKind, Receipt
from kits.rules.buying.bought_kit import Fate
from kits.rules.ledger.facts import Kind
from kits.services.ledger import audit
from kits.services.ledger.book import room_place
from kits.services.recalls import recalls
from kits.services.restocking import building
from kits.services.restocking.building import BoughtItem
from kits.services.stock import receiving
from tests.kits import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def strip(w: make.World, *things: BoughtItem, **more: Any) -> building.StripResult:
    return building.strip(make.act(w.keeper), w.day_02, list(things), **more)


def refused(w: make.World, *things: BoughtItem) -> str:
    before = list(Holding.objects.order_by("pk").values())
    with pytest.raises(Refused) as problem:
        strip(w, *things)
    assert list(Holding.objects.order_by("pk").values()) == before
    return problem.value.code


def found(w: make.World, item: Item, units: Any, fate: Fate, **more: Any) -> BoughtItem:
    more.setdefault("expiry", make.days(600) if item.needs_date else None)
    return BoughtItem(item=item, units=units, fate=fate, number="BOUGHT", **more)


def test_each_thing_goes_where_it_was_said_in_one_entry(w: make.World) -> None:
    blanket = make.item("Foil blanket", needs_date=False)
    needle = make.item("Needle", needs_date=False, disposal="sharps")
    done = strip(
        w,
        found(w, w.dressing, 4, Fate.KEEP),
        found(w, w.dressing, 2, Fate.SHELF, shelf=w.upper),
        found(w, blanket, 1, Fate.TRAINING, reason="too thin for our hills"),
        found(w, needle, 3, Fate.DISPOSE, reason="nobody here may use it"),
    )
    went = {(m.lot.item.name, m.to_place.kind, m.units) for m in done.entry.movements.all()}
    assert went == {
        ("Wound dressing 10 × 12", PlaceKind.SECTION, 4),
        ("Wound dressing 10 × 12", PlaceKind.SHELF, 2),
        ("Foil blanket", PlaceKind.TRAINING, 1),
        ("Needle", PlaceKind.SHARPS, 3),
    }
    assert done.entry.kind == EntryKind.STRIP
    legs = Movement.objects.filter(entry=done.entry).select_related("from_place")
    assert {leg.from_place.kind for leg in legs} == {PlaceKind.SUPPLIER}


def test_the_reasons_are_kept_with_the_entry(w: make.World) -> None:
    done = strip(w, found(w, w.dressing, 1, Fate.DISPOSE, reason="wrong size"))
    assert [t["reason"] for t in done.entry.detail["things"]] == ["wrong size"]


def test_it_lists_what_remains_to_be_added_and_the_running_cost(w: make.World) -> None:
    receiving.receive(
        make.act(w.keeper), item=w.dressing, units=10, number="P", expiry=make.days(500),
        shelf=w.shelf, price=Decimal("15.00"), currency="GBP",
    )  # fmt: skip
    done = strip(
        w,
        found(w, w.dressing, 4, Fate.KEEP),
        supplier="Fellside Supplies",
        price=Decimal("40.00"),
        currency="GBP",
    )
    wanted = {row.item: (row.units, row.cost) for row in done.wanted}
    assert wanted == {
        w.dressing: (2, Decimal("3.00")),
        w.shears: (1, None),
        w.tablets: (8, None),
    }
    assert (done.bought_for, done.cost_with_rest) == (Decimal("40.00"), Decimal("43.00"))
    assert set(done.unpriced) == {w.shears, w.tablets}


def test_things_priced_alone_have_that_price_on_their_receipt(w: make.World) -> None:
    done = strip(
        w,
        found(w, w.dressing, 4, Fate.KEEP, price=Decimal("6.40")),
        found(w, w.shears, 1, Fate.KEEP),
        currency="GBP",
    )
    prices = dict(Receipt.objects.filter(entry=done.entry).values_list("lot__item__name", "price"))
    assert prices == {"Wound dressing 10 × 12": Decimal("6.40"), "Shears": None}
    assert done.bought_for == Decimal("6.40")


def test_it_keeps_in_the_section_that_was_named(w: make.World) -> None:
    pouch = make.section(w.day_02, "pouch")
    strip(w, found(w, w.tablets, 8, Fate.KEEP, section=pouch))
    assert Holding.objects.get(place=pouch).units == 8


@pytest.mark.parametrize(("code", "expiry"), [("expired", -1), ("undated", None)])
def test_it_does_not_keep_what_may_not_go_in(w: make.World, code: str, expiry: int | None) -> None:
    thing = BoughtItem(
        item=w.dressing,
        units=1,
        fate=Fate.KEEP,
        number="X",
        expiry=make.days(expiry) if expiry else None,
    )
    assert refused(w, thing) == code
    assert not Lot.objects.filter(number="X").exists()


def test_it_does_not_keep_what_is_recalled(w: make.World) -> None:
    recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="BOUGHT")
    assert refused(w, found(w, w.dressing, 1, Fate.KEEP)) == "recalled"


def test_it_does_not_keep_a_medicine_that_nobody_signed_for(w: make.World) -> None:
    other = make.item("Sickness tablets", Kind.MEDICINE, base_unit="tablet")
    assert refused(w, found(w, other, 1, Fate.KEEP)) == "unsigned-medicine"


def test_what_is_out_of_date_is_fine_for_training_and_not_for_the_shelf(w: make.World) -> None:
    old: dict[str, Any] = {"expiry": make.days(-30)}
    strip(w, found(w, w.dressing, 2, Fate.TRAINING, **old))
    strip(w, found(w, w.dressing, 3, Fate.SHELF, shelf=w.shelf, **old))
    lot = Lot.objects.get(number="BOUGHT")
    assert make.units(lot, room_place(w.store, PlaceKind.TRAINING)) == 2
    assert make.units(lot, room_place(w.store, PlaceKind.QUARANTINE)) == 3


def test_it_refuses_the_wrong_bin(w: make.World) -> None:
    thing = found(w, w.tablets, 1, Fate.DISPOSE, disposal="bin")
    assert refused(w, thing) == "wrong-bin"


def test_it_asks_for_the_shelf(w: make.World) -> None:
    with pytest.raises(Invalid, match="Choose a shelf in Main store"):
        strip(w, found(w, w.dressing, 1, Fate.SHELF))
    with pytest.raises(Invalid, match="Choose a shelf in Main store"):
        strip(w, found(w, w.dressing, 1, Fate.SHELF, shelf=w.hut_shelf))


@pytest.mark.parametrize("units", [0, -1, 1.5, "1", True])
def test_it_refuses_numbers_that_are_none(w: make.World, units: Any) -> None:
    with pytest.raises(Invalid):
        strip(w, found(w, w.dressing, units, Fate.KEEP))


def test_it_asks_for_at_least_one_thing(w: make.World) -> None:
    with pytest.raises(Invalid):
        strip(w)


def test_it_refuses_a_price_without_its_currency(w: make.World) -> None:
    with pytest.raises(Invalid):
        strip(w, found(w, w.dressing, 1, Fate.KEEP), price=Decimal("4"))


def test_guides_do_not_strip_kits(w: make.World) -> None:
    with pytest.raises(NotAllowed):
        building.strip(make.act(w.guide), w.day_02, [found(w, w.dressing, 1, Fate.KEEP)])


def test_the_book_is_in_balance_afterwards(w: make.World) -> None:
    strip(w, found(w, w.dressing, 4, Fate.KEEP), found(w, w.shears, 1, Fate.DISPOSE))
    assert list(audit.findings()) == []
