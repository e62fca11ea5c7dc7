"""Drafts: what hazards ask for and must-haves are always carried, each need is answered."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, strategies as st

from kits.rules.ledger.facts import Criticality
from kits.rules.lists import hazards_covered
from kits.rules.lists.hazards_covered import Ask
from kits.rules.planning import demand
from kits.rules.planning.demand import Rate
from kits.rules.planning.drafting import (
    Choice,
    Draft,
    Group,
    LeftOut,
    Present,
    Wanted,
    Why,
    WhyNot,
    draft,
    hazards_of,
)

LEVELS = {
    Criticality.MUST_HAVE: 0.99,
    Criticality.IMPORTANT: 0.95,
    Criticality.ROUTINE: 0.90,
}
ONE = demand.units_of_use([1.0])
TWO = demand.units_of_use([0.0, 1.0])
OFTEN, RARE = Rate(10, 100), Rate(2, 2_000_000)
DAY = Group(people=10, days=1)

items = st.integers(1, 12)
choices = st.lists(
    st.builds(
        Choice,
        item=items,
        best=st.booleans(),
        units=st.sampled_from([ONE, TWO]),
        training=st.booleans(),
        child=st.booleans(),
    ),
    max_size=4,
    unique_by=lambda choice: choice.item,
)
rates = st.none() | st.builds(Rate, st.floats(0.1, 5), st.floats(50, 1e5), st.floats(1, 5))
needs = st.lists(
    st.builds(
        Wanted,
        need=st.integers(1, 1000),
        rate=rates,
        choices=choices,
        asked=st.integers(0, 3),
        life=st.booleans(),
        trained=st.none() | st.booleans(),
        decided=st.booleans(),
    ),
    max_size=6,
    unique_by=lambda want: want.need,
)
groups = st.integers(1, 20).flatmap(
    lambda people: st.builds(Group, st.just(people), st.integers(1, 20), st.integers(0, people))
)
lists = st.dictionaries(
    items,
    st.integers(1, 9).flatmap(
        lambda carry: st.builds(
            Present, st.just(carry), st.integers(0, carry), st.sampled_from(Criticality)
        )
    ),
)


def of(*wanted: Wanted, group: Group = DAY, present: dict[int, Present] | None = None) -> Draft:
    return draft(wanted, group, present or {}, LEVELS)


@given(needs, groups, lists)
def test_a_draft_never_lacks_what_a_hazard_asks_for(
    wanted: Sequence[Wanted], group: Group, present: dict[int, Present]
) -> None:
    found = draft(wanted, group, present, LEVELS)
    short = hazards_covered.lacking(
        ["fire"],
        [Ask("fire", w.need, w.asked) for w in wanted if w.asked and w.choices],
        {line.item: line.quantity for line in found.lines},
        {w.need: frozenset(c.item for c in w.choices) for w in wanted},
        frozenset(),
    )
    assert short == []


@given(needs, groups, lists)
def test_every_need_is_carried_for_or_left_out_with_a_reason(
    wanted: Sequence[Wanted], group: Group, present: dict[int, Present]
) -> None:
    found = draft(wanted, group, present, LEVELS)
    served = {need for line in found.lines for need in line.needs}
    left = [out.need for out in found.left_out if out.item is None]
    assert sorted([*served, *left]) == sorted(w.need for w in wanted)


@given(needs, groups, lists)
def test_a_must_have_is_never_dropped_nor_made_fewer(
    wanted: Sequence[Wanted], group: Group, present: dict[int, Present]
) -> None:
    lines = {line.item: line for line in draft(wanted, group, present, LEVELS).lines}
    for item, line in present.items():
        if line.priority is Criticality.MUST_HAVE:
            assert lines[item].quantity >= line.quantity
            assert lines[item].minimum >= line.minimum
            assert lines[item].priority is Criticality.MUST_HAVE


@given(needs, groups, lists)
def test_the_same_facts_in_another_order_give_the_same_draft(
    wanted: list[Wanted], group: Group, present: dict[int, Present]
) -> None:
    def plain(of: Draft) -> object:
        return (
            {line.item: (line.quantity, line.minimum, dict(line.needs)) for line in of.lines},
            set(of.left_out),
        )

    other = sorted(wanted, key=lambda w: -w.need)
    other = [replace(w, choices=list(reversed(w.choices))) for w in other]
    backwards = dict(reversed(list(present.items())))
    assert plain(draft(wanted, group, present, LEVELS)) == plain(
        draft(other, group, backwards, LEVELS)
    )


@given(needs, groups, lists)
def test_each_item_has_one_line_whose_minimum_is_within_its_quantity(
    wanted: Sequence[Wanted], group: Group, present: dict[int, Present]
) -> None:
    found = draft(wanted, group, present, LEVELS)
    assert len({line.item for line in found.lines}) == len(found.lines)
    assert all(line.quantity >= 1 and line.minimum <= line.quantity for line in found.lines)
    assert not {line.item for line in found.lines} & {out.item for out in found.left_out}


@given(needs, groups)
def test_a_longer_trip_never_carries_fewer(wanted: Sequence[Wanted], group: Group) -> None:
    def quantities(days: int) -> dict[int, int]:
        longer = replace(group, days=days)
        return {line.item: line.quantity for line in draft(wanted, longer, {}, LEVELS).lines}

    short, long = quantities(group.days), quantities(group.days * 2)
    assert all(long[item] >= units for item, units in short.items())


def test_what_comes_up_often_is_carried_and_what_is_rare_is_not() -> None:
    found = of(
        Wanted(1, OFTEN, [Choice(7, best=True, units=ONE)]),
        Wanted(2, RARE, [Choice(8, best=True, units=ONE)]),
    )
    assert [(line.item, dict(line.needs)) for line in found.lines] == [(7, {1: Why.LIKELY})]
    (out,) = found.left_out
    assert (out.need, out.why) == (2, WhyNot.RARE)
    assert out.chance == pytest.approx(2 * 10 / 2_000_000, rel=1e-3)


def test_without_a_rate_what_is_on_the_list_stays_and_the_rest_is_left_to_whoever_signs() -> None:
    found = of(
        Wanted(1, None, [Choice(7, best=True, units=ONE)]),
        Wanted(2, None, [Choice(8, best=True, units=ONE)]),
        present={7: Present(3, 1, Criticality.ROUTINE)},
    )
    (line,) = found.lines
    assert (line.item, line.quantity, line.minimum, line.needs) == (7, 3, 1, {1: Why.KEPT})
    assert found.left_out == [LeftOut(2, WhyNot.NO_RATE)]


def test_somebody_untrained_takes_what_needs_no_training() -> None:
    tourniquet = Choice(7, best=True, units=ONE, training=True)
    bandage = Choice(8, best=False, units=ONE)
    want = Wanted(1, OFTEN, [tourniquet, bandage], asked=1, trained=False)
    found = of(want)
    assert [(line.item, line.untrained) for line in found.lines] == [(8, False)]
    assert [(out.item, out.why, out.instead) for out in found.left_out] == [
        (7, WhyNot.UNTRAINED, 8)
    ]
    assert [line.item for line in of(replace(want, trained=True)).lines] == [7]
    assert [line.item for line in of(replace(want, trained=None)).lines] == [7]


def test_what_a_hazard_asks_for_is_carried_and_marked_where_nobody_is_trained() -> None:
    tourniquet = Choice(7, best=True, units=ONE, training=True)
    (line,) = of(Wanted(1, RARE, [tourniquet], asked=2, trained=False)).lines
    assert (line.quantity, line.minimum, line.untrained) == (2, 2, True)
    assert line.priority is Criticality.IMPORTANT
    (out,) = of(Wanted(1, OFTEN, [tourniquet], trained=False)).left_out
    assert out.why is WhyNot.UNTRAINED


def test_children_have_items_of_their_own_by_their_share_of_the_days() -> None:
    adult = Choice(7, best=True, units=ONE)
    child = Choice(8, best=True, units=ONE, child=True)
    want = Wanted(1, Rate(1000, 1000), [adult, child])

    def quantities(children: int) -> dict[int, int]:
        return {line.item: line.quantity for line in of(want, group=Group(10, 3, children)).lines}

    assert quantities(0).keys() == {7}
    assert quantities(10).keys() == {8}
    both = quantities(2)
    assert both.keys() == {7, 8}
    assert both[7] > both[8]


def test_a_season_and_hours_to_care_bring_their_hazards() -> None:
    assert hazards_of(["fire"], "winter", Decimal("3.9")) == {"fire": "ticked", "winter": "season"}
    assert hazards_of(["remote"], None, Decimal(4)) == {"remote": "ticked"}
    assert hazards_of([], None, Decimal(4)) == {"remote": "hours"}
    with pytest.raises(KeyError):
        hazards_of([], "monsoon", None)


@pytest.mark.parametrize(("people", "days", "children"), [(0, 1, 0), (1, 0, 0), (2, 1, 3)])
def test_a_group_that_cannot_be_is_refused(people: int, days: int, children: int) -> None:
    with pytest.raises(ValueError, match="people"):
        Group(people, days, children)
