"""Orders as records: drafted, ordered, arrived, cancelled, and put right."""

from datetime import timedelta
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError

from gearroom.core.acts import Invalid, NotAllowed, NotFound, Refused
from gearroom.core.models import Room
from kits.models import Item, Offer, Order, OrderArrival, OrderLine, Place, Receipt
from kits.rules.buying.orders import COUNTS_AFTER_DAYS, OrderState
from kits.services.buying import drafting, ordering
from kits.services.buying.season_order import season_order
from kits.services.ledger.undo import reversal
from kits.services.orders import order_audit, orders
from kits.services.orders.orders import OrderStands
from kits.services.stock import catalogue, offers, receiving
from kits.services.stock.offers import PackPrice
from kits.services.stock.order_levels import deliveries, stock_levels
from kits.services.stock.receiving import Arrival
from tests.kits import factories as make
from tests.kits.factories import World, act, actor

pytestmark = pytest.mark.django_db
IN_A_YEAR = make.days(365)


@pytest.fixture
def w(db: None) -> World:
    return make.world()


def offered(
    item: Item,
    units: int = 10,
    price: str = "2.00",
    by: str = "North Medical",
    currency: str = "GBP",
) -> Offer:
    return offers.state_offer(
        act(),
        item=item,
        supplier=offers.add_supplier(act(), by),
        units=units,
        prices=[PackPrice(1, Decimal(price))],
        currency=currency,
    )


def drafted(w: World, packs: dict[int, int], room: Room | None = None, **more: bool) -> OrderStands:
    (made,) = drafting.draft(
        act(w.keeper if room in (None, w.store) else None),
        room or w.store,
        packs=packs,
        through=IN_A_YEAR,
        currency="GBP",
        **more,
    )
    return made


def placed(
    w: World, item: Item, packs: int = 2, days_ago: int = 5, by: str = "North Medical"
) -> OrderStands:
    made = drafted(w, {offered(item, by=by).pk: packs})
    return ordering.place(act(w.keeper), made.order, ordered_on=make.days(-days_ago))


def came(w: World, item: Item, units: int, shelf: Place | None = None, **more: object) -> Arrival:
    return receiving.receive(
        act(w.keeper if shelf is None else None),
        item=item, shelf=shelf or w.shelf, units=units, **more,  # type: ignore[arg-type]  # see `receive`
    )  # fmt: skip


def now(of: OrderStands) -> OrderStands:
    return orders.fresh(of.order)


def counted(of: OrderStands) -> tuple[int, int, int, int]:
    """Arrived, open, on top and cancelled of its only line."""
    (line,) = now(of).lines
    p = line.progress
    assert p.ordered + p.extra == p.arrived + p.open + p.cancelled
    return p.arrived, p.open, p.extra, p.cancelled


# --------------------------------------------------------------------------------------- drafts
def test_a_draft_is_made_for_each_supplier_and_says_what_its_lines_are_for(w: World) -> None:
    north, south = offered(w.tablets, 16, "2.00"), offered(w.shears, 1, "3.00", by="South")

    made = drafting.draft(
        act(w.keeper), w.store, packs={north.pk: 2, south.pk: 1}, through=IN_A_YEAR, currency="GBP"
    )

    assert [(m.order.supplier.name, m.state) for m in made] == [
        ("North Medical", OrderState.DRAFT),
        ("South", OrderState.DRAFT),
    ]
    (tablets,) = made[0].lines
    assert (tablets.line.for_kits, tablets.line.more, tablets.cost) == (16, 16, Decimal("4.00"))
    assert tablets.line.wanted_by is not None
    (shears,) = made[1].lines  # DAY-02 lacks one, and five are on the shelf
    assert (shears.line.for_kits, shears.line.for_use, shears.line.more) == (0, 0, 1)


def test_pressing_twice_makes_no_second_draft_and_one_may_replace_it(w: World) -> None:
    offer = offered(w.tablets)
    first = drafted(w, {offer.pk: 1})
    with pytest.raises(Refused) as refused:
        drafted(w, {offer.pk: 1})
    assert refused.value.code == "draft-open"
    assert drafted(w, {offer.pk: 3}, replace=True).lines[0].line.packs == 3
    assert now(first).state is OrderState.CANCELLED
    with pytest.raises(Refused):
        ordering.place(act(w.keeper), first.order)


