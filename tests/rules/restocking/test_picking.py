"""First expired, first out, good for long enough; and the kit as fit as the shelf can make it."""

from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from hypothesis import given, strategies as st

from kits.rules.ledger.expiry import may_be_put_in, usable_through
from kits.rules.ledger.facts import (
    Batch,
    Criticality,
    Kind,
    KitState,
    Level,
    Line,
    Thing,
    Units,
    Verdict,
    Weight,
)
from kits.rules.ledger.kit_contents import home_line
from kits.rules.ledger.readiness import fit_days, judge
from kits.rules.ledger.reasons import ReasonCode
from kits.rules.restocking.picking import PutIn, RestockList, Swap, first_out, restock
from kits.rules.restocking.restocked import fit_after_restocking, restocked
from kits.rules.restocking.shelves import shelves_of
from tests.rules.kit_facts import NEAR, PLASTERS, TODAY, kits, units

DAY = timedelta(days=1)
GAUZE = Thing(1, "gauze swab", sterile=True)
LARGE = Thing(2, "large dressing", sterile=True)
TABLET = Thing(4, "tablet", kind=Kind.MEDICINE)
TORCH = Thing(5, "torch", kind=Kind.INSTRUMENT, needs_date=False)
WIPE = Thing(6, "wipe")

KITS = kits().map(lambda kit: replace(kit, training=False))
"""Kits that people rely on; training kits are restocked otherwise (see `test_for_class`)."""
shelves = st.lists(units(st.sampled_from(["C1", "C2"])), max_size=8).map(
    lambda rows: [
        replace(row, batch=replace(row.batch, id=n)) for n, row in enumerate(rows, start=1)
    ]
)


def stock(thing: Thing, ident: int, days: int | None, shelf: str = "C2", **facts: Any) -> Units:
    expiry = None if days is None else TODAY + days * DAY
    count = facts.pop("count", 5)
    return Units(Batch(ident, thing, expiry=expiry, **facts), shelf, count)


def kit_of(*inside: Units, lines: tuple[Line, ...], **facts: Any) -> KitState:
    return KitState(1, "DAY-01", lines, inside, looked_inside_on=TODAY, **facts)


def how_bad(verdict: Verdict) -> list[tuple[Weight, int]]:
    """Units wanting to *never below* by weight, and to *carry*."""
    wanting: Counter[Weight] = Counter()
    for reason in verdict.reasons:
        if reason.code in ("short", "low"):
            never_below, usable = reason.facts["never_below"], reason.facts["usable"]
            assert isinstance(never_below, int) and isinstance(usable, int)
            shortfall = reason.facts["shortfall"]
            assert isinstance(shortfall, int)
            wanting[reason.weight] += max(0, never_below - usable)
            wanting[Weight.LOW] += shortfall
    return [(weight, wanting[weight]) for weight in (Weight.STOPS, Weight.SHORT, Weight.LOW)]


def wanting(todo: RestockList) -> Counter[Criticality]:
    """Units that stay missing, by rank."""
    rows: Counter[Criticality] = Counter()
    for missing in todo.missing:
        rows[missing.line.criticality] += missing.count
    return rows


# ---- picking


def picked(
    rows: list[Units], thing: int, count: int, *, through: date, today: date
) -> tuple[PutIn, ...]:
    """What an empty kit gets whose one line carries so many units of a thing."""
    line = Line(1, "front", Thing(thing, "wanted"), carry=count, never_below=0)
    return restock(kit_of(lines=(line,)), rows, through, today).put_in


def test_it_takes_what_goes_out_of_date_first_of_what_lasts_long_enough() -> None:
    rows = [stock(GAUZE, 1, 90), stock(GAUZE, 2, 3), stock(GAUZE, 3, 30), stock(LARGE, 4, 4)]
    picks = picked(rows, GAUZE.id, 8, through=TODAY + 7 * DAY, today=TODAY)
    taken = [(p.batch, p.shelf, p.count) for p in picks]
    assert taken == [(rows[2].batch, "C2", 5), (rows[0].batch, "C2", 3)]


def test_equal_dates_go_by_shelf_then_batch() -> None:
    rows = [stock(GAUZE, 3, 9, "C2"), stock(GAUZE, 2, 9, "C1"), stock(GAUZE, 1, 9, "C2")]
    picks = picked(rows, GAUZE.id, 15, through=TODAY, today=TODAY)
    assert [p.batch.id for p in picks] == [2, 1, 3]


def test_a_date_that_is_not_known_comes_last() -> None:
    rows = [stock(WIPE, 1, None, "C1"), stock(WIPE, 2, 900, "C9")]
    assert [p.batch.id for p in picked(rows, WIPE.id, 9, through=TODAY, today=TODAY)] == [2, 1]


