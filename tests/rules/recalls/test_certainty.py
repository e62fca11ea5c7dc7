"""Where a recalled batch certainly is, and where it may be: never too sure, never missing one."""

from collections import Counter
from dataclasses import dataclass, field

import pytest
from hypothesis import assume, given, strategies as st

from kits.rules.recalls.certainty import (
    Bounds,
    Counted,
    Event,
    Leg,
    PlaceRange,
    RecalledPlaces,
    bounds,
    recalled_places,
)

SUPPLIER, USED, UNEXPLAINED, SHELF, KIT, OTHER_KIT = 1, 2, 3, 10, 11, 12
OUTER = frozenset({SUPPLIER, USED, UNEXPLAINED})
INNER = (SHELF, KIT, OTHER_KIT)
BAD, GOOD, THIRD = 100, 101, 102
BATCHES = (BAD, GOOD, THIRD)


def where(*events: Event) -> dict[int, Bounds]:
    return bounds(events, [BAD], outer=OUTER, unexplained=[UNEXPLAINED])


def recall(*events: Event, unknown: tuple[int, ...] = ()) -> RecalledPlaces:
    return recalled_places(events, [BAD], unknown, outer=OUTER, unexplained=[UNEXPLAINED])


def test_named_movements_are_followed_exactly() -> None:
    found = where(
        Leg(1, BAD, SUPPLIER, SHELF, 10), Leg(2, BAD, SHELF, KIT, 4), Leg(3, BAD, KIT, USED, 1)
    )
    assert (found[SHELF], found[KIT], found[USED]) == (Bounds(6, 6), Bounds(3, 3), Bounds(1, 1))


def test_an_unsaid_batch_makes_both_ends_a_guess() -> None:
    events: list[Leg | Counted] = [
        Leg(1, BAD, SUPPLIER, SHELF, 3),
        Leg(2, GOOD, SUPPLIER, SHELF, 5),
        Leg(3, BAD, SHELF, KIT, 2, lot_assumed=True),
    ]
    assert recall(*events) == RecalledPlaces((PlaceRange(SHELF, 1, 3),), (PlaceRange(KIT, 0, 2),))


def test_taking_more_than_everything_else_takes_some_of_it_for_certain() -> None:
    events: list[Leg | Counted] = [
        Leg(1, BAD, SUPPLIER, SHELF, 3),
        Leg(2, GOOD, SUPPLIER, SHELF, 5),
        Leg(3, GOOD, SHELF, KIT, 7, lot_assumed=True),
    ]
    assert recall(*events) == RecalledPlaces((PlaceRange(KIT, 2, 3),), (PlaceRange(SHELF, 0, 1),))


def test_a_place_with_nothing_else_stays_certain() -> None:
    found = where(Leg(1, BAD, SUPPLIER, SHELF, 3), Leg(2, BAD, SHELF, KIT, 2, lot_assumed=True))
    assert (found[SHELF], found[KIT]) == (Bounds(1, 1), Bounds(2, 2))


def test_a_count_makes_a_place_certain_again() -> None:
    events: list[Leg | Counted] = [
        Leg(1, BAD, SUPPLIER, SHELF, 3),
        Leg(2, GOOD, SUPPLIER, SHELF, 5),
        Leg(3, BAD, SHELF, KIT, 2, lot_assumed=True),
        Leg(4, BAD, KIT, UNEXPLAINED, 2),
        Leg(4, GOOD, UNEXPLAINED, KIT, 2),
        Counted(4, KIT, {GOOD: 2}),
    ]
    assert recall(*events) == RecalledPlaces((PlaceRange(SHELF, 1, 3),), ())


def test_a_scanned_unit_narrows_what_may_be_left() -> None:
    events: list[Leg | Counted] = [
        Leg(1, BAD, SUPPLIER, SHELF, 1),
        Leg(2, GOOD, SUPPLIER, SHELF, 1),
        Leg(3, BAD, SHELF, KIT, 1, lot_assumed=True),
        Leg(4, GOOD, KIT, USED, 1),
    ]
    assert where(*events)[KIT] == Bounds(0, 0)


def test_units_without_a_number_may_be_of_it() -> None:
    events = [Leg(1, GOOD, SUPPLIER, SHELF, 2), Leg(2, BAD, SUPPLIER, KIT, 1)]
    assert recall(*events, unknown=(GOOD,)) == RecalledPlaces(
        (PlaceRange(KIT, 1, 1),), (PlaceRange(SHELF, 0, 2),)
    )


def test_two_recalled_batches_are_one_to_a_tap_between_them() -> None:
    events: list[Leg | Counted] = [
        Leg(1, BAD, SUPPLIER, KIT, 2),
        Leg(2, GOOD, SUPPLIER, KIT, 2),
        Leg(3, BAD, KIT, USED, 1, lot_assumed=True),
    ]
    found = recalled_places(events, [BAD, GOOD], outer=OUTER, unexplained=[UNEXPLAINED])
    assert found == RecalledPlaces((PlaceRange(KIT, 3, 3),), ())


@pytest.mark.parametrize("assumed", [True, False])
def test_what_was_put_right_did_not_happen(assumed: bool) -> None:
    before = [Leg(1, BAD, SUPPLIER, KIT, 1), Leg(2, GOOD, SUPPLIER, KIT, 1)]
    mistake = Leg(3, BAD, KIT, USED, 1, lot_assumed=assumed)
    undo = Leg(4, BAD, USED, KIT, 1, reverses=3)
    redo = Leg(5, BAD, KIT, USED, 1, lot_assumed=assumed, reverses=4)
    assert where(*before, mistake, undo)[KIT] == Bounds(1, 1)
    assert where(*before, mistake, undo, redo)[KIT] == where(*before, mistake)[KIT]