def test_a_draft_is_changed_by_hand_and_its_delivery_with_it(w: World) -> None:
    offer, other = offered(w.tablets, 16, "2.00"), offered(w.shears, 1, "3.00")
    offers.state_terms(
        act(), offer.supplier, currency="GBP", delivery=Decimal(4), free_from=Decimal(10)
    )
    made = drafted(w, {offer.pk: 1})
    assert (made.goods, made.order.delivery, made.total) == (Decimal(2), Decimal(4), Decimal(6))
    made = drafting.change(act(w.keeper), made.order, {offer.pk: 2, other.pk: 2})
    assert (made.goods, made.order.delivery) == (Decimal(10), Decimal(0))
    made = drafting.change(act(w.keeper), made.order, {offer.pk: 0})
    assert [line.line.item for line in made.lines] == [w.shears]


def test_an_offer_of_another_currency_supplier_or_price_is_refused(w: World) -> None:
    euro, ours = offered(w.shears, currency="EUR"), offered(w.tablets)
    with pytest.raises(Invalid, match="EUR"):
        drafted(w, {euro.pk: 1})
    made = drafted(w, {ours.pk: 1})
    with pytest.raises(Invalid, match="is from another supplier"):
        drafting.change(act(w.keeper), made.order, {offered(w.shears, by="South").pk: 1})
    offered(w.tablets, price="3.00")  # takes the place of ours
    with pytest.raises(Invalid, match="changed its price"):
        drafting.change(act(w.keeper), made.order, {ours.pk: 2})
    assert drafting.change(act(w.keeper), made.order, {ours.pk: 1}).goods == Decimal(2)


@pytest.mark.parametrize("packs", [0, -1, 10_001])
def test_a_number_of_packs_that_cannot_be_is_refused(w: World, packs: int) -> None:
    with pytest.raises(Invalid):
        drafted(w, {offered(w.tablets).pk: packs})


def test_fewer_packs_than_are_sold_are_refused(w: World) -> None:
    offer = offers.state_offer(
        act(), item=w.tablets, supplier=offers.add_supplier(act(), "North"), units=1,
        prices=[PackPrice(5, Decimal(1))], currency="GBP",
    )  # fmt: skip
    with pytest.raises(Invalid, match="at least 5"):
        drafted(w, {offer.pk: 4})


def test_orders_are_for_keepers_of_the_room_alone(w: World) -> None:
    made = placed(w, w.tablets)
    with pytest.raises(NotFound):
        orders.order(actor(w.stranger), made.order.pk)
    for wrong in (ordering.place, ordering.take_back, ordering.cancel_rest, drafting.drop):
        with pytest.raises(NotAllowed):
            wrong(act(w.guide), made.order)


# ------------------------------------------------------------------------------------- ordering
def test_an_order_is_placed_once_and_is_expected_as_long_as_deliveries_take(w: World) -> None:
    made = placed(w, w.tablets, days_ago=3)
    assert (made.state, made.order.ordered_by) == (OrderState.ORDERED, w.keeper)
    assert made.order.expected_on == make.days(-3 + w.tablets.lead_time_days)
    with pytest.raises(Refused) as refused:
        ordering.place(act(w.instructor), made.order)
    assert refused.value.code == "ordered-already"
    assert Order.objects.placed().count() == 1


@pytest.mark.parametrize(("ordered", "expected"), [(1, 5), (-731, 5), (0, -1), (0, 731)])
def test_days_that_cannot_be_are_refused(w: World, ordered: int, expected: int) -> None:
    made = drafted(w, {offered(w.tablets).pk: 1})
    with pytest.raises(Invalid):
        ordering.place(
            act(w.keeper), made.order,
            ordered_on=make.days(ordered), expected_on=make.days(expected),
        )  # fmt: skip


def test_an_order_pressed_too_early_is_a_draft_again_until_something_came(w: World) -> None:
    made = placed(w, w.tablets)
    assert ordering.take_back(act(w.keeper), made.order).state is OrderState.DRAFT
    made = ordering.place(act(w.keeper), made.order)
    came(w, w.tablets, 5)
    with pytest.raises(Refused) as refused:
        ordering.take_back(act(w.keeper), made.order)
    assert refused.value.code == "order-begun"


