"""Units serve as many lines as they can, the ones that matter first."""

from itertools import chain, combinations

from hypothesis import given, strategies as st

from kits.rules.ledger.allocation import BY_RANK, Allocation, Pool
from kits.rules.ledger.facts import Criticality, Line
from tests.rules.kit_facts import THINGS, line_lists, sections, things

supplies = st.dictionaries(
    st.tuples(things.map(lambda thing: thing.id), sections), st.integers(1, 6), max_size=8
)


def most_that_can_be_met(lines: tuple[Line, ...], goals: list[int], supply: dict[Pool, int]) -> int:
    """By the max-flow min-cut theorem, over every subset of lines."""
    everyone = range(len(lines))
    cuts = []
    for some in chain.from_iterable(combinations(everyone, n) for n in range(len(lines) + 1)):
        wanted = {thing for i in some for thing in (lines[i].thing.id, *lines[i].instead)}
        reach = sum(count for (thing, _), count in supply.items() if thing in wanted)
        cuts.append(reach + sum(goals[i] for i in everyone if i not in some))
    return min(cuts)


@given(line_lists(), supplies)
def test_each_rank_gets_as_much_as_any_way_could_give_it(
    lines: tuple[Line, ...], supply: dict[Pool, int]
) -> None:
    allocation = Allocation(lines)
    allocation.add(supply)
    allocation.meet_all()
    goals = [0] * len(lines)
    for attribute in ("never_below", "carry"):
        for rank in BY_RANK:
            goals = [
                getattr(line, attribute) if line.criticality is rank else goal
                for line, goal in zip(lines, goals, strict=True)
            ]
            met = sum(min(allocation.got(i), goal) for i, goal in enumerate(goals))
            assert met == most_that_can_be_met(lines, goals, supply)


@given(line_lists(), supplies)
def test_a_unit_counts_once_and_only_where_it_can_be_used(
    lines: tuple[Line, ...], supply: dict[Pool, int]
) -> None:
    allocation = Allocation(lines)
    allocation.add(supply)
    allocation.meet_all()
    for pool, count in supply.items():
        given_out = sum(held.get(pool, 0) for held in allocation.held)
        assert allocation.free[pool] + given_out == count
        assert allocation.free[pool] >= 0
    for line, held in zip(lines, allocation.held, strict=True):
        assert all(count > 0 for count in held.values())
        assert {thing for thing, _ in held} <= {line.thing.id, *line.instead}
        assert sum(held.values()) <= line.carry


@given(line_lists(), supplies, supplies)
def test_what_came_first_stays_served_when_more_is_added(
    lines: tuple[Line, ...], inside: dict[Pool, int], shelf: dict[Pool, int]
) -> None:
    allocation = Allocation(lines)
    allocation.add(inside)
    allocation.meet_all()
    before = [allocation.got(i) for i in range(len(lines))]
    outside = {(thing, "shelf " + place): count for (thing, place), count in shelf.items()}
    allocation.add(outside)
    allocation.meet_all()
    assert all(allocation.got(i) >= had for i, had in enumerate(before))
    at_once = Allocation(lines)
    at_once.add(inside | outside)
    at_once.meet_all()
    goals = [line.never_below for line in lines]
    for rank in BY_RANK:
        ranked = [i for i, line in enumerate(lines) if line.criticality is rank]
        for whole in (goals, [line.carry for line in lines]):
            assert sum(min(allocation.got(i), whole[i]) for i in ranked) == sum(
                min(at_once.got(i), whole[i]) for i in ranked
            )


def test_a_line_takes_its_own_thing_from_its_own_section_first() -> None:
    gauze, large = THINGS[0], THINGS[1]
    lines = (Line(1, "front", gauze, 3, 0, instead=frozenset({large.id})),)
    allocation = Allocation(lines)
    allocation.add({(1, "back"): 1, (1, "front"): 1, (2, "front"): 1, (2, "back"): 1})
    allocation.meet_all()
    assert allocation.held == [{(1, "front"): 1, (1, "back"): 1, (2, "front"): 1}]


def test_two_lines_of_one_thing_keep_what_is_in_their_own_sections() -> None:
    gauze = THINGS[0]
    lines = (Line(1, "front", gauze, 5, 0), Line(2, "back", gauze, 5, 0))
    allocation = Allocation(lines)
    allocation.add({(1, "front"): 2, (1, "back"): 6})
    allocation.meet_all()
    assert [allocation.got(0), allocation.got(1)] == [3, 5]


def test_a_line_lets_go_of_what_another_needs_when_it_can_use_something_else() -> None:
    gauze, large, small = THINGS[:3]
    lines = (
        Line(1, "front", gauze, 1, 1, Criticality.MUST_HAVE, frozenset({2})),
        Line(2, "front", large, 1, 1, Criticality.MUST_HAVE, frozenset({3})),
        Line(3, "front", small, 1, 1, Criticality.ROUTINE, frozenset({1})),
    )
    allocation = Allocation(lines)
    allocation.add({(1, "front"): 1, (2, "front"): 1, (3, "back"): 1})
    allocation.meet_all()
    assert [allocation.got(i) for i in range(3)] == [1, 1, 1]