def test_a_count_that_was_put_right_makes_nothing_certain() -> None:
    events: list[Leg | Counted] = [
        Leg(1, BAD, SUPPLIER, KIT, 1),
        Leg(2, BAD, KIT, UNEXPLAINED, 1),
        Counted(2, KIT, {}),
        Leg(3, BAD, UNEXPLAINED, KIT, 1, reverses=2),
    ]
    assert where(*events)[KIT] == Bounds(1, 1)


# ---- against what truly happened


@dataclass
class Room:
    """A gear room as it truly is, beside the book as services keep it."""

    truth: dict[int, Counter[int]] = field(
        default_factory=lambda: {place: Counter() for place in (*INNER, USED)}
    )
    book: dict[int, Counter[int]] = field(
        default_factory=lambda: {place: Counter() for place in (*INNER, USED)}
    )
    events: list[Event] = field(default_factory=list)
    entry: int = 0

    def write(self, batch: int, source: int, target: int, units: int, assumed: bool) -> None:
        if units <= 0:
            return
        for place, sign in ((source, -1), (target, 1)):
            if place in self.book:
                self.book[place][batch] += sign * units
                assert self.book[place][batch] >= 0
        self.events.append(Leg(self.entry, batch, source, target, units, assumed))

    def receive(self, batch: int, place: int, units: int) -> None:
        self.entry += 1
        self.truth[place][batch] += units
        self.write(batch, SUPPLIER, place, units, assumed=False)

    def move_named(self, batch: int, source: int, target: int, units: int) -> None:
        self.entry += 1
        units = min(units, self.truth[source][batch])
        self.truth[source][batch] -= units
        self.truth[target][batch] += units
        found = units - self.book[source][batch]
        self.write(batch, UNEXPLAINED, source, found, assumed=False)
        self.write(batch, source, target, units, assumed=False)

    def move_unsaid(self, source: int, target: int, taken: list[int]) -> None:
        """The hand takes what it takes; the book takes the oldest."""
        self.entry += 1
        units = 0
        for batch in taken:
            if self.truth[source][batch] > 0:
                self.truth[source][batch] -= 1
                self.truth[target][batch] += 1
                units += 1
        found = units - self.book[source].total()
        self.write(BATCHES[0], UNEXPLAINED, source, found, assumed=True)
        for batch in BATCHES:
            part = min(units, self.book[source][batch])
            self.write(batch, source, target, part, assumed=True)
            units -= part

    def count(self, place: int, only: int | None) -> None:
        self.entry += 1
        for batch in BATCHES if only is None else (only,):
            differs = self.truth[place][batch] - self.book[place][batch]
            self.write(batch, UNEXPLAINED, place, differs, assumed=False)
            self.write(batch, place, UNEXPLAINED, -differs, assumed=False)
        if only is None:
            self.events.append(Counted(self.entry, place, +self.truth[place]))

    def write_in_error(self, batch: int, source: int, target: int, units: int, unsaid: bool) -> int:
        """Something that never happened; the entry's id."""
        self.entry += 1
        self.write(batch, source, target, min(units, self.book[source][batch]), unsaid)
        return self.entry

    def put_right(self, entry: int) -> None:
        self.entry += 1
        legs = [x for x in self.events if isinstance(x, Leg) and x.entry == entry]
        for leg in legs:
            assume(self.book[leg.to_place][leg.batch] >= leg.units)
            self.write(leg.batch, leg.to_place, leg.from_place, leg.units, leg.lot_assumed)
            last = self.events.pop()
            assert isinstance(last, Leg)
            self.events.append(
                Leg(self.entry, leg.batch, leg.to_place, leg.from_place, leg.units, reverses=entry)
            )


batch_ids, inner = st.sampled_from(BATCHES), st.sampled_from(INNER)
targets = st.sampled_from((*INNER, USED))
few = st.integers(1, 4)
acts = st.one_of(
    st.tuples(st.just("receive"), batch_ids, inner, few),
    st.tuples(st.just("move_named"), batch_ids, inner, targets, few),
    st.tuples(st.just("move_unsaid"), inner, targets, st.lists(batch_ids, max_size=4)),
    st.tuples(st.just("move_unsaid"), inner, targets, st.lists(batch_ids, max_size=4)),
    st.tuples(st.just("count"), inner, st.none() | batch_ids),
    st.tuples(st.just("write_in_error"), batch_ids, inner, targets, few, st.booleans()),
)


@given(
    st.lists(st.tuples(batch_ids, inner, few), min_size=1, max_size=4),
    st.lists(acts, max_size=10),
    st.frozensets(batch_ids, min_size=1),
)
def test_the_truth_always_lies_within_what_the_book_says_may_be(
    stock: list[tuple[int, int, int]], steps: list[tuple[object, ...]], asked: frozenset[int]
) -> None:
    room = Room()
    for received in stock:
        room.receive(*received)
    errors = []
    for name, *arguments in steps:
        entry = getattr(room, str(name))(*arguments)
        if name == "write_in_error":
            errors.append(entry)
    for entry in reversed(errors):
        room.put_right(entry)
    found = bounds(room.events, asked, outer=OUTER, unexplained=[UNEXPLAINED])
    for place, truly in room.truth.items():
        there = sum(truly[batch] for batch in asked)
        if place not in found:
            assert there == 0
        else:
            assert found[place].least <= there <= found[place].most
    told = recalled_places(room.events, asked, outer=OUTER, unexplained=[UNEXPLAINED])
    listed = {held.place for held in (*told.certain, *told.maybe)}
    for place in INNER:
        there = sum(room.truth[place][batch] for batch in asked)
        assert there == 0 or place in listed
        assert there > 0 or place not in {held.place for held in told.certain}
