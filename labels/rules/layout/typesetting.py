"""Fitting words into a given width and height: measuring, wrapping, shrinking, shortening.

Lengths are millimetres; a type size is its em. Nothing here reads a font file: a `Face` holds the
measures that are needed, as fractions of the em.
"""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

LEGIBLE_X_HEIGHT_MM = 1.2
"""No text is set with a smaller x-height (the least that Regulation (EU) 1169/2011, article 13,
accepts for what must be readable on a pack)."""

ELLIPSIS = "…"

_BREAK_BELOW = 0.5


@dataclass(frozen=True, eq=False)
class Face:
    """One weight of a typeface. All measures are fractions of the em.

    `widths`: advance by code point. `ascent` and `descent` are positive, from the baseline.
    """

    name: str
    widths: Mapping[int, float]
    x_height: float
    cap_height: float
    ascent: float
    descent: float

    @property
    def smallest_mm(self) -> float:
        """The smallest em that is still legible."""
        return LEGIBLE_X_HEIGHT_MM / self.x_height

    @property
    def line_height(self) -> float:
        """From one baseline to the next, in em."""
        return self.ascent + self.descent

    def width(self, text: str) -> float:
        """Return the width of `text` in em; every character must be in the face."""
        widths = self.widths
        return sum([widths[ord(character)] for character in text])

    def has(self, character: str) -> bool:
        return ord(character) in self.widths


@dataclass(frozen=True, eq=False)
class Typeface:
    """The two weights that labels are set in."""

    regular: Face
    bold: Face

    def face(self, bold: bool) -> Face:
        return self.bold if bold else self.regular


def missing(text: str, face: Face) -> str:
    """Return the characters of `text` that `face` cannot draw, each once, in order."""
    return "".join(dict.fromkeys(c for c in _plain(text) if not face.has(c)))


@lru_cache(maxsize=256)
def printable(text: str, face: Face) -> str:
    """Return `text` as it can be set on a line: composed, spaces single, no control characters.

    A character that the face lacks becomes an empty box (or `?`), so that a name in another
    script shows that something is missing rather than showing nothing.
    """
    stand_in = "▯" if face.has("▯") else "?"
    return "".join([c if face.has(c) else stand_in for c in _plain(text)])


def _plain(text: str) -> str:
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    characters: list[str] = []
    marks = 0
    for character in unicodedata.normalize("NFC", text):
        if (category := unicodedata.category(character)) in ("Zs", "Zl", "Zp", "Cc"):
            characters.append(" ")
        elif category in ("Mn", "Me"):
            # One mark that no composed letter has; piles of them would climb out of the line.
            marks += 1
            selects = "\ufe00" <= character <= "\ufe0f"
            if marks == 1 and characters and characters[-1] != " " and not selects:
                characters.append(character)
            continue
        elif category not in ("Cf", "Cs", "Cn", "Co"):
            characters.append(character)
        marks = 0
    return " ".join("".join(characters).split())


def wrap(text: str, face: Face, width: float, *, breaking: bool = False) -> list[str] | None:
    """Break printable `text` into lines of at most `width` em, at spaces and after hyphens.

    A word wider than a line gives None, or with `breaking` is broken where it must be.
    """
    lines: list[str] = []
    line, used = "", 0.0
    for gap, word, word_width in _words(text, face):
        lead = face.widths[32] if gap and line else 0.0
        if used + lead + word_width <= width:
            line += (" " if lead else "") + word
            used += lead + word_width
            continue
        if line:
            lines.append(line)
        if word_width <= width:
            line, used = word, word_width
            continue
        if not breaking:
            return None
        *full, line = _pieces(word, face, width)
        lines.extend(full)
        used = face.width(line)
    if line:
        lines.append(line)
    return lines


_TIED = re.compile(r"(?<=\d) (?=(?:[×x]|[cmk]?m|[mk]?g|µg|m?l|%)(?!\w))|(?<=×) (?=\d)")
_TIE = "\N{NO-BREAK SPACE}"
"""Stands, while words are wrapped, for the spaces inside `10 × 10 cm`."""


@lru_cache(maxsize=256)
def _words(text: str, face: Face) -> tuple[tuple[bool, str, float], ...]:
    """Split into (a space stands before it, piece, width in em); pieces end at spaces and hyphens,
    but the number of a name stays with it: `GROUP-01`."""
    pieces: list[tuple[bool, str, float]] = []
    for tied in _TIED.sub(_TIE, text).split(" "):
        word = tied.replace(_TIE, " ")
        start = 0
        for place, character in enumerate(word):
            ends = character in "-/‐–" and 0 < place < len(word) - 1 and place - start > 1
            if ends and not word[place + 1].isdigit():
                piece = word[start : place + 1]
                pieces.append((start == 0, piece, face.width(piece)))
                start = place + 1
        piece = word[start:]
        pieces.append((start == 0, piece, face.width(piece)))
    return tuple(pieces)


def _pieces(word: str, face: Face, width: float) -> list[str]:
    pieces: list[str] = []
    piece, used = "", 0.0
    for character in word:
        advance = face.widths[ord(character)]
        if piece and used + advance > width:
            pieces.append(piece)
            piece, used = "", 0.0
        piece += character
        used += advance
    return [*pieces, piece]


def shorten(lines: list[str], most: int, face: Face, width: float) -> list[str]:
    """Return at most `most` lines; the last ends with an ellipsis where text was left out."""
    if len(lines) <= most:
        return lines
    last = lines[most - 1]
    mark = ELLIPSIS if face.has(ELLIPSIS) else "..."
    while last and face.width(last.rstrip() + mark) > width:
        last = last[:-1]
    return [*lines[: most - 1], last.rstrip() + mark]


def fit_lines(
    text: str, face: Face, *, width_mm: float, largest_mm: float, most_lines: int
) -> tuple[float, list[str]]:
    """Return (em in mm, lines): the largest type not over `largest_mm` in which `text` fits.

    Words stay whole down to half of `largest_mm`; then they are broken where they must be. What
    does not fit at the smallest legible size ends with an ellipsis.
    """
    smallest = face.smallest_mm
    size = max(largest_mm, smallest)
    whole_down_to = size * _BREAK_BELOW
    while size > smallest:
        lines = wrap(text, face, width_mm / size, breaking=size < whole_down_to)
        if lines is not None and len(lines) <= most_lines:
            return size, lines
        size = max(smallest, size * 0.93)
    width = width_mm / smallest
    lines = wrap(text, face, width, breaking=True) or []
    return smallest, shorten(lines, most_lines, face, width)