@given(shelves, st.integers(1, 7), st.integers(1, 12), NEAR, NEAR)
def test_a_pick_is_always_the_first_out_of_what_may_be_taken(
    rows: list[Units], thing: int, count: int, through: date, today: date
) -> None:
    picks = picked(rows, thing, count, through=through, today=today)
    may_be = [
        x
        for x in rows
        if x.batch.thing.id == thing
        and usable_through(x.batch, through)
        and may_be_put_in(x.batch, today, training_stock=x.training) is None
    ]
    assert sum(p.count for p in picks) == min(count, sum(x.count for x in may_be))
    in_order = sorted(may_be, key=lambda x: first_out(x.batch, x.place))
    assert [p.batch.id for p in picks] == [x.batch.id for x in in_order[: len(picks)]]
    assert all(p.count == x.count for p, x in zip(picks[:-1], in_order, strict=False))


# ---- restocking


def test_it_says_what_to_swap_from_which_shelf() -> None:
    line = Line(1, "front", GAUZE, carry=3, never_below=2)
    old = Units(Batch(9, GAUZE, expiry=TODAY - DAY), "front", 2)
    good = Units(Batch(8, GAUZE, expiry=TODAY + 60 * DAY), "front", 1)
    rows = [stock(GAUZE, 1, 90), stock(GAUZE, 2, 30, "C1", count=1)]
    todo = restock(kit_of(old, good, lines=(line,)), rows, TODAY + 7 * DAY, TODAY)
    assert [(t.batch.id, t.count, t.why) for t in todo.take_out] == [(9, 2, ReasonCode.EXPIRED)]
    assert [(p.batch.id, p.shelf, p.section, p.count, p.instead_of) for p in todo.put_in] == [
        (2, "C1", "front", 1, None),
        (1, "C2", "front", 1, None),
    ]
    assert todo.missing == ()


def test_what_ends_during_the_trip_is_swapped_only_for_something_better() -> None:
    line = Line(1, "front", GAUZE, carry=3, never_below=2)
    kit = kit_of(Units(Batch(9, GAUZE, expiry=TODAY + DAY), "front", 3), lines=(line,))
    todo = restock(kit, [stock(GAUZE, 1, 90, count=2)], TODAY + 7 * DAY, TODAY)
    assert [(t.batch.id, t.count, t.why) for t in todo.take_out] == [(9, 2, Swap.ENDS_TOO_SOON)]
    assert [(m.count, m.below_minimum) for m in todo.missing] == [(1, False)]
    assert restock(kit, [], TODAY + 7 * DAY, TODAY).take_out == ()
    assert restock(kit, [stock(GAUZE, 1, 90)], TODAY, TODAY) == RestockList()


def test_what_will_do_instead_is_named_with_what_it_stands_in_for() -> None:
    line = Line(1, "front", GAUZE, carry=3, never_below=2, instead=frozenset({LARGE.id}))
    rows = [stock(LARGE, 1, 3), stock(GAUZE, 2, 90, count=1)]
    todo = restock(kit_of(lines=(line,)), rows, TODAY, TODAY)
    assert [(p.thing, p.count, p.instead_of) for p in todo.put_in] == [
        (GAUZE, 1, None),
        (LARGE, 2, GAUZE),
    ]


def test_scarce_units_go_where_they_matter_most() -> None:
    routine = Line(1, "front", GAUZE, carry=3, never_below=3)
    must_have = Line(2, "back", GAUZE, 3, 2, criticality=Criticality.MUST_HAVE)
    rows = [stock(GAUZE, 1, 90, count=1), stock(GAUZE, 2, 9, count=2)]
    todo = restock(kit_of(lines=(routine, must_have)), rows, TODAY, TODAY)
    assert [(p.line.id, p.batch.id, p.count) for p in todo.put_in] == [(1, 1, 1), (2, 2, 2)]
    assert [(m.line.id, m.count, m.below_minimum) for m in todo.missing] == [
        (1, 2, True),
        (2, 1, False),
    ]


def test_medicines_are_passed_over_while_the_list_is_not_signed() -> None:
    kit = kit_of(lines=(Line(1, "front", TABLET, 2, 1),), signed=False)
    rows = [stock(TABLET, 1, 90)]
    assert restock(kit, rows, TODAY, TODAY).put_in == ()
    assert restock(replace(kit, signed=True, signed_until=TODAY), rows, TODAY, TODAY).put_in
    assert not restock(
        replace(kit, signed=True, signed_until=TODAY - DAY), rows, TODAY, TODAY
    ).put_in


