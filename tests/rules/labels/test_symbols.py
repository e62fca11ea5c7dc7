"""QR symbols: smallest version, correction Q, lowest-penalty mask, and how large a module is."""

import random
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
import zxingcpp
from hypothesis import given, strategies as st

from labels.rules.layout.symbols import (
    QUIET_MODULES,
    SMALLEST_MODULE_MM,
    SymbolTooSmall,
    encode,
    module_mm,
    smallest_side_mm,
)

# ISO/IEC 18004:2015, table 7: characters of alphanumeric mode that versions 1, 2, … hold at Q.
CAPACITY_Q = (16, 29, 47, 67, 87, 108, 125, 157)

# ISO/IEC 18004:2015, table 10: mask conditions, i the row and j the column.
MASKS = (
    lambda i, j: (i + j) % 2 == 0,
    lambda i, j: i % 2 == 0,
    lambda i, j: j % 3 == 0,
    lambda i, j: (i + j) % 3 == 0,
    lambda i, j: (i // 2 + j // 3) % 2 == 0,
    lambda i, j: (i * j) % 2 + (i * j) % 3 == 0,
    lambda i, j: ((i * j) % 2 + (i * j) % 3) % 2 == 0,
    lambda i, j: ((i + j) % 2 + (i * j) % 3) % 2 == 0,
)
ALIGNMENT = {1: (), 2: (6, 18), 3: (6, 22), 4: (6, 26), 5: (6, 30), 6: (6, 34)}


def payload(length: int, seed: Any) -> str:
    draw = random.Random(seed)
    letters = "23456789BCDFGHJKNPRSTVX"
    head = "HTTPS://GEAR.EXAMPLE/L/"
    return (head + "".join(draw.choice(letters) for _ in range(length)))[:length]


def format_bits(correction: int, mask: int) -> list[Any]:
    """Return the 15 format bits, most significant first (annex C: BCH(15,5), then masked)."""
    value = correction << 3 | mask
    remainder = value << 10
    for place in range(14, 9, -1):
        if remainder >> place & 1:
            remainder ^= 0b10100110111 << (place - 10)
    word = (value << 10 | remainder) ^ 0b101010000010010
    return [word >> place & 1 for place in range(14, -1, -1)]


def format_places(size: int) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
    """Return where the 15 format bits stand, twice (figure 25), as (row, column)."""
    around = [(8, c) for c in (0, 1, 2, 3, 4, 5, 7, 8)] + [(r, 8) for r in (7, 5, 4, 3, 2, 1, 0)]
    apart = [(size - 1 - k, 8) for k in range(7)] + [(8, size - 8 + k) for k in range(8)]
    return around, apart


def data_modules(size: int) -> Any:
    """Return where data may stand: not finders, timing, alignment nor format information."""
    free = np.ones((size, size), bool)
    free[:9, :9] = free[:9, size - 8 :] = free[size - 8 :, :9] = False
    free[6, :] = free[:, 6] = False
    centres = ALIGNMENT[(size - 17) // 4]
    for row in centres:
        for column in centres:
            corners = ((6, 6), (6, size - 7), (size - 7, 6))
            if (row, column) not in corners:
                free[row - 2 : row + 3, column - 2 : column + 3] = False
    return free


def penalty(dark: Any) -> int:
    """Score a symbol as 7.8.3.1 does, the quiet zone counted as light."""
    size, points = len(dark), 0
    for lines in (dark, dark.T):
        for line in lines:
            text = "".join("#" if module else "." for module in line)
            run, before = 0, ""
            for module in text + "|":
                if module != before:
                    points += run - 2 if run >= 5 else 0
                    run = 0
                run, before = run + 1, module
            wide = "...." + text + "...."
            for start in range(len(wide) - 6):
                if wide[start : start + 7] == "#.###.#":
                    beside = (wide[start - 4 : start], wide[start + 7 : start + 11])
                    points += 40 if "...." in beside else 0
    same = (dark[:-1, :-1] == dark[1:, :-1]) & (dark[:-1, :-1] == dark[:-1, 1:])
    points += 3 * int((same & (dark[:-1, :-1] == dark[1:, 1:])).sum())
    return points + int(abs(dark.sum() / size**2 * 100 - 50) / 5) * 10


def remasked(dark: Any, used: int, wanted: int) -> Any:
    """Return the symbol as it would be with another mask."""
    other, size = dark.copy(), len(dark)
    for row, column in zip(*np.nonzero(data_modules(size)), strict=True):
        other[row, column] ^= MASKS[used](row, column) ^ MASKS[wanted](row, column)
    for places in format_places(size):
        for place, bit in zip(places, format_bits(0b11, wanted), strict=True):
            other[place] = bool(bit)
    return other


def read_format(dark: Any) -> Iterator[tuple[int, int]]:
    """Return (correction, mask) of a symbol, from both copies of its format information."""
    for places in format_places(len(dark)):
        bits = [int(dark[place]) for place in places]
        found = [(c, m) for c in range(4) for m in range(8) if format_bits(c, m) == bits]
        yield found[0]


@pytest.mark.parametrize("length", [16, 29, 30, 47, 48, 67, 87, 88, 108])
def test_it_is_the_smallest_version_that_holds_the_payload_at_correction_q(length: int) -> None:
    version = next(n for n, most in enumerate(CAPACITY_Q, start=1) if length <= most)
    symbol = encode(payload(length, length))
    assert symbol.modules == 17 + 4 * version
    assert {correction for correction, _ in read_format(symbol.dark)} == {0b11}


@pytest.mark.parametrize("length", [29, 43, 60])
@pytest.mark.parametrize("seed", range(8))
def test_its_mask_has_the_lowest_penalty_of_all_eight(length: int, seed: Any) -> None:
    dark = encode(payload(length, seed)).dark
    _, used = next(read_format(dark))
    penalties = [penalty(remasked(dark, used, wanted)) for wanted in range(8)]
    assert (remasked(dark, used, used) == dark).all()
    assert penalties[used] == min(penalties)


@pytest.mark.parametrize("seed", range(20))
def test_it_reads_back_as_what_it_was_made_of(seed: Any) -> None:
    symbol = encode(payload(43, seed))
    image = np.where(np.pad(symbol.dark, QUIET_MODULES), 0, 255).astype(np.uint8)
    image = np.kron(image, np.ones((3, 3), np.uint8))
    assert [found.text for found in zxingcpp.read_barcodes(image)] == [symbol.payload]


def test_its_runs_paint_exactly_its_dark_modules() -> None:
    symbol = encode(payload(43, 1))
    painted = np.zeros_like(symbol.dark)
    for column, row, length in symbol.runs():
        assert not painted[row, column : column + length].any()
        painted[row, column : column + length] = True
    assert (painted == symbol.dark).all()


def test_it_refuses_to_say_nothing() -> None:
    with pytest.raises(ValueError, match="something to say"):
        encode("")


@given(
    modules=st.integers(5, 13).map(lambda version: 4 * version + 9),
    side=st.floats(5, 120),
    dpi=st.sampled_from([203, 300, 600]),
)
def test_a_module_is_whole_dots_fits_and_is_never_under_forty_hundredths(
    modules: Any, side: float, dpi: Any
) -> None:
    try:
        module = module_mm(modules, side, dpi)
    except SymbolTooSmall as refusal:
        assert refusal.needed_mm > side
        assert module_mm(modules, refusal.needed_mm, dpi) >= SMALLEST_MODULE_MM
        return
    assert module >= SMALLEST_MODULE_MM
    assert module * modules <= side + 1e-4
    assert module * dpi / 25.4 == pytest.approx(round(module * dpi / 25.4))


def test_a_refusal_names_the_size_that_would_fit() -> None:
    with pytest.raises(SymbolTooSmall, match=r"needs a square of 15\.7 mm"):
        module_mm(37, 15.0)
    assert smallest_side_mm(37) == pytest.approx(15.66, abs=0.01)
