"""One item in place of another: the old counts until it is used up, and the new goes in when the
kit is open, all of it once the kit is to last past the day by which all have it."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given, strategies as st

from kits.rules.ledger.facts import (
    Batch,
    Criticality,
    KitState,
    Line,
    Replaced,
    Thing,
    Units,
    Weight,
    Word,
)
from kits.rules.ledger.readiness import fit_days, judge
from kits.rules.ledger.reasons import ReasonCode
from kits.rules.restocking.picking import RestockList, Swap, restock
from tests.rules.kit_facts import TODAY

OLD, NEW = Thing(1, "old gauze"), Thing(2, "new gauze")
FAR = TODAY + timedelta(days=900)
BY_DAY = TODAY + timedelta(days=60)
BEFORE, AFTER = BY_DAY, BY_DAY + timedelta(days=1)
ASKED = Line(1, "front", OLD, carry=4, never_below=3, criticality=Criticality.MUST_HAVE)
ASKS = replace(
    ASKED, thing=NEW, instead=frozenset({1}), replaces=(Replaced(1, "old gauze", BY_DAY),)
)


def units(thing: Thing, count: int, place: str = "front") -> Units:
    return Units(Batch(thing.id * 10, thing, expiry=FAR), place, count)


def kit(*inside: Units, line: Line = ASKS) -> KitState:
    return KitState(1, "DAY-01", (line,), inside, looked_inside_on=TODAY, look_interval_days=9999)


def low(of: KitState, through: date, today: date = TODAY) -> list[tuple[str, Weight]]:
    return [(reason.code, reason.weight) for reason in judge(of, through, today).reasons]


def in_and_out(todo: RestockList) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
    return (
        [(row.thing.id, row.count) for row in todo.put_in],
        [(row.batch.thing.id, row.count) for row in todo.take_out],
    )


@given(
    have=st.integers(0, 6),
    carry=st.integers(1, 5),
    below=st.integers(0, 5),
    through=st.integers(0, 60),
    rank=st.sampled_from(Criticality),
)
def test_no_kit_is_worse_off_through_the_day(
    have: int, carry: int, below: int, through: int, rank: Criticality
) -> None:
    asked = replace(ASKED, carry=carry, never_below=min(below, carry), criticality=rank)
    asks = replace(asked, thing=NEW, instead=ASKS.instead, replaces=ASKS.replaces)
    inside = (units(OLD, have),) if have else ()
    day = TODAY + timedelta(days=through)
    was, now = (judge(kit(*inside, line=line), day, TODAY) for line in (asked, asks))
    assert was.word == now.word


def test_after_the_day_a_kit_that_has_the_old_only_is_low_and_says_which() -> None:
    of = kit(units(OLD, 4))
    assert low(of, BEFORE) == []
    assert low(of, AFTER) == [(ReasonCode.REPLACED_INSIDE, Weight.LOW)]
    (reason,) = judge(of, AFTER, TODAY).reasons
    assert (reason.facts["thing"], reason.facts["old"]) == ("new gauze", "old gauze")


def test_it_may_still_go_and_the_stored_days_say_the_same() -> None:
    days = fit_days(kit(units(OLD, 4)))
    assert (days.ready_until, days.fit_until, days.may_go_until) == (BY_DAY, FAR, FAR)


def test_with_all_of_the_new_nothing_is_said_of_the_old_beside_it() -> None:
    assert low(kit(units(NEW, 4), units(OLD, 2)), AFTER) == []


def test_once_withdrawn_nobody_waits() -> None:
    line = replace(ASKS, replaces=(Replaced(1, "old gauze"),))
    assert low(kit(units(OLD, 4), line=line), AFTER) == []


def test_before_the_day_the_old_is_used_up_and_the_new_fills_up() -> None:
    todo = restock(kit(units(OLD, 3)), [units(NEW, 9, "C1")], BEFORE, TODAY)
    assert in_and_out(todo) == ([(2, 1)], [])


def test_a_full_kit_is_left_alone() -> None:
    assert restock(kit(units(OLD, 4)), [units(NEW, 9, "C1")], BEFORE, TODAY) == RestockList()


def test_past_the_day_it_gets_all_of_the_new_and_gives_back_the_old() -> None:
    todo = restock(kit(units(OLD, 4)), [units(NEW, 9, "C1")], AFTER, TODAY)
    assert in_and_out(todo) == ([(2, 4)], [(1, 4)])
    assert todo.take_out[0].why is Swap.REPLACED
    assert not todo.missing


def test_with_too_little_of_the_new_the_old_stays_and_the_rest_is_missing() -> None:
    todo = restock(kit(units(OLD, 4)), [units(NEW, 1, "C1")], AFTER, TODAY)
    assert in_and_out(todo) == ([(2, 1)], [(1, 1)])
    assert [(row.thing.id, row.count, row.below_minimum) for row in todo.missing] == [(2, 3, False)]


def test_without_any_of_the_new_the_old_goes_in() -> None:
    todo = restock(kit(units(OLD, 1)), [units(OLD, 9, "C1")], AFTER, TODAY)
    assert in_and_out(todo) == ([(1, 3)], [])


@given(
    inside=st.integers(0, 6), new_inside=st.integers(0, 6),
    shelf=st.integers(0, 8), old_shelf=st.integers(0, 8), past=st.booleans(),
)  # fmt: skip
def test_following_the_list_never_leaves_a_kit_with_less(
    inside: int, new_inside: int, shelf: int, old_shelf: int, past: bool
) -> None:
    through = AFTER if past else BEFORE
    have = [units(OLD, inside), units(NEW, new_inside)]
    todo = restock(
        kit(*have), [units(NEW, shelf, "C1"), units(OLD, old_shelf, "C2")], through, TODAY
    )
    goes_in, comes_out = (dict(rows) for rows in in_and_out(todo))
    old = inside + goes_in.get(1, 0) - comes_out.get(1, 0)
    new = new_inside + goes_in.get(2, 0) - comes_out.get(2, 0)
    assert old >= 0 and new >= new_inside
    assert old + new >= min(4, inside + new_inside + shelf + old_shelf)
    assert old + new >= min(4, inside + new_inside)
    if past and new_inside + shelf >= 4:
        assert new >= 4 and (old == 0 or not goes_in)


weeks = st.lists(st.tuples(st.booleans(), st.integers(0, 3), st.integers(0, 6)), min_size=10)


@given(weeks)
def test_over_weeks_of_use_all_have_the_new_by_the_day_or_are_named(
    weeks: list[tuple[bool, int, int]],
) -> None:
    """Each week a kit may be opened for a reason of its own, use some, and be restocked."""
    have = {OLD: 4, NEW: 0}
    for week, (opened, used, on_shelf) in enumerate(weeks):
        today = TODAY + timedelta(days=7 * week)
        of = kit(*(units(thing, count) for thing, count in have.items()))
        assert judge(of, min(today, BY_DAY), min(today, BY_DAY)).word != Word.DO_NOT_TAKE
        named = ReasonCode.REPLACED_INSIDE in [r.code for r in judge(of, today, today).reasons]
        if today > BY_DAY:
            assert named or have[NEW] >= 4 or not have[OLD]
        else:
            assert not named
        if not opened:
            continue  # nobody opens it: it stays as it is
        for thing in (OLD, NEW):
            taken = min(used, have[thing])
            have[thing], used = have[thing] - taken, used - taken
        of = kit(*(units(thing, count) for thing, count in have.items()))
        shelf = [units(NEW, on_shelf, "C1"), units(OLD, 9, "C2")]
        goes_in, comes_out = in_and_out(restock(of, shelf, today + timedelta(days=28), today))
        for thing in (OLD, NEW):
            have[thing] += dict(goes_in).get(thing.id, 0) - dict(comes_out).get(thing.id, 0)
        assert have[OLD] + have[NEW] >= 4
