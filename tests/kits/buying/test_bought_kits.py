"""What would become of a filled kit that might be bought, and what parts cost."""

from decimal import Decimal

import pytest

from gearroom.core.acts import Invalid, NotAllowed
from kits.models import Holding
from kits.rules.buying.bought_kit import Fate, Why
from kits.services.buying import bought_kits
from kits.services.buying.bought_kits import Compared, Content, FilledKit
from kits.services.restocking import building
from kits.services.restocking.building import BoughtItem
from kits.services.stock import disposing, offers
from kits.services.stock.offers import PackPrice
from tests.kits import factories as make
from tests.kits.factories import World, act, actor

pytestmark = pytest.mark.django_db


@pytest.fixture
def w(db: None) -> World:
    return make.world()


def filled(w: World, price: str = "12.00") -> FilledKit:
    late, soon = make.days(800), make.days(90)
    return FilledKit(
        "Day kit, filled",
        Decimal(price),
        [
            Content("Dressing", w.dressing, 4, late),
            Content("Tablets", w.tablets, 8, soon),
            Content("Tiny tape", None, 1),
        ],
    )


def compared(w: World, *kits: FilledKit, number: int = 1) -> Compared:
    return bought_kits.compare(
        actor(w.keeper), w.store, w.version, kits, kits=number, currency="GBP"
    )


def empty_shelves(w: World) -> None:
    """Nothing is left on them."""
    rows = (
        Holding.objects.on_hand().filter(place__in=[w.shelf, w.upper]).select_related("lot__item")
    )
    gone = [disposing.Outgoing(row.place, row.lot, row.units) for row in rows]
    disposing.dispose_all(act(w.keeper, reason="Cleared out"), w.store, gone)


def offered(w: World) -> None:
    empty_shelves(w)
    north = offers.add_supplier(act(), "North Medical")
    packs = ((w.dressing, 10, "6.00"), (w.shears, 1, "3.00"), (w.tablets, 16, "2.00"))
    for item, units, price in packs:
        offers.state_offer(
            act(),
            item=item,
            supplier=north,
            units=units,
            prices=[PackPrice(1, Decimal(price))],
            currency="GBP",
        )


def test_it_says_what_is_kept_and_what_is_not_and_why(w: World) -> None:
    found = compared(w, filled(w))
    (kit,) = (way.bought for way in found.ways if way.bought)
    assert [(part.line.name, part.units, part.fate, part.why) for part in kit.parts] == [
        ("Dressing", 4, Fate.KEEP, Why.LISTED),
        ("Tablets", 8, Fate.DISPOSE, Why.EXPIRES_FIRST),
        ("Tiny tape", 1, Fate.DISPOSE, Why.UNKNOWN),
    ]
    assert found.filled[0].parts_win_from is None  # nothing has a price


def test_parts_are_compared_for_so_many_kits_with_all_that_the_list_wants(w: World) -> None:
    """A list of 6 dressings, shears and 8 tablets: parts 11.00 for one kit, 18.00 for two. A filled
    kit keeps 4 dressings; 12.00 and as much again in parts for what it lacks."""
    offered(w)
    one, two = compared(w, filled(w)), compared(w, filled(w), number=2)
    assert [(way.bought is None, way.money) for way in one.ways] == [
        (True, Decimal(11)),
        (False, Decimal(23)),
    ]
    assert two.ways[0].money == Decimal(12) + Decimal(6) + Decimal(2)
    assert one.filled[0].parts_win_from == 1
    assert one.ways[1].each_kept == Decimal("3.00")
    assert two.ways[1].expires == 16


def test_what_was_binned_before_is_binned_again(w: World) -> None:
    for _ in range(2):
        building.strip(
            act(w.keeper),
            w.day_02,
            [BoughtItem(w.dressing, 1, Fate.DISPOSE, reason="narrow", expiry=make.days(500))],
        )
    assert bought_kits.habits(bought_kits.stripped())[w.dressing.pk].reason == "narrow"
    (kit,) = (way.bought for way in compared(w, filled(w)).ways if way.bought)
    assert (kit.parts[0].fate, kit.parts[0].why) == (Fate.DISPOSE, Why.BEFORE)


def test_what_cannot_be_compared_is_refused(w: World) -> None:
    for kits, number in (((filled(w),), 0), ((filled(w),), 61), ((filled(w, "-1"),), 1)):
        with pytest.raises(Invalid):
            compared(w, *kits, number=number)
    with pytest.raises(Invalid):
        compared(w, *[filled(w)] * 7)
    with pytest.raises(NotAllowed):
        bought_kits.compare(actor(w.guide), w.store, w.version, [filled(w)], kits=1, currency="GBP")


def test_without_any_filled_kit_it_is_what_parts_cost(w: World) -> None:
    offered(w)
    (parts,) = compared(w).ways
    assert (parts.bought, parts.money, parts.parts.unpriced) == (None, Decimal(11), ())
