"""What is written to a file is what is read from it."""

import csv
import io
import string
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import example, given, strategies as st

from gearroom.core.rules.plain_text import plain
from gearroom.core.rules.sentences import InvalidValue, say
from kits.rules.exchange import texts
from kits.rules.exchange.formulas import neutral, restored
from kits.rules.exchange.tables import FileRow, RowChange, Values, compared, read_table
from kits.rules.exchange.values import Column, Type, Value, as_text, read_cell, written

TODAY = date(2026, 11, 29)
_TEXTS = (
    st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=40)
    .map(lambda text: plain(text).strip())
    .filter(lambda text: "\0" not in text)
)
_SIGNED = st.text(
    st.sampled_from("'=+-@\uff1d\t\r\n ;\",x") | st.characters(codec="utf-8"), max_size=12
)


def column(of: Type, **more: object) -> Column:
    return Column("of", say("Of"), say("It."), of, **more)  # type: ignore[arg-type]  # as asked for


_CHOICES = ("consumable", "medicine")
_COLUMNS = {
    Type.TEXT: (column(Type.TEXT), _TEXTS),
    Type.WHOLE: (column(Type.WHOLE, least=-40), st.none() | st.integers(-40, 1_000_000)),
    Type.AMOUNT: (
        column(Type.AMOUNT),
        st.none() | st.decimals(0, 999_999, places=1) | st.decimals(0, 999_999, places=2),
    ),
    Type.YES_NO: (column(Type.YES_NO), st.none() | st.booleans()),
    Type.CHOICE: (column(Type.CHOICE, choices=_CHOICES), st.sampled_from((None, *_CHOICES))),
    Type.DAY: (column(Type.DAY), st.none() | st.dates(date(1970, 1, 1), date(2199, 12, 31))),
    Type.EXPIRY: (
        column(Type.EXPIRY),
        st.none() | st.dates(date(2017, 1, 1), date(2076, 12, 31)),
    ),
    Type.MOMENT: (
        column(Type.MOMENT),
        st.none()
        | st.datetimes(
            datetime(1990, 1, 1),  # noqa: DTZ001  # with the zone of the strategy
            datetime(2090, 1, 1),  # noqa: DTZ001  # as above
            timezones=st.sampled_from([UTC, timezone(timedelta(hours=-9, minutes=-30))]),
        ),
    ),
    Type.SEVERAL: (column(Type.SEVERAL), st.lists(_TEXTS.filter(bool), max_size=4).map(tuple)),
}


@given(text=_SIGNED)
@example(text="x;=1")
@example(text="a;b\n=1;")
@example(text=';"=1;')
@example(text=" \uff1d1")
def test_a_text_comes_back_and_is_no_formula_wherever_it_is_split(text: str) -> None:
    cell = neutral(text)
    assert restored(cell) == text
    assert not cell.startswith(("\t", "\r", "\n"))
    out = io.StringIO(newline="")
    csv.writer(out).writerow(["x", cell, "y"])
    cells = [cell]
    for separator in ";\t":  # as a spreadsheet of another country reads it
        for row in csv.reader(io.StringIO(out.getvalue(), newline=""), delimiter=separator):
            cells += row
    assert not [each for each in cells if each.strip(' "\t').startswith(tuple("=+-@\uff1d"))]


@pytest.mark.parametrize("of", list(Type))
@given(data=st.data())
def test_what_is_written_is_what_is_read(of: Type, data: st.DataObject) -> None:
    of_column, values = _COLUMNS[of]
    value: Value = data.draw(values)
    expected = of_column.empty if value is None else value
    cell = written(value)
    assert read_cell(of_column, cell, today=TODAY) == expected
    assert read_cell(of_column, as_text(cell), today=TODAY) == expected  # of a file without types


@pytest.mark.parametrize(
    ("of", "typed", "means"),
    [
        (Type.DAY, "31.05.2027", date(2027, 5, 31)),
        (Type.DAY, "31 May 2027", date(2027, 5, 31)),
        (Type.DAY, "25/04/2027", date(2027, 4, 25)),
        (Type.EXPIRY, "05/2027", date(2027, 5, 31)),
        (Type.MOMENT, "31.05.2027 8:30", datetime(2027, 5, 31, 8, 30)),  # noqa: DTZ001  # no zone
        (Type.MOMENT, "2027-05-31 08:30", datetime(2027, 5, 31, 8, 30)),  # noqa: DTZ001  # as above
        (Type.AMOUNT, "2,5", Decimal("2.5")),
        (Type.AMOUNT, 2.5, Decimal("2.5")),
        (Type.WHOLE, 12.0, 12),
        (Type.YES_NO, "Ja", True),
        (Type.YES_NO, "True", True),
        (Type.SEVERAL, "hill;cave", ("hill", "cave")),
    ],
)
def test_people_type_it_in_their_own_way(of: Type, typed: str | float, means: Value) -> None:
    assert read_cell(column(of), typed, today=TODAY) == means


