"""Reading back what was printed: every symbol, from the rendered page, before it is handed over.

A sheet that scans wrong is worse than none, so a symbol that is missing, says something else, or
was not asked for is an error.
"""

import io
import threading
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import BinaryIO

import numpy as np
import numpy.typing as npt
import pypdfium2
import zxingcpp
from PIL import Image

from gearroom.core.rules.sentences import SentenceError, say
from labels.rules.layout import MM_PER_INCH, Cell

DPI = 300

_PAGES_AT_ONCE = 50

# PDFium is not thread-safe: one call at a time in a process.
_pdfium = threading.Lock()

_QR = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCode])

Grey = npt.NDArray[np.uint8]
Expected = Sequence[tuple[Cell, str]]
"""For one page: where a symbol's cell is (mm) and what the symbol there must say."""


def no_symbol(width_mm: float, height_mm: float) -> Expected:
    """What a page of that size is checked for that has no symbol."""
    return [(Cell(0, 0, width_mm, height_mm), "")]


class ReadBackFailed(SentenceError, RuntimeError):
    """A printed symbol does not read back as meant; nothing was handed over.

    `wrong`: (page from 1, what was meant, what was read) for each; either may be empty.
    """

    def __init__(self, wrong: Sequence[tuple[int, str, str]]) -> None:
        self.wrong = tuple(wrong)
        page, intended, read = self.wrong[0]
        sentence = say(
            "Codes that could not be read back correctly: %(count)s. The first is on page "
            "%(page)s: expected %(meant)s, read %(read)s. Nothing was printed: try again, and "
            "if it happens again, report it with the label size and the names on the labels.",
            count=len(self.wrong),
            page=page,
            meant=repr(intended or "–"),
            read=repr(read or "–"),
        )
        super().__init__(sentence)


def check_pdf(source: BinaryIO | Path, expected: Iterable[Expected]) -> int:
    """Render each page of the PDF `source` at 300 dpi and read every symbol on it.

    `expected` has one entry a page. Returns the number of symbols read. Raises ReadBackFailed.
    """
    read = 0
    for number, (image, symbols) in enumerate(zip(_pages(source), expected, strict=True), start=1):
        if wrong := [(number, *pair) for pair in _differences(image, symbols, DPI)]:
            raise ReadBackFailed(wrong)
        read += len(symbols)
    return read


def check_picture(image: Grey, payloads: Sequence[str]) -> None:
    """Read the symbols of a whole picture; raise ReadBackFailed unless they are `payloads`."""
    texts = sorted(_read(image))
    expected = sorted(payloads)
    if texts != expected:
        raise ReadBackFailed([(1, " ".join(expected), " ".join(texts))])


def page_png(source: BinaryIO | Path, number: int, dpi: int) -> bytes:
    """Return page `number` (from 1) of the PDF `source` as a picture (PNG, four greys: a full A4
    page at 96 dpi has some 40 kB) to look at."""
    out = io.BytesIO()
    with _pdfium:
        document = pypdfium2.PdfDocument(source)
        try:
            levels = (
                document[number - 1]
                .render(scale=dpi / 72, grayscale=True)
                .to_pil()
                .point(lambda value: (value + 42) // 85)
            )
        finally:
            document.close()
    greys = Image.frombytes("P", levels.size, levels.tobytes())
    greys.putpalette([level for grey in (0, 85, 200, 255) for level in (grey, grey, grey)])
    greys.save(out, "PNG", optimize=True, bits=2)
    return out.getvalue()


def _pages(source: BinaryIO | Path) -> Iterator[Grey]:
    """Yield each page as grey pixels; reopened now and then, as PDFium keeps what it has parsed."""
    first, count = 0, 1
    while first < count:
        if not isinstance(source, Path):
            source.seek(0)
        with _pdfium:
            document = pypdfium2.PdfDocument(source)
            count = len(document)
        try:
            for number in range(first, min(first + _PAGES_AT_ONCE, count)):
                with _pdfium:
                    page = document[number]
                    bitmap = page.render(scale=DPI / 72, grayscale=True)
                    pixels: Grey = bitmap.to_numpy().reshape(bitmap.height, bitmap.width).copy()
                    bitmap.close()
                    page.close()
                yield pixels
        finally:
            with _pdfium:
                document.close()
        first += _PAGES_AT_ONCE


def _differences(image: Grey, expected: Expected, dpi: int) -> Iterator[tuple[str, str]]:
    scale = dpi / MM_PER_INCH
    for cell, payload in expected:
        top, left = max(0, round(cell.top_mm * scale)), max(0, round(cell.left_mm * scale))
        bottom, right = round(cell.bottom_mm * scale), round(cell.right_mm * scale)
        texts = _read(np.ascontiguousarray(image[top:bottom, left:right]))
        if texts != ([payload] if payload else []):
            yield payload, " ".join(texts)


def _read(image: Grey) -> list[str]:
    """Return the texts of the QR symbols in a clean, upright picture."""
    return [
        barcode.text
        for barcode in zxingcpp.read_barcodes(
            image, formats=_QR, try_rotate=False, try_downscale=False, try_invert=False
        )
    ]