# ------------------------------------------------------------------------------------- arriving
def test_half_arrives_and_the_rest_is_still_to_come(w: World) -> None:
    made = placed(w, w.tablets)
    arrived = came(w, w.tablets, 10)
    assert counted(made) == (10, 10, 0, 0)
    assert now(made).state is OrderState.PARTLY_ARRIVED
    receipt = arrived.receipt
    assert receipt is not None
    assert (receipt.supplier, receipt.ordered_on) == ("North Medical", made.order.ordered_on)
    assert (receipt.price, receipt.currency) == (Decimal(2), "GBP")
    assert [remark.code for remark in arrived.remarks if "order" in remark.code] == ["of-order"]
    came(w, w.tablets, 10)
    assert now(made).state is OrderState.RECEIVED


def test_more_in_other_packs_is_recorded_as_it_came(w: World) -> None:
    made = placed(w, w.tablets)
    code = "09506000134352"
    catalogue.put_pack_code(act(), w.tablets, gtin=code, units_per_pack=24)
    arrived = receiving.receive(act(w.keeper), shelf=w.shelf, pack_code=code, packs=1)
    assert counted(made) == (24, 0, 4, 0)
    assert {r.code for r in arrived.remarks} >= {"of-order", "more-than-ordered", "other-pack"}
    assert arrived.receipt is not None
    assert arrived.receipt.price is None  # what the rest costs nobody knows
    assert OrderArrival.objects.get().pack_units == 24


def test_an_undone_receipt_is_on_order_again_a_day_later_too(w: World) -> None:
    made = placed(w, w.tablets)
    arrived = came(w, w.tablets, 20)
    assert counted(made) == (20, 0, 0, 0)
    reversal.reverse(act(w.keeper), arrived.entry.pk)
    assert counted(made) == (0, 20, 0, 0)
    assert now(made).state is OrderState.ORDERED
    came(w, w.tablets, 20)
    assert counted(made) == (20, 0, 0, 0)


def test_the_oldest_order_is_met_first_and_what_is_over_goes_on_to_the_next(w: World) -> None:
    old, new = placed(w, w.tablets, 1, days_ago=9), placed(w, w.tablets, 1, days_ago=2)
    came(w, w.tablets, 14)
    assert counted(old) == (10, 0, 0, 0)
    assert counted(new) == (4, 6, 0, 0)


def test_a_named_supplier_or_order_is_met_and_none_where_it_is_of_no_order(w: World) -> None:
    north, south = placed(w, w.tablets), placed(w, w.tablets, by="South", days_ago=1)
    came(w, w.tablets, 4, supplier="south")
    assert (counted(north)[0], counted(south)[0]) == (0, 4)
    came(w, w.tablets, 4, of_order=False)
    came(w, w.tablets, 4, supplier="Somebody else")
    assert (counted(north)[0], counted(south)[0]) == (0, 4)
    came(w, w.tablets, 4, order=south.order)
    assert (counted(north)[0], counted(south)[0]) == (0, 8)
    with pytest.raises(Invalid):
        came(w, w.shears, 1, order=south.order)


def test_what_comes_to_another_room_is_not_of_this_rooms_order(w: World) -> None:
    made = placed(w, w.tablets)
    came(w, w.tablets, 10, shelf=w.hut_shelf)
    assert counted(made) == (0, 20, 0, 0)


def test_a_draft_is_met_by_nothing(w: World) -> None:
    made = drafted(w, {offered(w.tablets).pk: 1})
    came(w, w.tablets, 10)
    assert counted(made) == (0, 10, 0, 0)


def test_the_rest_is_cancelled_and_may_come_after_all(w: World) -> None:
    made = placed(w, w.tablets)
    arrived = came(w, w.tablets, 5)
    assert ordering.cancel_rest(act(w.keeper), made.order).state is OrderState.RECEIVED
    assert counted(made) == (5, 0, 0, 15)
    with pytest.raises(Refused) as refused:
        ordering.cancel_rest(act(w.keeper), made.order)
    assert refused.value.code == "nothing-open"
    reversal.reverse(act(w.keeper), arrived.entry.pk)
    assert counted(made) == (0, 5, 0, 15)
    ordering.await_again(act(w.keeper), made.order)
    assert counted(made) == (0, 20, 0, 0)
    with pytest.raises(Refused):
        ordering.await_again(act(w.keeper), made.order)