@pytest.mark.parametrize(
    ("of", "typed", "says"),
    [
        (Type.DAY, "03/04/2027", "2027-03-04 for 4 March 2027 or 2027-04-03 for 3 April 2027"),
        (Type.DAY, "05/2027", "not a day"),
        (Type.DAY, "2027-02-30", "not a day"),
        (Type.DAY, "0001-01-01", "from 1970 to 2199"),
        (Type.MOMENT, "0001-01-01T00:00:00+14:00", "from 1970 to 2199"),
        (Type.MOMENT, "9999-12-31 23:59", "from 1970 to 2199"),
        (Type.EXPIRY, "03/04/2027", "more than one way"),
        (Type.MOMENT, "03/04/2027 08:30", "more than one way"),
        (Type.MOMENT, "2027-05-31", "not a day with a time"),
        (Type.MOMENT, "2027-05-31 25:00", "no time of day"),
        (Type.AMOUNT, "1,234", "1234 or 1.2340"),
        (Type.WHOLE, "1,000", "whole number"),
        (Type.WHOLE, "2.5", "whole number"),
        (Type.YES_NO, "perhaps", "yes, no"),
        (Type.TEXT, "x" * 121, "at most 120"),
    ],
)
def test_what_may_mean_two_things_or_none_is_refused(of: Type, typed: str, says: str) -> None:
    with pytest.raises(InvalidValue, match=says):
        read_cell(column(of), typed, today=TODAY)


_ROWS = st.lists(
    st.lists(st.text(string.ascii_letters + "äß€,;\"\n\t '", max_size=8), min_size=2, max_size=2),
    max_size=4,
)


@given(
    rows=_ROWS,
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252", "utf-16-le", "utf-16-be"]),
    separator=st.sampled_from(texts.SEPARATORS),
)
def test_a_text_file_is_read_in_whatever_way_it_is_saved(
    rows: list[list[str]], encoding: str, separator: str
) -> None:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator).writerows([["name", "kind"], *rows])
    content = out.getvalue().encode(encoding)
    expected = [row for row in rows if any(cell.strip() for cell in row)]
    assert texts.rows_of(texts.decoded(content), ["name", "kind"])[1:] == expected


def test_a_picture_is_no_table() -> None:
    with pytest.raises(InvalidValue, match="not a table"):
        texts.decoded(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 3)


def test_too_much_at_once_is_refused() -> None:
    for rows in ([["a"]] * (texts.MOST_ROWS + 2), [["a"] * 61], [["a" * 1001]]):
        with pytest.raises(InvalidValue):
            texts.require_bounds(rows)
    for endless in ("a" * 200_000, '"' + "a" * 200_000, "name\n" + "a" * 200_000):
        with pytest.raises(InvalidValue):
            texts.rows_of(endless, ["name"])


# ------------------------------------------------------------------------------ rows held together
_TABLE = (
    Column("name", say("Name"), say("It."), needed=True),
    Column("kind", say("Kind"), say("It."), Type.CHOICE, choices=_CHOICES),
    Column("note", say("Note"), say("It.")),
    Column("age", say("Age"), say("It."), Type.WHOLE, only_read=True),
)
_ON_RECORD: dict[object, Values] = {
    "swab": {"name": "swab", "kind": "consumable", "note": "white", "age": 3}
}


def read(*rows: list[str]) -> tuple[list[FileRow], list[str]]:
    table = read_table(_TABLE, rows, titles={"name": "name", "bemerkung": "note"}, today=TODAY)
    return list(table.rows), [f"{fault.row} {fault.column}: {fault.says}" for fault in table.faults]


def changes(*rows: list[str]) -> tuple[list[RowChange], list[str]]:
    changed, faults = compared(read(*rows)[0], _ON_RECORD, lambda v: v.get("name"), _TABLE)
    return changed, [f"{fault.row} {fault.column}: {fault.says}" for fault in faults]


def test_a_column_that_is_left_out_and_an_empty_choice_stay_and_an_empty_text_goes() -> None:
    assert changes(["Name", "kind"], ["swab", ""]) == ([], [])
    (change,), _faults = changes(["name", "Bemerkung"], ["swab", ""])
    assert [(cell.column, cell.old, cell.new) for cell in change.cells] == [("note", "white", "")]


def test_what_a_file_cannot_say_is_refused_with_its_row() -> None:
    assert read(["nmae"], ["x"])[1] == [
        "1 : There is no column “nmae” here. The columns are: name, kind, note, age.",
        "1 name: The column “name” is missing.",
    ]
    assert read(["name", "name"], ["x", "y"])[1] == ["1 name: The column “name” appears twice."]
    assert read(["name"], ["", "y"], ["a", "b"])[1][-1].startswith("3 : This row has more cells")
    assert read(["name", "kind"], ["", "tool"])[1][0] == "2 name: This is missing. Fill it in."
    assert changes(["name"], ["swab"], ["swab"])[1] == [
        "3 : This is the same as row 2. Remove one of them."
    ]
    assert changes(["name", "age"], ["swab", "4"])[1] == [
        "2 age: A file cannot change this column. Leave it as it was."
    ]
