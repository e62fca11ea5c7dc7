"""For how long there is enough in stock to fill kits: against a count day by day."""

from collections.abc import Sequence

from hypothesis import example, given, strategies as st

from kits.rules.buying.order_lines import Asked, InStock, lasts_days

stocks = st.lists(st.builds(InStock, st.integers(1, 9), st.none() | st.integers(1, 30)), max_size=4)


@st.composite
def asked(draw: st.DrawFn) -> Asked:
    now = draw(st.integers(0, 5))
    return Asked(
        days=draw(st.integers(1, 30)),
        short_now=now,
        short=now + draw(st.integers(0, 6)),
        short_from=draw(st.none() | st.integers(1, 40)),
        used=draw(st.integers(0, 3)),
    )


def day_by_day(stock: Sequence[InStock], asked: Asked) -> int:
    """The first day on which kits lack something that is not there, unit by unit."""
    units = [row.good_days or 999 for row in stock for _ in range(row.units)]
    for day in range(asked.days):
        units = sorted(good for good in units if good > day)
        wanted = asked.short_now if day == 0 else 0
        if day == asked.short_from:
            wanted += asked.short - asked.short_now
        if len(units) < wanted + asked.used:
            return day
        units = units[: len(units) - wanted]
        units = units[int(asked.used) :]
    return asked.days


@given(stocks, asked())
@example([InStock(1), InStock(1), InStock(3), InStock(3)], Asked(2, 2, 2, None, 3))
def test_stock_lasts_until_the_first_day_on_which_too_little_is_there(
    stock: list[InStock], of: Asked
) -> None:
    assert lasts_days(stock, of) == day_by_day(stock, of)


def test_what_ends_within_the_season_serves_until_then() -> None:
    asked = Asked(days=60, short_now=0, short=8, short_from=40, used=0.1)
    assert lasts_days([InStock(20, 30)], asked) == 30
    assert lasts_days([InStock(20)], asked) == 60
    assert lasts_days([InStock(13)], asked) == 50
    assert lasts_days([InStock(10)], asked) == 40
    assert lasts_days([], asked) == 0


def test_what_ends_on_the_day_on_which_kits_lack_more_is_no_longer_there() -> None:
    asked = Asked(60, short_now=0, short=2, short_from=30, used=0)
    assert lasts_days([InStock(9, 30)], asked) == 30
    assert lasts_days([InStock(9, 31)], asked) == 60


def test_full_kits_without_use_want_nothing_before_their_own_ends() -> None:
    assert lasts_days([], Asked(60, short_now=0, short=8, short_from=40, used=0)) == 40
    assert lasts_days([], Asked(60, short_now=1, short=8, short_from=40, used=0)) == 0
