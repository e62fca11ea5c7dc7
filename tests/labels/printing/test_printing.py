"""Sheets of labels as PDF: read back, in their cells, selectable, streamed."""

import gc
import io
import re
import tracemalloc
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from kits.rules.lookup.label_codes import is_valid, parse
from labels.printing import Job, PublicAddressMissing, ReadBackFailed, readback, sheet_pdf
from labels.printing.fonts import FontFiles, FontUnreadable, typeface
from labels.rules.layout.calibration import Offset
from labels.rules.layout.contents import BlankLabel, KitLabel
from labels.rules.layout.layout import CellTooSmall
from labels.rules.layout.sheets import SHEETS, Cell, Sheet, SheetError, grid
from tests.labels.printing.printed import (
    ADDRESS,
    JOB,
    new_codes,
    one_of_each,
    pages,
    printed,
    read,
    says,
    texts,
)

sheets = pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)


@sheets
def test_every_symbol_reads_from_the_page_and_stands_in_its_cell(sheet: Any) -> None:
    labels = one_of_each()
    pdf = printed(sheet, labels)
    dpi = 300
    left = list(labels)
    for page in pages(pdf, dpi):
        here = [left.pop(0) for _ in range(min(sheet.cells, len(left)))]
        found = dict(read(page))
        assert set(found) == {says(label.code) for label in here}
        for number, label in enumerate(here, start=1):
            cell = sheet.cell(number)
            x, y = (side * 25.4 / dpi for side in found[says(label.code)])
            assert cell.left_mm < x < cell.right_mm
            assert cell.top_mm < y < cell.bottom_mm
    assert not left


@sheets
def test_no_ink_leaves_its_cell(sheet: Any) -> None:
    dpi = 150
    scale = dpi / 25.4
    image = pages(printed(sheet, one_of_each()[: sheet.cells]), dpi)[0]
    for number in range(1, sheet.cells + 1):
        cell = sheet.cell(number)
        top, bottom = int(cell.top_mm * scale), int(np.ceil(cell.bottom_mm * scale))
        left, right = int(cell.left_mm * scale), int(np.ceil(cell.right_mm * scale))
        image[top : bottom + 1, left : right + 1] = 255
    if sheet.cut:  # the cutting marks stand in the margins, and nothing else does
        first, last = sheet.cell(1), sheet.cell(sheet.cells)
        image[: int(first.top_mm * scale)] = 255
        image[int(last.bottom_mm * scale) :] = 255
        image[:, : int(first.left_mm * scale)] = 255
        image[:, int(last.right_mm * scale) :] = 255
    assert (image > 200).all()


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    sheet=st.sampled_from(list(SHEETS.values())),
    names=st.lists(st.text(max_size=60), min_size=1, max_size=12),
    room=st.text(max_size=60),
    seed=st.integers(0, 10_000),
)
def test_any_names_on_any_sheet_are_printed_and_read_back(
    sheet: Any, names: list[Any], room: str, seed: int
) -> None:
    codes = new_codes(seed)
    labels = [KitLabel(next(codes), name, room) for name in names]
    found = [text for page in pages(printed(sheet, labels), 300) for text, _ in read(page)]
    assert sorted(found) == sorted(says(label.code) for label in labels)


def test_text_can_be_selected_and_says_what_is_printed() -> None:
    (page,) = texts(printed(SHEETS["a4-3x7"], one_of_each()))
    for text in (
        "EXPED-02 long walk",
        "Cave hut",
        "Gauze swab 10 × 10 cm, sterile",
        "MAY 2027",
        "Expiry 31 May 2027",
        "LOT B2291-07",
        "Ножницы для одежды",
        "Ράφι Β3",
        "Umberfell Outdoor School",
        "FIRST EXPIRY 31 MAY 2027",
        "Seal 417, by Jo",
    ):
        assert text in page
    codes = {parse(word) for word in re.findall(r"\w{4}-\w{4}", page)} - {None}
    assert {label.code for label in one_of_each()} <= codes


def test_the_document_has_title_language_embedded_fonts_and_only_vectors() -> None:
    job = Job(ADDRESS, title="Kits of the main store", language="de-AT")
    pdf = printed(SHEETS["a4-3x7"], one_of_each(), job)
    document = pypdfium2.PdfDocument(pdf)
    assert document.get_metadata_dict()["Title"] == "Kits of the main store"
    assert b"/Lang (de-AT)" in pdf
    assert b"/DisplayDocTitle true" in pdf
    assert b"/PrintScaling /None" in pdf
    assert len(re.findall(rb"/FontFile2 \d+ 0 R", pdf)) == len(
        re.findall(rb"/FontDescriptor\b(?! )", pdf)
    )
    kinds = {item.type for item in document[0].get_objects()}
    assert pypdfium2.raw.FPDF_PAGEOBJ_IMAGE not in kinds
    assert pypdfium2.raw.FPDF_PAGEOBJ_PATH in kinds


