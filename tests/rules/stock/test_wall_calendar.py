"""What goes out of date in which month."""

from datetime import date, timedelta

from hypothesis import given, strategies as st

from kits.rules.ledger.expiry import good_through
from kits.rules.ledger.facts import Batch, Criticality, KitState, Line, Thing, Units
from kits.rules.stock.wall_calendar import MONTHS, wall_calendar

TODAY = date(2026, 11, 28)
DRESSING = Thing(1, "Dressing")
WASH = Thing(2, "Eye wash", opened_life_days=30)
LIKE_IT = Thing(3, "Other dressing")
SHEARS = Thing(4, "Shears", needs_date=False)


def kit(*units: Units) -> KitState:
    lines = (
        Line(1, "main", DRESSING, 4, 2, Criticality.MUST_HAVE, frozenset({LIKE_IT.id})),
        Line(2, "main", WASH, 1, 1),
    )
    return KitState(id=1, name="DAY-01", lines=lines, units=units)


def inside(thing: Thing, day: date | None, count: int = 1, opened: date | None = None) -> Units:
    return Units(Batch(count, thing, expiry=day, opened_on=opened), "main", count)


def test_it_has_twelve_months_from_this_one_and_those_without_anything() -> None:
    of = wall_calendar([], TODAY)
    assert [month.first for month in of.months][::11] == [date(2026, 11, 1), date(2027, 10, 1)]
    assert len(of.months) == MONTHS
    assert not any(month.rows for month in of.months)


def test_an_opened_pack_goes_out_of_date_when_its_opened_life_ends() -> None:
    of = wall_calendar([kit(inside(WASH, date(2028, 1, 31), opened=date(2026, 12, 1)))], TODAY)
    (row,) = of.months[1].rows
    assert (row.day, row.must_have) == (date(2026, 12, 31), False)


def test_must_haves_stand_first_and_so_does_what_is_carried_instead() -> None:
    of = wall_calendar(
        [
            kit(
                inside(WASH, date(2026, 12, 3)),
                inside(LIKE_IT, date(2026, 12, 20)),
                inside(DRESSING, date(2026, 12, 31), 4),
            )
        ],
        TODAY,
    )
    rows = of.months[1].rows
    assert [(row.item, row.must_have) for row in rows] == [
        ("Other dressing", True),
        ("Dressing", True),
        ("Eye wash", False),
    ]


def test_what_is_out_of_date_already_stands_in_the_first_month() -> None:
    of = wall_calendar([kit(inside(DRESSING, date(2025, 3, 31)))], TODAY)
    assert of.months[0].has_earlier
    assert not wall_calendar([kit(inside(WASH, date(2026, 11, 1)))], TODAY).months[0].has_earlier


def test_it_says_what_it_does_not_list() -> None:
    of = wall_calendar(
        [kit(inside(DRESSING, date(2027, 11, 1)), inside(WASH, None), inside(SHEARS, None))], TODAY
    )
    assert (of.later, of.undated) == (1, 1)
    assert not any(month.rows for month in of.months)


@given(
    st.lists(
        st.tuples(
            st.sampled_from([DRESSING, WASH, LIKE_IT]),
            st.integers(-900, 900),
            st.integers(1, 5),
            st.none() | st.integers(-40, 0),
        ),
        max_size=12,
    )
)
def test_no_unit_is_lost_and_each_stands_in_its_month(
    drawn: list[tuple[Thing, int, int, int | None]],
) -> None:
    units = [
        inside(
            thing,
            TODAY + timedelta(days=day),
            count,
            None if opened is None else TODAY + timedelta(days=opened),
        )
        for thing, day, count, opened in drawn
    ]
    of = wall_calendar([kit(*units)], TODAY)
    last = date(2027, 10, 31)
    listed = [each for each in units if (day := good_through(each.batch)) and day <= last]
    assert sum(row.units for month in of.months for row in month.rows) == sum(
        each.count for each in listed
    )
    for month in of.months[1:]:
        assert all(
            (row.day.year, row.day.month) == month.first.timetuple()[:2] for row in month.rows
        )
