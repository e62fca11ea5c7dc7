"""From grey levels of modules to dark and light, and from those to text.

Which modules are dark is decided in several ways, cheapest first; a symbol's own error correction
(Reed-Solomon, ISO/IEC 18004, 7.5) says whether a way was right. The decoder gets nothing but
modules, so what is tried here costs microseconds.
"""

from collections.abc import Iterator
from functools import lru_cache
from math import erf, sqrt

import cv2
import numpy as np
import zxingcpp

from labels.reading.front.results import Pixels

QUIET = 4  # modules round a symbol, ISO/IEC 18004, 6.3.8
UNKNOWN = -1


@lru_cache(maxsize=64)
def known_modules(size: int) -> Pixels:
    """Return what every symbol of `size` modules has: 1 dark, 0 light, UNKNOWN elsewhere.

    Finder patterns with their separators, and both timing patterns (6.3.3 to 6.3.5).
    """
    known = np.full((size, size), UNKNOWN, np.int8)
    finder = np.zeros((8, 8), np.int8)
    finder[:7, :7] = 1
    finder[1:6, 1:6] = 0
    finder[2:5, 2:5] = 1
    known[:8, :8], known[:8, -8:], known[-8:, :8] = finder, finder[:, ::-1], finder[::-1]
    known[6, 8:-8] = known[8:-8, 6] = np.arange(8, size - 8) % 2 == 0
    known[size - 8, 8] = 1
    return known


def misfit(dark: Pixels) -> float:
    """Return the share of a symbol's known modules that are not as they must be."""
    known = known_modules(len(dark))
    there = known != UNKNOWN
    return float((dark[there] != (known[there] == 1)).mean())


def decisions(levels: Pixels) -> Iterator[Pixels]:
    """Give ways to call modules dark, (size, size) bool, from their grey levels."""
    levels = _within_ink_and_paper(levels)
    for reach in (7, 13):
        low, high = _surroundings(levels, reach)
        yield levels < (low + high) / 2
    whole = cv2.normalize(levels, levels.copy(), 0, 255, cv2.NORM_MINMAX).astype(np.uint8)
    threshold, _ = cv2.threshold(whole, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    yield whole <= threshold
    for sigma in (0.5, 0.7, 0.9):
        for reach in (9, 17):
            yield _unblurred(levels, sigma, reach) < 0.5


def first_decision(levels: Pixels) -> Pixels:
    """Return the cheapest of `decisions`."""
    return next(decisions(levels))


def _within_ink_and_paper(levels: Pixels) -> Pixels:
    """Return levels without what is far darker than any finder's ink or far lighter than its paper:
    dirt and glare, which would draw the thresholds round them to themselves."""
    known = known_modules(len(levels))
    finders = [(slice(8), slice(8)), (slice(8), slice(-8, None)), (slice(-8, None), slice(8))]
    ink = min(float(np.median(levels[at][known[at] == 1])) for at in finders)
    paper = max(float(np.median(levels[at][known[at] == 0])) for at in finders)
    beyond = 0.3 * max(paper - ink, 0)
    return np.clip(levels, ink - beyond, max(paper, ink) + beyond)


def _surroundings(levels: Pixels, reach: int) -> tuple[Pixels, Pixels]:
    """Return the darkest and lightest level within `reach` modules, evened out."""
    square, size = np.ones((reach, reach), np.uint8), (reach, reach)
    return cv2.blur(cv2.erode(levels, square), size), cv2.blur(cv2.dilate(levels, square), size)


def _unblurred(levels: Pixels, sigma: float, reach: int) -> Pixels:
    """Return lightness 0 to 1 with a blur of `sigma` modules taken back.

    Van Cittert's iteration, kept within what ink and paper can be.
    """
    low, high = _surroundings(levels, reach)
    blurry = np.clip((levels - low) / np.maximum(high - low, 8), 0, 1).astype(np.float32)
    weights = blur_weights(sigma)
    light: Pixels = blurry
    for _ in range(25):
        blurred = cv2.sepFilter2D(light, -1, weights, weights, borderType=cv2.BORDER_REPLICATE)
        light = np.clip(light + blurry - blurred, -0.1, 1.1)
    return light


@lru_cache(maxsize=16)
def blur_weights(sigma: float) -> Pixels:
    """Return the shares, in a module's level, of the modules two before it to two behind it."""

    def below(x: float) -> float:
        return 0.5 * (1 + erf(x / (sigma * sqrt(2))))

    shares = [below(step + 0.5) - below(step - 0.5) for step in (-2, -1, 0, 1, 2)]
    return np.array(shares, np.float32) / np.float32(sum(shares))


def decode(dark: Pixels) -> zxingcpp.Barcode | None:
    """Return what these modules say, known ones corrected first, or None."""
    known = known_modules(len(dark))
    confirmed = np.where(known == UNKNOWN, dark, known == 1)
    picture = np.full((len(dark) + 2 * QUIET,) * 2, 255, np.uint8)
    picture[QUIET:-QUIET, QUIET:-QUIET][confirmed] = 0
    # The family, not the model: asked for QRCodeModel2 alone, a pure read comes back empty.
    barcodes = zxingcpp.read_barcodes(
        picture,
        formats=zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode]),
        is_pure=True,
        binarizer=zxingcpp.Binarizer.FixedThreshold,
        text_mode=zxingcpp.TextMode.Plain,
        try_downscale=False,
        try_invert=False,
        try_rotate=False,
    )
    return barcodes[0] if barcodes and barcodes[0].valid and barcodes[0].text else None