def test_an_instrument_is_swapped_for_one_that_has_passed_its_check() -> None:
    kit = kit_of(Units(Batch(1, TORCH), "front", 1), lines=(Line(1, "front", TORCH, 1, 1),))
    passed = stock(TORCH, 2, None, check_passed=True, count=1)
    todo = restock(kit, [stock(TORCH, 3, None), passed], TODAY, TODAY)
    assert [p.batch.id for p in todo.put_in] == [2]
    assert [(t.batch.id, t.why) for t in todo.take_out] == [(1, Swap.CHECK_NEEDED)]


def test_small_stuff_is_filled_up_from_the_first_out() -> None:
    line = Line(1, "front", PLASTERS, 1, 1)
    kit = kit_of(lines=(line,), levels={("front", PLASTERS.id): Level.LOW})
    (row,) = restock(kit, [stock(PLASTERS, 7, None, "C4")], TODAY, TODAY).fill_up
    assert (row.thing, row.level, row.shelf) == (PLASTERS, Level.LOW, "C4")
    (row,) = restock(kit, [], TODAY, TODAY).fill_up
    assert row.batch is None and row.shelf is None
    full = replace(kit, levels={("front", PLASTERS.id): Level.FULL})
    assert restock(full, [], TODAY, TODAY) == RestockList()


def test_a_section_that_is_out_on_its_own_gets_nothing() -> None:
    kit = kit_of(lines=(Line(1, "front", GAUZE, 2, 1),), away=frozenset({"front"}))
    assert restock(kit, [stock(GAUZE, 1, 9)], TODAY, TODAY) == RestockList()


# ---- what always holds


@given(KITS, shelves, NEAR, NEAR)
def test_no_other_choice_from_that_shelf_would_make_the_kit_fitter(
    kit: KitState, rows: list[Units], through: date, today: date
) -> None:
    kit = replace(kit, away=frozenset(), signed=True, signed_until=None)
    through = max(through, today)
    after = judge(restocked(kit, restock(kit, rows, through, today), today), through, today)
    everything = tuple(
        replace(x, place="front")
        for x in rows
        if may_be_put_in(x.batch, today, training_stock=x.training) is None
        and (x.batch.thing.kind is not Kind.MEDICINE or home_line(kit, x) is not None)
    )
    best = judge(replace(kit, units=(*kit.units, *everything)), through, today)
    assert how_bad(after) == how_bad(best)
    assert not [reason for reason in after.reasons if reason.code == "take-out"]


@given(KITS, shelves, NEAR, NEAR)
def test_nothing_unfit_goes_in_and_no_more_than_there_is_or_than_it_takes(
    kit: KitState, rows: list[Units], through: date, today: date
) -> None:
    todo = restock(kit, rows, through, today)
    on_shelf = {(x.batch, x.place): x for x in rows}
    taken: Counter[tuple[Batch, str]] = Counter()
    for put in todo.put_in:
        x = on_shelf[put.batch, put.shelf]
        assert not x.training
        assert may_be_put_in(x.batch, today) is None
        assert usable_through(x.batch, through)
        assert put.batch.thing.id in {put.line.thing.id, *put.line.instead}
        assert put.count > 0
        taken[put.batch, put.shelf] += put.count
    assert all(count <= on_shelf[key].count for key, count in taken.items())
    skipped = [x for key, x in on_shelf.items() if taken[key] < x.count]
    for batch, shelf in taken:
        sooner = [
            x
            for x in skipped
            if x.batch.thing == batch.thing
            and first_out(x.batch, x.place) < first_out(batch, shelf)
            and usable_through(x.batch, through)
            and may_be_put_in(x.batch, today, training_stock=x.training) is None
        ]
        assert not sooner
    again = restock(restocked(kit, todo, today), [], through, today)
    assert not again.put_in
    assert wanting(again) == wanting(todo)
    if not any(line.replaces for line in kit.lines):  # what was replaced fills in for a want
        needed = sum(m.count for m in restock(kit, [], through, today).missing)
        assert sum(p.count for p in todo.put_in) == needed - sum(m.count for m in todo.missing)


@given(kits(), shelves, NEAR, NEAR)
def test_a_kit_restocked_for_the_better_of_two_days_lasts_no_shorter(
    kit: KitState, rows: list[Units], through: date, other: date
) -> None:
    after = restocked(kit, restock(kit, rows, through, TODAY), TODAY)
    assert all(x.count > 0 for x in after.units)
    until = fit_after_restocking(kit, shelves_of(rows), [through], TODAY)
    assert until == fit_days(after).fit_until
    later = fit_after_restocking(kit, shelves_of(rows), [through, other], TODAY)
    assert until is None or (later is not None and later >= until)
