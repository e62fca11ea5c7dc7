"""Where things stand on a label: nothing overlaps, nothing leaves, nothing is too small to read."""

import itertools
import math
from datetime import date
from typing import Any

import pytest
from hypothesis import given, strategies as st

from kits.rules.lookup import label_codes
from labels.printing.fonts import typeface
from labels.rules.codes.texts import PREVIEW_MARK, Expiry
from labels.rules.layout import contents
from labels.rules.layout.contents import (
    BlankLabel,
    KitLabel,
    KitTag,
    LotLabel,
    PersonTag,
    SectionLabel,
    ShelfLabel,
    ordered,
)
from labels.rules.layout.layout import CellTooSmall, Layout, Space, lay_out
from labels.rules.layout.sheets import SHEETS, Cell
from labels.rules.layout.symbols import SMALLEST_MODULE_MM, encode
from labels.rules.layout.typesetting import fit_lines, missing, printable, wrap
from tests.present import present

CODE = "9C5GK64D"
ADDRESS = "https://gear.umberfell.example"
TYPEFACE = typeface()

texts = st.one_of(
    st.text(max_size=80),
    st.text(st.characters(codec="utf-8", categories=["Lu", "Ll", "Nd", "Zs"]), max_size=60),
    st.sampled_from(
        [
            "DAY-01",
            "Gauze swab 10 × 10 cm, sterile",
            "Donaudampfschifffahrtsgesellschaftskapitänserstehilfetasche",
            "Аптечка первой помощи, большая",
            "Φαρμακείο πρώτων βοηθειών",
            "W" * 200,
            "",
            "\u0301" * 30,
            "a\n\tb\x00c",
        ]
    ),
)
expiries = st.one_of(
    st.dates(date(2000, 1, 1), date(2099, 12, 31)).map(Expiry),
    st.just(Expiry(None, needed=True)),
    st.just(Expiry(None, needed=False)),
)
labels = st.one_of(
    st.builds(KitLabel, st.just(CODE), texts, texts, st.booleans()),
    st.builds(SectionLabel, st.just(CODE), texts, texts, st.booleans()),
    st.builds(LotLabel, st.just(CODE), texts, texts, expiries),
    st.builds(ShelfLabel, st.just(CODE), texts, texts),
    st.builds(PersonTag, st.just(CODE), texts, texts),
    st.builds(BlankLabel, st.just(CODE)),
    st.builds(KitTag, st.just(CODE), texts, st.none() | st.dates(), texts, texts, st.booleans()),
)
addresses = st.sampled_from(
    ["https://a.example", ADDRESS, "https://gear-room.outdoor-school.umberfell.example:8443"]
)


def laid_out(
    label: Any,
    sheet: Any,
    *,
    address: str = ADDRESS,
    organisation: str = "Umberfell Outdoor School",
    **more: Any,
) -> Layout:
    symbol = encode(label_codes.payload(address, CODE))
    more.setdefault("code_text", label_codes.shown(CODE))
    space = sheet if isinstance(sheet, Space) else Space.of(sheet)
    return lay_out(label, symbol, space, TYPEFACE, organisation=organisation, **more)


def shown(layout: Layout) -> set[Any]:
    return {line.field for line in layout.lines}


def text_of(layout: Layout, field: str) -> str:
    return " ".join(line.text for line in layout.lines if line.field == field)


def overlap(one: Cell, other: Cell) -> Any:
    return (
        min(one.right_mm, other.right_mm) - max(one.left_mm, other.left_mm) > 1e-6
        and min(one.bottom_mm, other.bottom_mm) - max(one.top_mm, other.top_mm) > 1e-6
    )


def assert_sound(layout: Layout, space: Space) -> None:
    inner = space.inner
    boxes = [layout.symbol_box, *layout.bands]
    boxes += [line.box for line in layout.lines if not line.inverse]
    for box in (*boxes, *(line.box for line in layout.lines)):
        assert box.left_mm >= inner.left_mm - 1e-6
        assert box.top_mm >= inner.top_mm - 1e-6
        assert box.right_mm <= inner.right_mm + 1e-6
        assert box.bottom_mm <= inner.bottom_mm + 1e-6
    for one, other in itertools.combinations(boxes, 2):
        assert not overlap(one, other), (one, other)
    for line in layout.lines:
        face = TYPEFACE.face(line.bold)
        assert line.em_mm * face.x_height >= 1.2 - 1e-9
        assert line.box.width_mm == pytest.approx(face.width(line.text) * line.em_mm)
    assert layout.module_mm >= SMALLEST_MODULE_MM
    side = layout.module_mm * (layout.symbol.modules + 8)
    assert layout.symbol_box.width_mm == pytest.approx(side)


