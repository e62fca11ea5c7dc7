"""Lid cards, sign-out sheets, test pages."""

import io
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Any, Literal

import numpy as np
import pypdfium2
import pytest
from django.utils import translation
from hypothesis import given, strategies as st

from kits.services.text.wording import in_words
from labels.printing import (
    CardTooLong,
    Job,
    calibration_page_pdf,
    lid_card_pdf,
    sign_out_sheet_pdf,
)
from labels.printing.fonts import typeface
from labels.rules.codes.texts import Expiry
from labels.rules.layout.calibration import Offset
from labels.rules.layout.cards import CardItem, Column, LidCard, ListEntry, Pouch, SignOutKit, flow
from labels.rules.layout.contents import LotLabel
from labels.rules.layout.layout import Space
from labels.rules.layout.sheets import SHEETS
from tests.labels.printing.printed import ADDRESS, JOB, new_codes, pages, read, says, texts

POUCHES = (
    Pouch("Bleeding", (CardItem("Pressure dressing 10 × 18 cm", 4), CardItem("Plasters", None))),
    Pouch("Bones and joints", (CardItem("Mouldable splint", 2), CardItem("Повязка", 3))),
)
Size = Literal["a5", "a4-folded"]
CARD = LidCard(next(new_codes(5)), "EXPED-01", "Main store", "Ines Harrow", "Tomasz Quill", POUCHES)


def lid_card(card: LidCard = CARD, size: Size = "a5", job: Job = JOB) -> bytes:
    out = io.BytesIO()
    count = lid_card_pdf(card, out=out, job=job, size=size)
    pdf = out.getvalue()
    assert len(pypdfium2.PdfDocument(pdf)) == count
    return pdf


@pytest.mark.parametrize("size", ["a5", "a4-folded"])
def test_a_lid_card_says_what_is_where_who_answers_for_it_and_what_to_mind(size: Size) -> None:
    pdf = lid_card(size=size)
    (page,) = texts(pdf)
    for text in (
        "EXPED-01",
        "Main store, Umberfell Outdoor School",
        "Responsible: Ines Harrow",
        "Deputy: Tomasz Quill",
        "Bleeding",
        "Pressure dressing 10 × 18 cm",
        "loose",
        "Повязка",
        "It is not medical advice.",
        "Check every pack before use",
        "Local rules apply to medicines, sharps and clinical waste.",
    ):
        assert text in page
    assert [text for text, _ in read(pages(pdf, 300)[0])] == [says(CARD.code)]


@pytest.mark.parametrize("size", ["a5", "a4-folded"])
def test_only_a_training_kits_lid_card_says_what_it_is_not_for(size: Size) -> None:
    mark = "TRAINING: not for emergencies"
    (page,) = texts(lid_card(replace(CARD, training=True), size))
    assert mark in page
    assert mark not in texts(lid_card(size=size))[0]


def test_a_lid_card_has_no_dates() -> None:
    (page,) = texts(lid_card())
    assert not any(word in page for word in ("Expiry", "FIRST EXPIRY", "202"))


@pytest.mark.parametrize("size", ["a5", "a4-folded"])
def test_a_long_list_goes_on_on_a_further_page_and_loses_nothing(size: Size) -> None:
    things = tuple(CardItem(f"Thing number {number}", number) for number in range(1, 200))
    card = replace(CARD, pouches=(Pouch("One large pouch", things),))
    pdf = lid_card(card, size)
    every = " ".join(texts(pdf))
    assert len(texts(pdf)) > 1
    assert all(f"Thing number {number}" in every for number in range(1, 200))
    assert "One large pouch, continued" in every


def test_a_list_longer_than_any_card_is_refused() -> None:
    things = tuple(CardItem(f"Thing number {number}", 1) for number in range(5000))
    with pytest.raises(CardTooLong, match="more items than fit on a lid card"):
        lid_card(replace(CARD, pouches=(Pouch("All", things),)))


def test_a_lid_card_of_a_nameless_empty_kit_still_prints() -> None:
    pdf = lid_card(LidCard(CARD.code, "", "", "", "", ()))
    assert [text for text, _ in read(pages(pdf, 300)[0])] == [says(CARD.code)]


@given(
    words=st.lists(st.text(min_size=1, max_size=50), min_size=1, max_size=40),
    em=st.floats(2.3, 5.0),
    width=st.floats(30, 90),
    height=st.floats(40, 200),
)
def test_a_list_stays_in_its_columns_and_keeps_its_order(
    words: list[Any], em: float, width: float, height: float
) -> None:
    face = typeface()
    columns = [Column(page, 10.0, 20.0, width, height) for page in range(40)]
    lines = [ListEntry(f"#{n} {word}", "1 ×", heading=n % 7 == 0) for n, word in enumerate(words)]
    rows = flow(lines, columns, face, em)
    if rows is None:
        return
    for row in rows:
        width_of_row = face.face(row.bold).width(row.text) * row.em_mm
        assert row.left_mm >= 10.0
        assert row.left_mm + width_of_row <= 10.0 + width + 1e-6
        assert 20.0 < row.baseline_mm <= 20.0 + height
    places = [(row.page, row.baseline_mm) for row in rows]
    assert places == sorted(places)
    order = [row.text.split(" ")[0] for row in rows if row.text.startswith("#")]
    assert [text for text in order if not text.endswith(",")][:1] == ["#0"]
    assert (rows[-1].text and not rows[-1].bold) or lines[-1].heading