def test_lead_times_are_learned_from_orders(w: World) -> None:
    for _ in range(3):
        placed(w, w.tablets, 1, days_ago=4)
        came(w, w.tablets, 10)
    learned = deliveries.learned([w.tablets.pk]).lead_times[w.tablets.pk, "North Medical"]
    assert (learned.days, learned.deliveries) == (4, 3)
    made = placed(w, w.tablets, 1, days_ago=0)
    assert made.order.expected_on == make.days(4)


# ------------------------------------------------------------------------------------- counting on
def level(w: World) -> stock_levels.ItemLevel:
    return next(r for r in stock_levels.stocked([w.store])[w.store.pk] if r.item == w.tablets)


def test_what_is_on_order_counts_once_and_not_once_it_is_long_overdue(w: World) -> None:
    stock_levels.set_level(act(w.keeper), w.store, w.tablets, 45)
    assert (level(w).stock, level(w).low) == (40, True)
    made = placed(w, w.tablets, days_ago=1)
    assert (level(w).on_order, level(w).low) == (20, False)
    came(w, w.tablets, 20, expiry=make.days(300), number="T1")
    assert (level(w).stock, level(w).on_order, level(w).low) == (60, 0, False)
    old = make.days(-COUNTS_AFTER_DAYS - 1)
    made = placed(w, w.tablets, days_ago=COUNTS_AFTER_DAYS + 2)
    Order.objects.filter(pk=made.order.pk).update(expected_on=old)
    (row,) = level(w).orders
    assert (row.missing, row.late, level(w).on_order) == (True, True, 0)


def test_a_season_does_not_order_again_what_is_on_order(w: World) -> None:
    offer = offered(w.tablets, 16, "2.00")

    def packs() -> int:
        found = season_order(
            actor(w.keeper), w.store, through=IN_A_YEAR, currency="GBP", seconds=30
        )
        return sum(row.line.packs for row in found.lines if row.offer == offer)

    assert packs() == 1
    ordering.place(act(w.keeper), drafted(w, {offer.pk: 1}).order)
    assert packs() == 0
    came(w, w.tablets, 16, expiry=make.days(700))
    assert packs() == 0


def test_a_level_set_for_a_room_wins_over_the_one_for_all_and_can_be_taken_back(w: World) -> None:
    Item.objects.filter(pk=w.tablets.pk).update(order_down_to=7)
    assert (level(w).level.units, level(w).level.basis) == (7, "by-hand")
    stock_levels.set_level(act(w.keeper), w.store, w.tablets, 3)
    assert (level(w).level.units, level(w).level.basis) == (3, "by-hand-here")
    stock_levels.set_level(act(w.keeper), w.store, w.tablets, None)
    assert level(w).level.units == 7
    with pytest.raises(NotAllowed):
        stock_levels.set_level(act(w.guide), w.store, w.tablets, 3)
    with pytest.raises(Invalid):
        stock_levels.set_level(act(w.keeper), w.store, w.tablets, -1)


def test_an_order_is_never_expected_before_it_was_ordered(w: World) -> None:
    made = placed(w, w.tablets)
    with pytest.raises(IntegrityError):
        Order.objects.filter(pk=made.order.pk).update(
            expected_on=(made.order.ordered_on or make.today()) - timedelta(days=1)
        )


# ---------------------------------------------------------------------------------------- the audit
def test_the_audit_holds_orders_against_their_facts_and_deliveries(w: World) -> None:
    offer = offered(w.tablets)
    order = ordering.place(act(w.keeper), drafted(w, {offer.pk: 2}).order)
    receiving.receive(act(w.keeper), item=w.tablets, shelf=w.shelf, units=8, number="N1")
    ordering.cancel_rest(act(w.keeper), order.order)
    other = ordering.place(act(w.keeper), drafted(w, {offer.pk: 1}).order)
    ordering.take_back(act(w.keeper), other.order)
    assert list(order_audit.findings()) == []

    (line,) = order.lines
    Order.objects.filter(pk=order.order.pk).update(expected_on=make.days(99))
    OrderLine.objects.filter(pk=line.line.pk).update(packs=1, pack_units=11, item=w.shears)
    receipt = Receipt.objects.latest("id")
    found = " ".join(finding.text for finding in order_audit.findings())
    assert f"Order {order.order.pk}: placed as" in found
    assert f"Line {line.line.pk} of order {order.order.pk}: 12 units cancelled." in found
    assert f"Delivery {receipt.pk} for order {order.order.pk} is of item" in found
    with pytest.raises(CommandError, match="differences"):
        call_command("audit", stdout=StringIO())
