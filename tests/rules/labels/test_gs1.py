"""Makers' codes: item, batch, expiry and count, and never a silent guess."""

from datetime import date
from typing import Any

import pytest
from hypothesis import given, strategies as st
from stdnum import ean

from labels.rules.codes import gs1
from labels.rules.codes.gs1 import FNC1, MakersCodeError, Pack

TODAY = date(2026, 11, 25)
GTIN = "09501101530003"


def read(text: Any, **options: Any) -> gs1.MakersCode:
    return gs1.parse(text, today=TODAY, **options)


def sure(text: str, **options: bool) -> Pack:
    code = read(text, **options)
    assert not code.confirm
    assert len(code.candidates) == 1
    return code.best


@pytest.mark.parametrize(
    ("text", "pack"),
    [
        (
            f"01{GTIN}172705311012AB-7{FNC1}30025",
            Pack(gtin=GTIN, expiry=date(2027, 5, 31), lot="12AB-7", count=25),
        ),
        (
            f"]d201{GTIN}17270500103344X",
            Pack(gtin=GTIN, expiry=date(2027, 5, 31), lot="3344X"),
        ),
        (f"01{GTIN}172802001077", Pack(gtin=GTIN, expiry=date(2028, 2, 29), lot="77")),
        (f"01{GTIN}10L-55|17270131", Pack(gtin=GTIN, expiry=date(2027, 1, 31), lot="L-55")),
        (f"(01){GTIN}(17)270131(10)A88", Pack(gtin=GTIN, expiry=date(2027, 1, 31), lot="A88")),
        (f"(01) {GTIN} (17) 270131 (10) A88", Pack(GTIN, date(2027, 1, 31), "A88")),
        (f"01 {GTIN} 17 270131 10 A88", Pack(GTIN, date(2027, 1, 31), "A88")),
        ("9501101530003", Pack(gtin=GTIN)),
        ("950110153000 3", Pack(gtin=GTIN)),
        ("]E09501101530003", Pack(gtin=GTIN)),
        ("96385074", Pack(gtin="00000096385074")),
        ("614141000036", Pack(gtin="00614141000036")),
        (f"01{GTIN}1124060110C4", Pack(gtin=GTIN, lot="C4", others=(("11", "240601"),))),
        (f"{FNC1}10A88{FNC1}17270131", Pack(lot="A88", expiry=date(2027, 1, 31))),
        (f"10A8817270131{FNC1}17270131", Pack(lot="A8817270131", expiry=date(2027, 1, 31))),
        (f"01{GTIN}<GS>10A<GS>21S1", Pack(gtin=GTIN, lot="A", serial="S1")),
        (f"02{GTIN}17290228{FNC1}3712{FNC1}10B", Pack(GTIN, date(2029, 2, 28), "B", 12)),
        (f"01{GTIN}70032712312359{FNC1}10X", Pack(GTIN, date(2027, 12, 31), "X")),
        (
            f"https://id.example/01/{GTIN}/10/AB%2F1?17=270100",
            Pack(gtin=GTIN, expiry=date(2027, 1, 31), lot="AB/1"),
        ),
    ],
)
def test_it_reads_what_is_certain_without_asking(text: str, pack: Pack) -> None:
    assert sure(text) == pack


@pytest.mark.parametrize(
    ("text", "field"),
    [
        (f"01{GTIN}172713011012", "expiry"),
        (f"01{GTIN}172702301012", "expiry"),
        (f"(01){GTIN}(17)270431", "expiry"),
        (f"01{GTIN}112400011012", "date"),
        ("0109501101530004172701311012", "gtin"),
        ("9501101530004", "gtin"),
        ("]d20109501101530004", "gtin"),
        ("https://id.example/01/09501101530004", "gtin"),
        ("https://shop.example/plasters", "code"),
        (f"01{GTIN}8", "code"),
        (f"01{GTIN[:9]}", "code"),
        ("", "code"),
        ("plasters", "code"),
        ("30025", "code"),
    ],
)
def test_it_names_the_part_that_cannot_be_right_and_says_what_to_do(text: str, field: str) -> None:
    with pytest.raises(MakersCodeError) as refused:
        read(text)
    assert refused.value.field == field
    assert str(refused.value).endswith(".")


@pytest.mark.parametrize(
    ("text", "candidates"),
    [
        (
            f"01{GTIN}10A8817270131",
            [Pack(GTIN, date(2027, 1, 31), "A88"), Pack(GTIN, None, "A8817270131")],
        ),
        ("10B29117280630", [Pack(None, date(2028, 6, 30), "B291"), Pack(lot="B29117280630")]),
        ("10950110153000", [Pack(lot="950110153000"), Pack(lot="95011015", count=0)]),
        (
            f"01{GTIN}10A8817271301",
            [Pack(GTIN, None, "A8817271301"), Pack(GTIN, None, "A8817271", 1)],
        ),
        ("]d210A8817270131", [Pack(None, date(2027, 1, 31), "A88"), Pack(lot="A8817270131")]),
    ],
)
def test_where_fnc1_may_be_missing_it_offers_all_readings_the_fullest_first(
    text: str, candidates: list[Pack]
) -> None:
    code = read(text)
    assert code.confirm
    assert list(code.candidates) == candidates


