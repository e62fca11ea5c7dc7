"""The typeface that everything is printed in: Fira Sans Condensed, or two files of one's own.

Fira Sans Condensed (SIL Open Font License) has Latin, Greek and Cyrillic letters and comes with a
package, so nothing is copied here. For other scripts, name two TrueType files with outlines of
type `glyf` (regular and bold); text is set left to right, letter by letter.
"""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import fontpkg_fira_sans_condensed
from PIL import ImageFont
from reportlab.pdfbase.ttfonts import TTFError, TTFontFace

from labels.rules.layout import Face, Typeface

_NEEDED = [chr(code) for code in range(0x20, 0x7F)] + ["–", "×", "•"]
"""What our own words are written with."""

_HOUSE_FONT = Path(fontpkg_fira_sans_condensed.ROOT) / "files"


class FontUnreadable(ValueError):
    """A font file of the setting is missing or not a TrueType font."""


@dataclass(frozen=True)
class FontFiles:
    """Paths of the two TrueType files that text is set in."""

    regular: Path = _HOUSE_FONT / "FiraSansCondensed-Medium.ttf"
    bold: Path = _HOUSE_FONT / "FiraSansCondensed-Bold.ttf"


HOUSE_FONT = FontFiles()


@lru_cache(maxsize=8)
def typeface(files: FontFiles = HOUSE_FONT) -> Typeface:
    """Return the measures of `files`. Raises FontUnreadable."""
    regular, bold = _face(files.regular), _face(files.bold)
    if regular.name == bold.name and files.regular != files.bold:
        raise FontUnreadable(
            f"{files.regular} and {files.bold} call themselves by the same name, {bold.name}: name"
            " a regular and a bold file, or the same file twice."
        )
    return Typeface(regular, bold)


def _face(path: Path) -> Face:
    try:
        outline = TTFontFace(str(path))
        drawn = ImageFont.truetype(str(path), 1000, layout_engine=ImageFont.Layout.BASIC)
    except (TTFError, OSError) as error:
        raise FontUnreadable(
            f"{path} cannot be read as a TrueType font: name a .ttf file with glyf outlines."
        ) from error
    glyphs = outline.charToGlyph
    widths = {
        code: outline.charWidths[code] / 1000 for code in glyphs if code in outline.charWidths
    }
    if lacking := [letter for letter in _NEEDED if ord(letter) not in widths]:
        raise FontUnreadable(
            f"{path} lacks characters that labels need ({' '.join(lacking)}): choose a font that"
            " has Latin letters too."
        )
    return Face(
        name=outline.name.decode("latin-1"),
        widths=widths,
        x_height=_drawn_height(drawn, "x"),
        cap_height=_drawn_height(drawn, "H"),
        ascent=outline.ascent / 1000,
        descent=-outline.descent / 1000,
    )


def _drawn_height(font: ImageFont.FreeTypeFont, letter: str) -> float:
    _, top, _, _ = font.getbbox(letter, anchor="ls")
    return -top / 1000


@lru_cache(maxsize=32)
def raster_font(path: Path, em_px: float) -> ImageFont.FreeTypeFont:
    """Return a font for drawing at `em_px` pixels an em."""
    return ImageFont.truetype(str(path), em_px, layout_engine=ImageFont.Layout.BASIC)
