"""Which edition of a document is the current one."""

from datetime import date

from hypothesis import given, strategies as st

from kits.rules.stock.editions import Edition, current

editions = st.lists(
    st.builds(
        Edition,
        batch=st.integers(1, 40),
        valid_until=st.none() | st.dates(date(2026, 1, 1), date(2027, 1, 1)),
        numbered=st.booleans(),
    ),
    max_size=6,
    unique_by=lambda each: each.batch,
)


@given(editions)
def test_it_is_one_of_them_in_whatever_order_they_are_given(rows: list[Edition]) -> None:
    newest = current(rows)
    assert (newest is None) is (not rows)
    assert newest is None or newest in rows
    assert current(reversed(rows)) == newest


@given(editions)
def test_where_all_are_dated_none_is_valid_for_longer(rows: list[Edition]) -> None:
    dated = [each for each in rows if each.valid_until is not None]
    newest = current(dated)
    for each in dated:
        if not each.numbered:
            continue
        assert newest is not None
        assert newest.valid_until is not None
        assert each.valid_until is not None
        assert each.valid_until <= newest.valid_until


@given(editions)
def test_an_edition_without_a_date_that_is_entered_last_is_the_current_one(
    rows: list[Edition],
) -> None:
    last = Edition(41)
    assert current([*rows, last]) == last


@given(editions)
def test_one_without_a_number_replaces_none_that_has_one(rows: list[Edition]) -> None:
    newest = current(rows)
    assert newest is None or newest.numbered or not any(each.numbered for each in rows)
