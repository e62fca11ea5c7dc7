"""Names of bars stand where nothing else does."""

from itertools import pairwise

from hypothesis import given, strategies as st

from gearroom.site.web.trips.bars import Placed, named

END = 600
BARS = st.tuples(st.integers(0, 120), st.integers(10, 90), st.text("a", min_size=1, max_size=14))
"""Bars by the gap before them, their width and their name."""


@given(st.lists(BARS, max_size=6))
def test_no_name_lies_over_a_bar_or_another_name(given_bars: list[tuple[int, int, str]]) -> None:
    lane, x = [], 0
    for gap, width, name in given_bars:
        lane.append(Placed(x=x + gap, y=0, width=width, name=name))
        x += gap + width

    drawn = [_drawn(bar) for bar in named(lane, 0, max(END, x))]

    assert all(before[1] <= after[0] for before, after in pairwise(drawn))
    assert all(first >= 0 and last <= max(END, x) for first, last in drawn)


def test_two_names_between_two_bars_are_not_put_over_each_other() -> None:
    first = Placed(x=0, y=0, width=30, name="Cave day, Blea Pot")
    second = Placed(x=256, y=0, width=62, name="Cave hut weekend")

    assert [bar.text for bar in named([first, second], 0, 318)] == ["Cave day, Blea Pot", ""]


def _drawn(bar: Placed) -> tuple[int, int]:
    """From where to where a bar and its name reach."""
    wide = len(bar.text) * 8
    begin = bar.text_x - wide if bar.anchor == "end" else bar.text_x
    if not bar.text:
        return bar.x, bar.x + bar.width
    return min(bar.x, begin), max(bar.x + bar.width, begin + wide)
