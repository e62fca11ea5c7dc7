"""What may still come back: by kit, and never more than is on record as away."""

from datetime import UTC, datetime, timedelta

from hypothesis import given, strategies as st

from kits.rules.custody.use import Away, Leaving, away, may_come_back
from kits.rules.ledger.facts import Kind

START = datetime(2026, 7, 1, tzinfo=UTC)


def at(hours: int) -> datetime:
    return START + timedelta(hours=hours)


def test_each_kit_has_its_own_away() -> None:
    moves = [Leaving(1, 7, 2, at(0)), Leaving(2, 7, 1, at(1)), Leaving(1, 7, -1, at(2))]

    assert away(moves, {7: 2}) == [Away(1, 7, 1, at(0)), Away(2, 7, 1, at(1))]


def test_what_went_again_after_all_of_it_came_back_is_away_since_then() -> None:
    moves = [Leaving(1, 7, 1, at(0)), Leaving(1, 7, -1, at(1)), Leaving(1, 7, 1, at(5))]

    assert away(moves, {7: 1}) == [Away(1, 7, 1, at(5))]


def test_what_came_without_a_word_of_whose_it_was_is_of_those_longest_away() -> None:
    moves = [Leaving(1, 7, 1, at(0)), Leaving(2, 7, 1, at(1)), Leaving(None, 7, -1, at(2))]

    assert away(moves, {7: 1}) == [Away(2, 7, 1, at(1))]


MOVES = st.lists(
    st.builds(
        Leaving,
        st.one_of(st.none(), st.integers(1, 3)),
        st.integers(1, 2),
        st.sampled_from((-2, -1, 1, 2)),
        st.integers(0, 9).map(at),
    ),
    max_size=12,
)


@given(MOVES)
def test_all_that_is_away_stands_there_once_as_long_as_kits_are_named(moves: list[Leaving]) -> None:
    held = {lot: max(0, sum(m.units for m in moves if m.lot == lot)) for lot in (1, 2)}

    rows = away(moves, held)

    assert len({(row.kit, row.lot) for row in rows}) == len(rows)
    assert all(row.units > 0 for row in rows)
    for lot in (1, 2):
        kits = {m.kit for m in moves if m.kit is not None and m.lot == lot}
        own = [sum(m.units for m in moves if (m.kit, m.lot) == (kit, lot)) for kit in kits]
        listed = sum(row.units for row in rows if row.lot == lot)
        assert listed == min(held[lot], sum(units for units in own if units > 0))


def test_no_medicine_and_nothing_sterile_comes_back() -> None:
    assert may_come_back(Kind.TOOL, sterile=False)
    assert may_come_back(Kind.CONSUMABLE, sterile=False)
    assert not may_come_back(Kind.CONSUMABLE, sterile=True)
    assert not may_come_back(Kind.MEDICINE, sterile=False)