def test_a_symbol_known_to_keep_fnc1_leaves_nothing_to_guess() -> None:
    assert sure(f"01{GTIN}10A8817270131", fnc1_kept=True) == Pack(GTIN, None, "A8817270131")


def test_an_eight_digit_code_that_two_standards_read_differently_is_asked_about() -> None:
    # The check digit holds as GTIN-8, and as UPC-E for 0 12345 00006 5.
    code = read("01234565")
    assert code.confirm
    assert [pack.gtin for pack in code.candidates] == ["00000001234565", "00012345000065"]


@pytest.mark.parametrize(
    ("yymmdd", "day"),
    [
        ("260100", date(2026, 1, 31)),
        ("280200", date(2028, 2, 29)),
        ("270200", date(2027, 2, 28)),
        ("760101", date(2076, 1, 1)),
        ("770101", date(1977, 1, 1)),
        ("991231", date(1999, 12, 31)),
        ("000101", date(2000, 1, 1)),
    ],
)
def test_dates_fall_in_the_sliding_window_and_day_00_is_the_months_last(
    yymmdd: str, day: date
) -> None:
    assert gs1.gs1_date(yymmdd, TODAY) == day


@given(st.integers(2000, 2099), st.integers(0, 99))
def test_the_window_runs_from_49_years_before_to_50_after(this_year: int, year: int) -> None:
    found = gs1.gs1_date(f"{year:02d}0100", date(this_year, 6, 1)).year
    assert found % 100 == year
    assert -49 <= found - this_year <= 50


CHARACTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcz0123456789-/.+_"
gtins = st.integers(0, 10**13 - 1).map(lambda n: f"{n:013d}{ean.calc_check_digit(f'{n:013d}')}")
dates = st.dates(date(2015, 1, 1), date(2045, 12, 31))
lots = st.text(CHARACTERS, min_size=1, max_size=20)


@st.composite
def packs(draw: Any) -> tuple[Pack, list[tuple[str, Any]]]:
    """A true pack and its elements in some order."""
    elements = []
    pack = {}
    if draw(st.booleans()):
        pack["gtin"] = draw(gtins)
        elements.append(("01", pack["gtin"]))
    pack["lot"] = draw(lots)
    rest = [("10", pack["lot"])]
    if draw(st.booleans()):
        pack["expiry"] = draw(dates)
        rest.append(("17", f"{pack['expiry']:%y%m%d}"))
    if draw(st.booleans()):
        pack["count"] = draw(st.integers(0, 99_999_999))
        rest.append(("30", str(pack["count"])))
    if draw(st.booleans()):
        pack["serial"] = draw(lots)
        rest.append(("21", pack["serial"]))
    elements += draw(st.permutations(rest))
    return Pack(**pack), elements


def written(elements: Any, separator: Any) -> str:
    """Write elements as a symbol does: FNC1 behind each of variable length but the last."""
    text = ""
    for place, (ai, value) in enumerate(elements):
        last = place == len(elements) - 1
        text += ai + value + ("" if last or ai in ("01", "17") else separator)
    return text


@given(packs(), st.sampled_from([FNC1, "|", "~", "^", "<GS>", "␝"]))
def test_with_fnc1_the_true_reading_is_the_only_one(truth: Any, separator: Any) -> None:
    pack, elements = truth
    text = written(elements, separator)
    if elements[0][0] == "30":
        text = "]C1" + text
    if text == written(elements, ""):
        code = read(text)
        assert pack in code.candidates
        assert code.confirm or code.candidates == (pack,)
    else:
        assert sure(text) == pack


@given(packs(), st.sampled_from(["", "]C1", "]d2", "]Q3"]))
def test_without_fnc1_the_true_reading_is_always_offered_and_never_taken_unasked(
    truth: Any, identifier: Any
) -> None:
    pack, elements = truth
    if elements[0][0] == "30":
        identifier = "]C1"
    code = read(identifier + written(elements, ""))
    assert pack in code.candidates
    if len(code.candidates) > 1:
        assert code.confirm
    assert len(set(code.candidates)) == len(code.candidates)


@given(gtins, dates, lots)
def test_an_expiry_behind_a_batch_is_offered_before_the_whole_run(
    gtin: str, expiry: date, lot: str
) -> None:
    text = f"01{gtin}10{lot}17{expiry:%y%m%d}"
    code = read(text)
    assert Pack(gtin, expiry, lot) in code.candidates
    assert code.best.expiry is not None
    assert code.confirm


@given(st.text(max_size=50))
def test_any_text_gives_candidates_or_the_named_error(text: str) -> None:
    try:
        code = read(text)
    except MakersCodeError as error:
        assert error.field in ("gtin", "expiry", "date", "code")
    else:
        assert code.candidates
        assert code.confirm or len(code.candidates) == 1


@given(st.text("0123456789", max_size=40))
def test_any_digits_give_candidates_or_the_named_error(text: str) -> None:
    try:
        assert read(text).candidates
    except MakersCodeError as error:
        assert error.field