def test_pages_have_the_size_of_the_paper() -> None:
    for key, points in (("a4-3x7", (595.3, 841.9)), ("letter-2x5", (612, 792)),
                        ("roll-62x29", (175.7, 82.2))):  # fmt: skip
        page = pypdfium2.PdfDocument(printed(SHEETS[key], one_of_each()))[0]
        assert page.get_size() == pytest.approx(points, abs=0.1)


def test_a_begun_sheet_starts_at_the_cell_asked_for_and_copies_follow_one_another() -> None:
    sheet = SHEETS["a4-3x7"]
    one, other = one_of_each()[:2]
    first, second = pages(printed(sheet, [one, other], start_cell=20, copies=2), 300)
    scale = 300 / 25.4
    for image, meant in ((first, {20: one, 21: one}), (second, {1: other, 2: other})):
        for number in range(1, 22):
            cell = sheet.cell(number)
            part = image[
                int(cell.top_mm * scale) : int(cell.bottom_mm * scale),
                int(cell.left_mm * scale) : int(cell.right_mm * scale),
            ]
            found = [text for text, _ in read(np.ascontiguousarray(part))]
            assert found == ([says(meant[number].code)] if number in meant else [])


def test_labels_are_sorted_where_asked() -> None:
    codes = new_codes()
    labels = [KitLabel(next(codes), name) for name in ("DAY-10", "DAY-9", "DAY-1")]
    (page,) = texts(printed(SHEETS["a4-3x7"], labels, order="name"))
    assert re.findall(r"DAY-\d+", page) == ["DAY-1", "DAY-9", "DAY-10"]


def test_a_printers_correction_moves_and_stretches_the_print() -> None:
    sheet = SHEETS["a4-3x7"]
    labels = [BlankLabel(code) for code, _ in zip(new_codes(), range(21), strict=False)]
    plain = dict(read(pages(printed(sheet, labels), 300)[0]))
    offset = Offset(dx_mm=2.0, dy_mm=-1.5, scale_x=1.01, scale_y=0.99)
    moved = dict(read(pages(printed(sheet, labels, offset=offset), 300)[0]))
    mm = 25.4 / 300
    for text, (x, y) in plain.items():
        assert moved[text][0] * mm == pytest.approx(x * mm * 1.01 + 2.0, abs=0.2)
        assert moved[text][1] * mm == pytest.approx(y * mm * 0.99 - 1.5, abs=0.2)


def test_real_labels_are_refused_while_the_public_address_is_not_set() -> None:
    with pytest.raises(PublicAddressMissing, match="GEARROOM_PUBLIC_URL"):
        Job("")


@pytest.mark.parametrize("address", ["", ADDRESS])
@sheets
def test_a_preview_says_so_and_its_symbols_resolve_to_nothing(sheet: Any, address: str) -> None:
    job = Job(address, "Umberfell Outdoor School", preview=True)
    labels = one_of_each()
    pdf = printed(sheet, labels, job)
    for text in texts(pdf):
        assert "PREVIEW – not for use" in text
    for text, _ in (found for page in pages(pdf, 300) for found in read(page)):
        assert not is_valid(text.rpartition("/")[2])
        assert parse(text.rpartition("/")[2]) is None
    every = " ".join(texts(pdf))
    assert not any(f"{label.code[:4]}-{label.code[4:]}" in every for label in labels)


