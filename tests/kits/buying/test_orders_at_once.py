"""Two people at the same order at the same time."""

from collections.abc import Callable
from decimal import Decimal

from gearroom.core.acts import Refused
from kits.models import Order, OrderFact
from kits.services.buying import drafting, ordering
from kits.services.orders import orders
from kits.services.stock import offers, receiving
from kits.services.stock.offers import PackPrice
from tests.kits import factories as make
from tests.kits.recalls.test_recalls_at_once import at_once


def test_one_order_is_placed_and_what_arrives_is_counted_once(open_database: str) -> None:
    store = make.room("Main store")
    shelf, dressing = make.shelf(store, "C2"), make.item("Dressing", sterile=True)
    offer = offers.state_offer(
        make.act(), item=dressing, supplier=offers.add_supplier(make.act(), "North"), units=10,
        prices=[PackPrice(1, Decimal(2))], currency="GBP",
    )  # fmt: skip
    drafts = {"packs": {offer.pk: 3}, "through": make.days(100), "currency": "GBP"}
    refused: list[str] = []

    def trying(act: Callable[[], object]) -> Callable[[], object]:
        def attempt() -> None:
            try:
                act()
            except Refused as problem:
                refused.append(problem.code)

        return attempt

    make_draft = trying(lambda: drafting.draft(make.act(), store, **drafts))  # type: ignore[arg-type]  # as above
    assert at_once(*[make_draft] * 3) == []
    assert refused == ["draft-open"] * 2

    order = Order.objects.get()
    refused.clear()
    assert at_once(*[trying(lambda: ordering.place(make.act(), order))] * 3) == []
    assert refused == ["ordered-already"] * 2
    assert OrderFact.objects.filter(what="placed").count() == 1

    def arrives() -> object:
        return receiving.receive(make.act(), item=dressing, shelf=shelf, units=10, number="A")

    refused.clear()
    cancel = trying(lambda: ordering.cancel_rest(make.act(), order))
    assert at_once(*[arrives] * 4, cancel, cancel) == []
    (line,) = orders.fresh(order).lines
    known = line.progress
    assert known.ordered + known.extra == known.arrived + known.open + known.cancelled
    assert known.open == 0
    assert known.extra == 0  # the fourth ten met no open line