def sign_out(
    names: list[Any], blank_rows: int = 3, job: Job = JOB
) -> tuple[list[SignOutKit], bytes]:
    codes = new_codes(8)
    kits = [SignOutKit(next(codes), name) for name in names]
    out = io.BytesIO()
    sign_out_sheet_pdf(kits, out=out, job=job, room="Main store", blank_rows=blank_rows)
    return kits, out.getvalue()


def test_a_sign_out_sheet_has_a_row_and_a_symbol_for_each_kit() -> None:
    kits, pdf = sign_out([f"DAY-{number:02}" for number in range(1, 13)])
    found = [text for page in pages(pdf, 300) for text, _ in read(page)]
    assert sorted(found) == sorted(says(kit.code) for kit in kits)
    every = " ".join(texts(pdf))
    for text in ("Sign-out sheet: Main store", "DAY-12", "Who (name, phone)", "Seal (back)"):
        assert text in every
    assert "page 1 of 2" in every


def test_neighbouring_symbols_of_a_sign_out_sheet_stand_left_and_right_in_turn() -> None:
    kits, pdf = sign_out(["A", "B", "C", "D"])
    found = dict(read(pages(pdf, 300)[0]))
    xs = [found[says(kit.code)][0] * 25.4 / 300 for kit in kits]
    assert abs(xs[0] - xs[2]) < 0.5
    assert xs[1] - xs[0] > 30


def test_a_long_public_address_makes_the_rows_of_a_sign_out_sheet_higher() -> None:
    address = "https://gear-room.outdoor-school.umberfell.example:8443"
    kits, pdf = sign_out(["DAY-01", "DAY-02"], job=Job(address))
    assert {text for text, _ in read(pages(pdf, 300)[0])} == {
        says(kit.code, address) for kit in kits
    }


def test_a_sign_out_sheet_without_kits_is_ruled_for_writing() -> None:
    _, pdf = sign_out([], blank_rows=0)
    (image,) = pages(pdf)
    assert read(image) == []
    assert (image < 120).sum() > 5000


def test_a_preview_of_a_card_says_so() -> None:
    job = Job("", preview=True)
    assert "PREVIEW – not for use" in texts(lid_card(job=job))[0]
    assert "PREVIEW – not for use" in texts(sign_out(["DAY-01"], job=job)[1])[0]


@pytest.mark.parametrize("key", ["a4-3x7", "letter-3x10", "roll-62x29", "roll-25x25"])
def test_the_test_pages_rulers_have_the_length_they_claim(key: str) -> None:
    out = io.BytesIO()
    meant = calibration_page_pdf(SHEETS[key], out=out, job=JOB)
    dpi = 600
    dark = pages(out.getvalue(), dpi)[0] < 100
    scale = dpi / 25.4
    across = longest_run(dark[round(meant.cross_mm * scale)])
    down = longest_run(dark[:, round(meant.cross_mm * scale)])
    arm = min(6.0, meant.cross_mm - 1.0)
    assert across / scale == pytest.approx(meant.across_mm + arm, abs=0.15)
    assert down / scale == pytest.approx(meant.down_mm + arm, abs=0.15)


def longest_run(line: Any) -> Any:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], line.astype(np.int8), [0]))))
    return (edges[1::2] - edges[::2]).max()


def test_the_test_page_moves_with_the_correction() -> None:
    out = io.BytesIO()
    calibration_page_pdf(SHEETS["a4-3x7"], out=out, job=JOB, offset=Offset(dx_mm=3.0, dy_mm=2.0))
    dark = pages(out.getvalue(), 300)[0] < 100
    scale = 300 / 25.4
    row = dark[round(17.0 * scale)]
    assert longest_run(row) / scale == pytest.approx(106.0, abs=0.3)
    assert "+3 mm across, +2 mm down" in texts(out.getvalue())[0]
    assert ADDRESS.upper() not in texts(out.getvalue())[0]


@pytest.fixture
def german() -> Iterator[Job]:
    with translation.override("de"):
        yield replace(JOB, language="de", speak=in_words)


def test_cards_and_sheets_are_printed_in_the_language_of_whoever_prints(german: Job) -> None:
    (card,) = texts(lid_card(job=german))
    (_, signing) = sign_out(["DAY-01"], job=german)
    out = io.BytesIO()
    calibration_page_pdf(SHEETS["key-ring-a4"], out=out, job=german, offset=Offset(dx_mm=0.5))

    for text in (
        "Verantwortlich: Ines Harrow",
        "lose",
        "kein medizinischer Rat",
        "Повязка",
    ):
        assert text in card
    assert "Plombe (zurück)" in texts(signing)[0]
    assert "Testseite: Schlüsselanhänger, A4-Karton" in texts(out.getvalue())[0]
    assert "+0,5 mm quer, +0 mm längs" in texts(out.getvalue())[0]


@pytest.mark.parametrize(
    ("month", "band", "name"),
    [(3, "MRZ 2027", "März"), (5, "MAI 2027", "Mai"), (12, "DEZ 2027", "Dezember")],
)
def test_a_batchs_band_keeps_the_month_first_in_every_language(
    german: Job, month: int, band: str, name: str
) -> None:
    label = LotLabel(CARD.code, "Saline", "L1", Expiry(date(2027, month, 1)))
    layout = german.lay_out(label, Space.of(SHEETS["a4-3x7"]))

    words = [line.text for line in layout.lines]
    assert band in words
    assert f"Verwendbar bis 1. {name} 2027" in " ".join(words)