def test_a_preview_shows_the_symbol_in_the_size_that_it_will_have() -> None:
    job = Job(ADDRESS, preview=True)
    label = KitLabel(next(new_codes()), "DAY-01")
    assert job.symbol(label.code).modules == JOB.symbol(label.code).modules


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("gear.example", "must start with https://"),
        ("https://gear.example/room", "without a path"),
        ("https://gear_room.example", "letters, digits, dots and hyphens"),
    ],
)
def test_an_address_that_a_symbol_cannot_say_is_refused(address: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        printed(SHEETS["a4-3x7"], one_of_each(), Job(address))


def test_a_cell_too_small_is_refused_with_the_size_that_would_fit() -> None:
    sheet = grid("x", "X", (210, 297), 10, 10, (15, 15))
    with pytest.raises(CellTooSmall, match=r"at least \d+\.\d × \d+\.\d mm"):
        printed(sheet, one_of_each())


@pytest.mark.parametrize(
    ("options", "error", "said"),
    [
        ({"start_cell": 22}, SheetError, "labels 1 to 21"),
        ({"start_cell": 0}, SheetError, "labels 1 to 21"),
        ({"copies": 0}, ValueError, "between 1 and 100 copies"),
        ({"copies": 101}, ValueError, "between 1 and 100 copies"),
    ],
)
def test_wrong_requests_are_refused_with_what_to_do(
    options: dict[str, Any], error: type[SheetError] | type[ValueError], said: str
) -> None:
    with pytest.raises(error, match=said):
        printed(SHEETS["a4-3x7"], one_of_each(), **options)


def test_nothing_to_print_and_codes_that_are_none_are_refused() -> None:
    with pytest.raises(ValueError, match="nothing to print"):
        printed(SHEETS["a4-3x7"], [])
    with pytest.raises(ValueError, match="not a label code"):
        printed(SHEETS["a4-3x7"], [BlankLabel("ABCDEFGH")])


# ------------------------------------------------------------------------------------ reading back
def cells_of(sheet: Sheet, labels: Any) -> list[tuple[Cell, str]]:
    meant = [(sheet.cell(n), says(label.code)) for n, label in enumerate(labels, start=1)]
    return meant + [(sheet.cell(n), "") for n in range(len(labels) + 1, sheet.cells + 1)]


def test_reading_back_counts_what_it_read() -> None:
    sheet, labels = SHEETS["a4-3x7"], one_of_each()
    pdf = io.BytesIO(printed(sheet, labels))
    assert readback.check_pdf(pdf, [cells_of(sheet, labels)]) == sheet.cells


@pytest.mark.parametrize("fault", ["other", "missing", "extra", "swapped"])
def test_a_symbol_that_is_other_missing_extra_or_swapped_is_an_error(fault: str) -> None:
    sheet, labels = SHEETS["a4-3x7"], one_of_each()
    pdf = io.BytesIO(printed(sheet, labels))
    expected = cells_of(sheet, labels)
    if fault == "other":
        expected[2] = (expected[2][0], says(next(new_codes(99))))
    elif fault == "missing":
        expected[20] = (expected[20][0], says(labels[0].code))
    elif fault == "extra":
        expected[0] = (expected[0][0], "")
    else:
        (one, first), (other, second) = expected[:2]
        expected[:2] = [(one, second), (other, first)]
    with pytest.raises(ReadBackFailed, match="could not be read back correctly"):
        readback.check_pdf(pdf, [expected])


def test_a_page_too_many_or_too_few_is_an_error() -> None:
    sheet, labels = SHEETS["roll-25x25"], one_of_each()[:2]
    pdf = io.BytesIO(printed(sheet, labels))
    one = [(Cell(0, 0, 25, 25), says(labels[0].code))]
    with pytest.raises(ValueError, match="zip"):
        readback.check_pdf(pdf, [one])


def test_nothing_is_handed_over_where_reading_back_fails() -> None:
    # A printer's correction that pushes the outermost labels off the paper cuts their symbols.
    out = io.BytesIO()
    with pytest.raises(ReadBackFailed) as failure:
        sheet_pdf(
            SHEETS["a4-5x13"],
            [BlankLabel(code) for code, _ in zip(new_codes(), range(65), strict=False)],
            out=out,
            job=JOB,
            offset=Offset(dx_mm=-9.0),
        )
    assert out.getvalue() == b""
    assert {page for page, _, _ in failure.value.wrong} == {1}
    assert len(failure.value.wrong) == 13


# --------------------------------------------------------------------------------- fonts, streaming
def test_a_font_of_ones_own_is_used_and_a_missing_one_is_named(tmp_path: Path) -> None:
    bold = FontFiles().bold
    own = FontFiles(regular=bold, bold=bold)
    job = Job(ADDRESS, files=own)
    assert b"FiraSansCondensed-Medium" not in printed(SHEETS["a4-3x7"], one_of_each(), job)
    with pytest.raises(FontUnreadable, match=r"none\.ttf"):
        typeface(FontFiles(regular=tmp_path / "none.ttf", bold=bold))
    broken = tmp_path / "broken.ttf"
    broken.write_bytes(b"not a font at all")
    with pytest.raises(FontUnreadable, match=r"name a \.ttf file"):
        typeface(FontFiles(regular=broken, bold=bold))


def test_memory_does_not_grow_with_the_number_of_labels(tmp_path: Path) -> None:
    codes, held = new_codes(), []

    def labels() -> Iterator[BlankLabel]:
        for number in range(1301):
            if number in (325, 1300):
                gc.collect()
                held.append(tracemalloc.get_traced_memory()[0])
            yield BlankLabel(next(codes))

    job = Job(ADDRESS, "Umberfell Outdoor School", read_back=False)
    tracemalloc.start()
    try:
        with (tmp_path / "labels.pdf").open("wb") as out:
            sheet_pdf(SHEETS["a4-5x13"], labels(), out=out, job=job)
    finally:
        tracemalloc.stop()
    # What is kept of a label is its code, of a page a line; a label's painting is 2 kB and more.
    assert held[1] - held[0] < 975 * 200


def test_two_sheets_at_the_same_time_do_not_disturb_each_other() -> None:
    from concurrent.futures import ThreadPoolExecutor

    batches = [one_of_each(seed) for seed in range(6)]
    with ThreadPoolExecutor(3) as pool:
        pdfs = list(pool.map(lambda labels: printed(SHEETS["a4-3x7"], labels), batches))
    for labels, pdf in zip(batches, pdfs, strict=True):
        found = {text for text, _ in read(pages(pdf, 300)[0])}
        assert found == {says(label.code) for label in labels}