@given(
    label=labels,
    sheet=st.sampled_from(list(SHEETS.values())),
    organisation=texts,
    address=addresses,
    dpi=st.sampled_from([203, 300, 600]),
)
def test_any_text_on_any_sheet_stays_in_its_cell_apart_and_legible(
    label: Any, sheet: Any, organisation: str, address: str, dpi: Any
) -> None:
    space = Space.of(sheet, dpi)
    try:
        layout = laid_out(label, space, organisation=organisation, address=address)
    except CellTooSmall as refusal:
        assert (refusal.needed_mm[0] > space.width_mm) or (refusal.needed_mm[1] > space.height_mm)
        return
    assert_sound(layout, space)
    assert text_of(layout, "code") == "9C5G-K64D"


@given(label=labels, width=st.floats(8, 150), height=st.floats(8, 150), address=addresses)
def test_a_cell_is_refused_with_a_size_that_would_do(
    label: Any, width: float, height: float, address: str
) -> None:
    space = Space(width, height)
    try:
        assert_sound(laid_out(label, space, address=address), space)
    except CellTooSmall as refusal:
        wide, high = refusal.needed_mm
        assert wide >= width
        assert high >= height
        laid_out(label, Space(wide, high), address=address)


@pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)
@pytest.mark.parametrize("month", range(1, 13))
def test_the_month_is_readable_across_the_store_where_the_cell_is_sixty_wide(
    sheet: Any, month: Any
) -> None:
    label = LotLabel(
        CODE, "Gauze swab, a rather long name for it", "B2291", Expiry(date(2028, month, 28))
    )
    layout = laid_out(label, sheet)
    if sheet.cell_width_mm < 60:
        return
    (line,) = (line for line in layout.lines if line.field == "band")
    assert line.text.endswith(" 2028")
    assert line.em_mm * TYPEFACE.bold.cap_height >= 6.0 - 1e-9


def test_the_use_by_date_is_in_words() -> None:
    layout = laid_out(LotLabel(CODE, "Saline", "L1", Expiry(date(2027, 5, 31))), SHEETS["a4-3x7"])
    assert text_of(layout, "expiry") == "Expiry 31 May 2027"
    assert text_of(layout, "band") == "MAY 2027"
    assert text_of(layout, "lot") == "LOT L1"


def test_no_date_needed_and_no_date_known_are_told_apart() -> None:
    needless = laid_out(LotLabel(CODE, "Shears", "7", Expiry(None, False)), SHEETS["a4-3x7"])
    unknown = laid_out(LotLabel(CODE, "Saline", "7", Expiry(None, True)), SHEETS["a4-3x7"])
    assert text_of(needless, "expiry") == "No expiry date"
    assert "band" not in shown(needless)
    assert text_of(unknown, "expiry") == "Expiry date not known: not for use in a kit"
    assert text_of(unknown, "band") == "NO DATE?"


def test_the_smallest_labels_are_symbol_and_code_alone() -> None:
    for label in (
        KitLabel(CODE, "DAY-01", "Main store"),
        LotLabel(CODE, "Saline", "L1", Expiry(date(2027, 5, 31))),
        PersonTag(CODE, "Ines Harrow"),
    ):
        assert shown(laid_out(label, SHEETS["roll-25x25"])) == {"code"}


@pytest.mark.parametrize(
    ("key", "fields"),
    [
        ("a4-3x7", {"item", "band", "expiry", "lot", "code"}),
        ("a4-5x13", {"item", "expiry", "lot", "code"}),
        ("roll-50x25", {"item", "band", "expiry", "lot", "code"}),
        ("roll-25x25", {"code"}),
    ],
)
def test_fields_drop_by_size_as_the_table_says(key: str, fields: set[str]) -> None:
    label = LotLabel(CODE, "Gauze swab 10 × 10 cm", "B2291-07", Expiry(date(2027, 5, 31)))
    assert shown(laid_out(label, SHEETS[key])) == fields


def test_a_kit_tag_says_its_first_expiry_its_seal_and_who_sealed_it() -> None:
    tag = KitTag(CODE, "WORK-01", date(2027, 5, 31), "417", "Jo")
    layout = laid_out(tag, SHEETS["tie-on-55x90"])
    assert text_of(layout, "name") == "WORK-01"
    assert text_of(layout, "first") == "FIRST EXPIRY"
    assert text_of(layout, "first_expiry") == "31 MAY 2027"
    assert text_of(layout, "seal") == "Seal 417, by Jo"
    assert layout.symbol_box.top_mm > present(layout.hole).depth_mm


@pytest.mark.parametrize("key", SHEETS)
@pytest.mark.parametrize(
    "label",
    [
        KitLabel(CODE, "TRAIN-01 long walk", "Main store", training=True),
        SectionLabel(CODE, "Wounds and burns", "TRAIN-01", training=True),
        KitTag(CODE, "TRAIN-01", date(2027, 5, 31), "417", "Jo", training=True),
    ],
)
def test_a_training_kit_is_labelled_as_such_wherever_its_name_is(label: Any, key: str) -> None:
    layout = laid_out(label, SHEETS[key])
    assert "first_aid" not in shown(layout)
    if "name" in shown(layout):
        assert text_of(layout, "training") == "TRAINING: not for emergencies"


