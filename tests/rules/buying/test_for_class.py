"""What classes need comes after what kits need, and after what is set aside for training."""

from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from hypothesis import given, settings, strategies as st

from kits.rules.buying import for_class, order_plan
from kits.rules.buying.order_lines import order_lines, outlooks
from kits.rules.buying.season import Offer, Price, Season, Supplier, Want
from kits.rules.ledger.facts import Batch, KitState, Line, Thing, Units
from tests.rules.buying.test_order_plan import seasons

TODAY = date(2027, 4, 1)
SWAB = Thing(1, "gauze swab")


def class_kit(number: int, wants: int, has: int) -> KitState:
    old = Batch(number, SWAB, expiry=TODAY - timedelta(days=400))
    return KitState(
        number,
        f"TRAIN-{number}",
        (Line(number, "main", SWAB, wants, 0),),
        (Units(old, "main", has),),
        training=True,
    )


@given(
    st.lists(st.tuples(st.integers(1, 6), st.integers(0, 8)), min_size=1, max_size=3),
    st.integers(0, 12),
    st.integers(0, 5),
)
def test_what_is_set_aside_counts_first_whatever_its_date(
    kits: list[tuple[int, int]], aside: int, used: int
) -> None:
    old = Units(Batch(9, SWAB, expiry=TODAY - timedelta(days=1)), "7", aside, training=True)
    states = [class_kit(n, wants, has) for n, (wants, has) in enumerate(kits, start=1)]
    chances = (*(0.0,) * used, 1.0)
    lacked = sum(max(0, wants - has) for wants, has in kits)
    more = max(0, lacked + used - aside)
    found = for_class.needed(states, [old], {1: chances}, TODAY)
    assert found == ({1: more} if more else {})


@settings(max_examples=25)
@given(seasons(), st.lists(st.integers(0, 6), min_size=2, max_size=2))
def test_classes_take_nothing_from_kits_and_get_all_else(season: Season, extra: list[int]) -> None:
    asked = replace(
        season,
        wants=tuple(
            replace(want, for_class=n) for want, n in zip(season.wants, extra, strict=False)
        ),
    )
    of_kits, both = order_plan.plan(season), for_class.plan(asked)
    packs = Counter(both.order.packs)
    assert Counter(of_kits.order.packs) <= packs
    assert both.order.may_be(asked)
    assert (both.comes_to, both.bound) == (of_kits.comes_to, of_kits.bound)
    lines = order_lines(asked, both.order)
    for line in lines:
        assert line.for_kits + line.for_use + line.for_class + line.more == line.units
    for row in outlooks(asked, both.order):
        want = next(each for each in asked.wants if each.item == row.item)
        got = sum(line.for_class for line in lines if line.item == row.item)
        assert got <= want.for_class
        free = season.budget is None and not any(s.least_order for s in season.suppliers)
        if free and row.item in asked.offered:
            assert row.classes_lack == 0


def test_a_line_says_what_is_for_the_class() -> None:
    want = Want(1, short=2, used=(1.0,), on_hand=1, for_class=3)
    offer = Offer(5, 1, 1, 2, "GBP", (Price(1, Decimal("1.50")),))
    season = Season("GBP", (want,), (offer,), (Supplier(1),))
    (line,) = order_lines(season, for_class.plan(season).order)
    assert (line.packs, line.for_kits, line.for_use, line.for_class, line.more) == (2, 1, 0, 3, 0)


def test_where_the_budget_is_short_classes_go_without() -> None:
    wants = Want(1, short=1, used=(1.0,)), Want(2, short=0, used=(1.0,), for_class=4)
    offers = tuple(Offer(item, item, 1, 1, "GBP", (Price(1, Decimal("3.00")),)) for item in (1, 2))
    season = Season("GBP", wants, offers, (Supplier(1),), Decimal("5.00"))
    plan = for_class.plan(season)
    assert plan.order.packs == {1: 1}
    lacking, _enough = outlooks(season, plan.order)
    assert (lacking.item, lacking.classes_lack, lacking.enough_for_kits) == (2, 4, True)
