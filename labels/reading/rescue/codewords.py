"""Reading a QR symbol's codewords where some are known to be doubtful.

A decoder that is told only dark and light puts right half as many codewords as one that is told
which are likely wrong. So modules come with how sure they are, and the least sure codewords are
given to the Reed-Solomon decoder as erasures, a few more at a time. Four check symbols a block are
always left over to say that what came out is right; chance passes them once in four thousand
million tries.

Layout by ISO/IEC 18004: 7.7.3 codeword placement, 7.6 interleaving, 7.8 masks, 7.9 format.
"""

from functools import lru_cache

import numpy as np
import reedsolo
from qrcode.base import rs_blocks
from qrcode.util import BCH_type_info, mask_func, pattern_position

from labels.reading.front.results import Pixels
from labels.reading.rescue.modules import UNKNOWN, known_modules

SPARE = 4  # check symbols a block that must agree beyond what correcting took
reedsolo.init_tables(0x11D)


def corrected(dark: Pixels, sure: Pixels) -> Pixels | None:
    """Return all of a symbol's modules corrected, or None where too much is lost.

    `dark`: (size, size) bool; `sure`: (size, size), how sure each module is, in any unit.
    """
    size = len(dark)
    level, mask = _format(dark, sure)
    rows, columns = _placement(size)
    masked = _mask(size, mask)
    bits = (dark ^ masked)[rows, columns]
    count = len(bits) // 8
    codewords = np.packbits(bits[: count * 8])
    doubt = sure[rows, columns][: count * 8].reshape(count, 8).min(axis=1)
    for places, checks in _blocks((size - 17) // 4, level):
        if (right := _block(codewords[places], doubt[places], checks)) is None:
            return None
        codewords[places] = right
    whole = dark.copy()
    whole[rows[: count * 8], columns[: count * 8]] = np.unpackbits(codewords).astype(bool)
    whole[rows[: count * 8], columns[: count * 8]] ^= masked[rows, columns][: count * 8]
    known = known_modules(size)
    whole = np.where(known == UNKNOWN, whole, known == 1)
    for first, second, bit in _format_places(size, BCH_type_info(level << 3 | mask)):
        whole[first] = whole[second] = bit
    return whole


def _block(received: Pixels, doubt: Pixels, checks: int) -> Pixels | None:
    """Correct one block: without erasures first, then the least sure as erasures."""
    worst = np.argsort(doubt, kind="stable")
    for erased in range(0, checks - SPARE + 1, 2):
        places = [int(place) for place in worst[:erased]]
        try:
            message, check, wrong = reedsolo.rs_correct_msg(
                bytearray(received.tobytes()), checks, erase_pos=places
            )
        except (reedsolo.ReedSolomonError, ZeroDivisionError, IndexError):
            continue
        errors = len(set(wrong) - set(places))
        if erased + 2 * errors <= checks - min(SPARE, checks // 3):
            return np.frombuffer(bytes(message) + bytes(check), np.uint8)
    return None


def _format(dark: Pixels, sure: Pixels) -> tuple[int, int]:
    """Return the error correction level and mask that both format copies agree with best."""
    signed = np.where(dark, 1, -1) * np.maximum(sure - sure.min(), 1e-3)
    best, best_score = (0, 0), -np.inf
    for value in range(32):
        score = sum(
            (signed[first] + signed[second]) * (1 if bit else -1)
            for first, second, bit in _format_places(len(dark), BCH_type_info(value))
        )
        if score > best_score:
            best, best_score = (value >> 3, value & 7), score
    return best


def _format_places(size: int, bits: int) -> list[tuple[tuple[int, int], tuple[int, int], bool]]:
    """Return the (row, column) of both copies of each of 15 format bits, and the bit."""
    places = []
    for i in range(15):
        row = i if i < 6 else i + 1 if i < 8 else size - 15 + i
        column = size - 1 - i if i < 8 else 7 if i == 8 else 14 - i
        places.append(((row, 8), (8, column), bool(bits >> i & 1)))
    return places


@lru_cache(maxsize=64)
def _placement(size: int) -> tuple[Pixels, Pixels]:
    """Return rows and columns of the data modules in the order of their bits."""
    version = (size - 17) // 4
    taken = known_modules(size) != UNKNOWN
    taken[:9, :9] = taken[:9, -8:] = taken[-8:, :9] = True
    taken[6], taken[:, 6] = True, True
    middles = pattern_position(version)
    for row in middles:
        for column in middles:
            if not (row < 9 and (column < 9 or column > size - 10)) and not (
                row > size - 10 and column < 9
            ):
                taken[row - 2 : row + 3, column - 2 : column + 3] = True
    if version >= 7:
        taken[:6, -11:-8] = taken[-11:-8, :6] = True
    rows, columns = [], []
    upwards = True
    for right in [*range(size - 1, 6, -2), 5, 3, 1]:
        for row in range(size - 1, -1, -1) if upwards else range(size):
            for column in (right, right - 1):
                if not taken[row, column]:
                    rows.append(row)
                    columns.append(column)
        upwards = not upwards
    return np.array(rows), np.array(columns)


@lru_cache(maxsize=64)
def _mask(size: int, pattern: int) -> Pixels:
    rule = mask_func(pattern)
    return np.array([[rule(row, column) for column in range(size)] for row in range(size)])


@lru_cache(maxsize=64)
def _blocks(version: int, level: int) -> list[tuple[Pixels, int]]:
    """Return for each block the places of its codewords in the symbol, and its check symbols."""
    blocks = rs_blocks(version, level)
    places: list[list[int]] = [[] for _ in blocks]
    at = 0
    for part in ("data", "checks"):
        lengths = [
            block.data_count if part == "data" else block.total_count - block.data_count
            for block in blocks
        ]
        for step in range(max(lengths)):
            for number, length in enumerate(lengths):
                if step < length:
                    places[number].append(at)
                    at += 1
    return [
        (np.array(at_places), block.total_count - block.data_count)
        for at_places, block in zip(places, blocks, strict=True)
    ]
