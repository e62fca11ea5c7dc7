"""The wall calendar on paper: every row is on some sheet, inside its cell."""

import io

import pypdfium2
import pytest
from hypothesis import given, settings, strategies as st

from labels.printing import wall_calendar_pdf
from labels.printing.fonts import typeface
from labels.rules.layout.wall_calendar import (
    PAPERS,
    CalendarLine,
    CalendarMonth,
    WallCalendar,
    place,
)
from tests.labels.printing.printed import JOB, texts

NAMES = [f"Month {number}" for number in range(1, 13)]


def calendar(*counts: int, text: str = "KIT-{}: Sterile dressing 10 × 10 cm × 2") -> WallCalendar:
    rows = [*counts, *([0] * (12 - len(counts)))]
    months = tuple(
        CalendarMonth(
            name,
            tuple(
                CalendarLine("30 Nov", text.format(f"{name[6:]}/{n}"), n % 3 == 0)
                for n in range(count)
            ),
        )
        for name, count in zip(NAMES, rows, strict=True)
    )
    return WallCalendar(
        "Expiry: Main store", "As of 28 November 2026", ("Check the tag.",), ("Of 1.",), months,
        "Nothing on record",
    )  # fmt: skip


def printed(of: WallCalendar, paper: str = "a4") -> bytes:
    out = io.BytesIO()
    wall_calendar_pdf(of, out=out, job=JOB, paper=PAPERS[paper])
    return out.getvalue()


@pytest.mark.parametrize(
    ("paper", "points"), [("a3", (1191, 842)), ("a4", (842, 595)), ("letter", (792, 612))]
)
def test_it_is_one_sheet_across_with_every_month_and_what_it_is(
    paper: str, points: tuple[int, int]
) -> None:
    pdf = printed(calendar(2, 0, 3), paper)
    (page,) = texts(pdf)
    for text in (*NAMES, "As of 28 November 2026", "Check the tag.", "Of 1.", "Nothing on record"):
        assert text in page
    assert "KIT-1/0: Sterile dressing" in page
    assert "sheet 1" not in page
    width, height = pypdfium2.PdfDocument(pdf)[0].get_size()
    assert (round(width), round(height)) == points


def test_what_does_not_fit_is_counted_in_its_month_and_stands_on_the_next_sheet() -> None:
    first, second = texts(printed(calendar(70, 1)))
    assert "On the next sheet:" in first
    assert "Month 1, continued" in second
    assert "sheet 2 of 2" in second
    assert "As of 28 November 2026" in second
    assert all(f"KIT-1/{n}:" in first + second for n in range(70))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.integers(0, 90), min_size=12, max_size=12),
    st.sampled_from(sorted(PAPERS)),
    st.sampled_from(["{}: A", "{}: " + "Sterile dressing " * 6, "{}" + "x" * 90]),
)
def test_no_row_is_lost_and_none_leaves_its_place(counts: list[int], paper: str, text: str) -> None:
    on = PAPERS[paper]
    of = calendar(*counts, text=text)
    placed = place(of, on, typeface(), top_mm=30, bottom_mm=on.height_mm - 15, speak=str)
    assert sum(row.tick for row in placed.rows) == sum(counts)
    assert {row.page for row in placed.rows} == set(range(placed.pages))
    for row in placed.rows:
        top, bottom = (30.0, on.height_mm - 15)
        if row.page == 0:
            cell = next(
                c for c in placed.cells
                if c.left_mm <= row.left_mm < c.left_mm + c.width_mm
                and c.top_mm <= row.baseline_mm < c.top_mm + c.height_mm
            )  # fmt: skip
            top, bottom = cell.top_mm, cell.top_mm + cell.height_mm
        assert top < row.baseline_mm - row.em_mm * 0.5
        assert row.baseline_mm + row.em_mm * 0.2 < bottom
        face = typeface().face(row.bold)
        assert row.text_left_mm + face.width(row.text) * row.em_mm <= row.right_mm + 0.01
    baselines = [(row.page, row.left_mm, round(row.baseline_mm, 3)) for row in placed.rows]
    assert len(set(baselines)) == len(baselines)
