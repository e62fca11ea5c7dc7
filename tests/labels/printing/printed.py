"""Looking at what was printed, for the tests of printing."""

import io
import random
from collections.abc import Iterator
from datetime import date
from typing import Any

import numpy as np
import pypdfium2
import zxingcpp

from kits.rules.lookup.label_codes import new_code
from labels.printing import Job, sheet_pdf
from labels.rules.codes.texts import Expiry
from labels.rules.layout.contents import (
    BlankLabel,
    KitLabel,
    KitTag,
    LotLabel,
    PersonTag,
    SectionLabel,
    ShelfLabel,
)

QR_CODE = zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)

ADDRESS = "https://gear.umberfell.example"
JOB = Job(ADDRESS, "Umberfell Outdoor School")


def new_codes(seed: int = 0) -> Iterator[str]:
    """Yield codes for ever."""
    draw = random.Random(seed)
    while True:
        yield new_code(draw.choice)


def one_of_each(seed: int = 0) -> list[Any]:
    """Return a label of every kind, with names in three scripts."""
    code = new_codes(seed)
    return [
        KitLabel(next(code), "EXPED-02 long walk", "Cave hut"),
        SectionLabel(next(code), "Wounds and burns", "GROUP-01"),
        LotLabel(
            next(code), "Gauze swab 10 × 10 cm, sterile", "B2291-07", Expiry(date(2027, 5, 31))
        ),
        LotLabel(next(code), "Ножницы для одежды", "4471", Expiry(None, needed=False)),
        ShelfLabel(next(code), "Ράφι Β3", "Main store"),
        PersonTag(next(code), "Ines Harrow", "Guide"),
        BlankLabel(next(code)),
        KitTag(next(code), "WORK-01", date(2027, 5, 31), "417", "Jo"),
    ]


def printed(sheet: Any, labels: Any, job: Job = JOB, **options: Any) -> bytes:
    """Return the PDF of `labels` on `sheet`."""
    out = io.BytesIO()
    sheet_pdf(sheet, labels, out=out, job=job, **options)
    return out.getvalue()


def pages(pdf: bytes, dpi: int = 150) -> list[Any]:
    """Return each page of a PDF as grey pixels."""
    document = pypdfium2.PdfDocument(pdf)
    return [np.array(page.render(scale=dpi / 72).to_pil().convert("L")) for page in document]


def texts(pdf: bytes) -> list[Any]:
    """Return each page's selectable text, lines joined by spaces."""
    document = pypdfium2.PdfDocument(pdf)
    found = [page.get_textpage().get_text_range() for page in document]
    return [" ".join(text.split()) for text in found]


def read(image: Any) -> list[Any]:
    """Return (text, (x, y) of the middle) of every QR symbol, by reading the whole picture."""
    found = zxingcpp.read_barcodes(image, formats=QR_CODE)
    return [
        (
            barcode.text,
            (
                (barcode.position.top_left.x + barcode.position.bottom_right.x) / 2,
                (barcode.position.top_left.y + barcode.position.bottom_right.y) / 2,
            ),
        )
        for barcode in found
    ]


def says(code: Any, address: str = ADDRESS) -> str:
    """Return what the symbol of `code` must say."""
    return f"{address.upper()}/L/{code}"