def test_nothing_stands_in_the_hole() -> None:
    for key in ("tie-on-a4", "key-ring-a4"):
        layout = laid_out(PersonTag(CODE, "Ines Harrow", "Guide"), SHEETS[key])
        hole = SHEETS[key].hole
        edge = present(hole).centre_from_top_mm + present(hole).diameter_mm / 2
        assert all(line.box.top_mm >= edge + 1 for line in layout.lines)


def test_a_long_name_wraps_then_shrinks_then_ends_with_an_ellipsis() -> None:
    def name(text: str) -> list[Any]:
        layout = laid_out(KitLabel(CODE, text), SHEETS["roll-50x25"])
        return [line for line in layout.lines if line.field == "name"]

    short, longer, longest = name("DAY-01"), name("Long walk to the coast"), name("walk " * 60)
    assert len(short) == 1
    assert len(longer) > 1
    assert longer[0].em_mm < short[0].em_mm
    assert longest[-1].text.endswith("…")
    assert longest[0].em_mm == pytest.approx(TYPEFACE.bold.smallest_mm)


@pytest.mark.parametrize(
    "text", ["Größe Žluťoučký Łódź", "Αίθουσα εξοπλισμού", "Кладовая снаряжения Ґ"]
)
def test_latin_greek_and_cyrillic_are_printed_as_written(text: str) -> None:
    assert printable(text, TYPEFACE.bold) == text
    assert missing(text, TYPEFACE.bold) == ""


def test_what_the_font_lacks_is_seen_to_be_missing() -> None:
    assert printable("山 kit", TYPEFACE.bold) == "▯ kit"
    assert missing("山山 kit 薬", TYPEFACE.bold) == "山薬"


def test_a_measure_is_not_torn_apart() -> None:
    face = TYPEFACE.bold
    lines = wrap("Gauze swab 10 × 10 cm", face, face.width("Gauze swab 10"))
    assert lines == ["Gauze swab", "10 × 10 cm"]


def test_a_kits_number_stays_with_its_name() -> None:
    face = TYPEFACE.bold
    assert wrap("GROUP-01", face, face.width("GROUP-")) is None
    assert wrap("Tie-on GROUP-01", face, face.width("GROUP-01")) == ["Tie-on", "GROUP-01"]


@given(text=texts, width=st.floats(9, 120), most=st.integers(1, 4), largest=st.floats(0, 20))
def test_fitted_lines_are_never_wider_than_the_room_nor_more_than_asked(
    text: str, width: float, most: int, largest: float
) -> None:
    face = TYPEFACE.bold
    plain = printable(text, face)
    em, lines = fit_lines(plain, face, width_mm=width, largest_mm=largest, most_lines=most)
    assert em >= face.smallest_mm
    assert len(lines) <= most
    assert all(face.width(line) * em <= width + 1e-6 for line in lines)
    kept = "".join(lines).replace(" ", "").removesuffix("…")
    assert plain.replace(" ", "").startswith(kept)


def test_a_preview_says_so_even_on_the_smallest_label() -> None:
    layout = laid_out(KitLabel(CODE, "DAY-01"), SHEETS["roll-25x25"], code_text=str(PREVIEW_MARK))
    assert text_of(layout, "code") == str(PREVIEW_MARK)


def test_names_are_sorted_as_people_count() -> None:
    named = [KitLabel(CODE, name, room) for name, room in
             (("DAY-10", "A"), ("day-2", "B"), ("DAY-1", "B"))]  # fmt: skip
    by_name, by_room = [named[2], named[1], named[0]], [named[0], named[2], named[1]]
    assert ordered(named, "name") == by_name
    assert ordered(named, "room") == by_room
    assert list(ordered(named, "as-given")) == named


def test_every_kind_of_label_ends_with_its_code() -> None:
    for fields in contents.FIELDS.values():
        assert fields[-1].name == "code"
        assert fields[-1].from_mm == contents.ANY
        assert math.isclose(max(field.keep for field in fields), fields[-1].keep)


@pytest.mark.parametrize("key", ["tie-on-55x90", "tie-on-a4"])
@pytest.mark.parametrize("name", ["WORK-01", "EXPED-02 long walk", "walk " * 30])
def test_a_tie_on_tags_date_is_readable_across_the_store(key: str, name: str) -> None:
    layout = laid_out(KitTag(CODE, name, date(2028, 3, 30), "417", "Jo"), SHEETS[key])
    (line,) = (line for line in layout.lines if line.field == "first_expiry")
    assert line.em_mm * TYPEFACE.bold.cap_height >= 6.0 - 1e-9
