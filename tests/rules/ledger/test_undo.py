"""Which acts fall with one that is undone, and who may undo one."""

from collections import defaultdict
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, strategies as st

from kits.rules.ledger.undo import OWN_WITHIN, Step, may_take_back, without

KIT = (1, None)
HERE, SHELF = (7, 10), (7, 20)
WRITTEN = datetime(2026, 5, 31, 8, 0, tzinfo=UTC)


def later(undone: int, *steps: Step, now: dict[Any, Any] | None = None) -> list[Any]:
    return list(without(undone, steps, now or _sum(steps)).later)


def _sum(steps: tuple[Step, ...], start: int = 100) -> dict[Any, Any]:
    held: dict[Any, int] = defaultdict(lambda: start)
    for step in steps:
        for where, units in step.units.items():
            held[where] += units
    return dict(held)


def out(number: int, checkout: int, requested: bool = True) -> Step:
    return Step(number, number, unit=KIT, opens=checkout, requested=requested)


def back(number: int, checkout: int, **more: Any) -> Step:
    return Step(number, number, unit=KIT, names=checkout, ends=True, **more)


def moved(number: int, units: int, where: tuple[int, int] = HERE) -> Step:
    return Step(number, number, units={where: units})


def test_a_report_stands_and_what_was_asked_for_falls() -> None:
    took, came = out(1, 1), back(2, 1)

    assert later(2, took, came, out(3, 3)) == [3]
    assert later(2, took, came, out(3, 3, requested=False)) == []


def test_what_falls_takes_what_names_it_along() -> None:
    assert later(2, out(1, 1), back(2, 1), out(3, 3), back(4, 3)) == [3, 4]


def test_what_is_done_at_home_needs_the_kit_at_home_where_it_was() -> None:
    restock = Step(3, 3, unit=KIT, at_home=True)

    assert later(2, out(1, 1), back(2, 1), restock) == [3]
    assert later(2, out(1, 1), Step(2, 2, unit=KIT), restock) == []


def test_units_that_are_not_there_cannot_have_been_taken() -> None:
    received, taken = moved(1, 5), moved(2, -5)

    assert later(1, received, taken, now={HERE: 0}) == [2]
    assert later(1, received, taken, now={HERE: 5}) == []


def test_whoever_checked_a_kit_by_its_seal_needs_one_that_is_on() -> None:
    first = Step(1, 1, unit=KIT, seals="0416")
    second = Step(2, 2, unit=KIT, seals="0417")
    checked = Step(3, 3, unit=KIT, by_seal=True)

    assert later(2, first, second, checked) == []
    assert later(1, first, checked) == [3]


def test_what_ends_a_state_needs_it_to_stand() -> None:
    kept = Step(1, 1, makes={"kept": True})
    let_go = Step(2, 2, needs={"kept": True}, makes={"kept": False})

    assert later(1, kept, let_go) == [2]
    assert later(2, kept, let_go, Step(3, 3, makes={"kept": True})) == []


def test_all_entries_of_an_act_fall_together() -> None:
    came = Step(2, "back", unit=KIT, names=1, ends=True)
    used = Step(3, "back", units={HERE: -2})

    assert later(1, out(1, 1), came, used) == ["back"]


def test_a_count_says_what_is_there_whatever_the_book_had() -> None:
    counted = Step(2, 2, units={HERE: -1}, sets={HERE: 3})

    fallen = without(1, [moved(1, -2), counted], {HERE: 3})

    assert fallen.later == ()
    assert fallen.changed == {2: {HERE: -2}}


def test_a_sweep_takes_what_is_there() -> None:
    swept = Step(2, 2, units={HERE: -4, SHELF: 4}, sweeps=[(HERE, SHELF)])

    fallen = without(1, [moved(1, -2), swept], {HERE: 0, SHELF: 4})

    assert fallen.changed == {2: {HERE: -2, SHELF: 2}}


places = st.sampled_from([HERE, SHELF])
any_steps = st.lists(
    st.one_of(
        st.tuples(st.just("move"), places, st.integers(-4, 4).filter(bool)),
        st.tuples(st.just("count"), places, st.integers(0, 6)),
    ),
    min_size=1,
    max_size=9,
)


@given(any_steps, st.integers(0, 8))
def test_what_is_left_is_what_the_acts_come_to_without_those_that_fell(
    acts: list[tuple[str, tuple[int, int], int]], index: int
) -> None:
    held = {HERE: 3, SHELF: 3}
    steps, kept = [], []
    for number, (what, where, units) in enumerate(acts, start=1):
        if what == "count":
            steps.append(Step(number, number, {where: units - held[where]}, sets={where: units}))
            held[where] = units
        elif held[where] + units >= 0:
            steps.append(Step(number, number, {where: units}))
            held[where] += units
        else:
            continue
        kept.append((number, what, where, units))
    if not steps:
        return
    undone = steps[index % len(steps)].id

    fallen = without(undone, steps, held)

    plain, gone = {HERE: 3, SHELF: 3}, []
    for number, what, where, units in kept:
        if number == undone:
            continue
        if what == "count":
            plain[where] = units
        elif plain[where] + units >= 0:
            plain[where] += units
        else:
            gone.append(number)
    assert list(fallen.later) == gone
    left = dict(held)
    for step in steps:
        if step.id == undone or step.id in gone:
            for where, units in step.units.items():
                left[where] -= units
    for change in fallen.changed.values():
        for where, units in change.items():
            left[where] += units
    assert left == plain


@pytest.mark.parametrize(
    ("own", "keeper", "after", "may"),
    [
        (True, False, timedelta(0), True),
        (True, False, OWN_WITHIN, True),
        (True, False, OWN_WITHIN + timedelta(microseconds=1), False),
        (False, False, timedelta(0), False),
        (False, True, timedelta(days=300), True),
    ],
)
def test_it_is_ones_own_for_a_day_and_a_keepers_for_ever(
    own: bool, keeper: bool, after: timedelta, may: bool
) -> None:
    assert may_take_back(own=own, keeper=keeper, recorded_at=WRITTEN, now=WRITTEN + after) is may
