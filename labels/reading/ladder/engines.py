"""The engines behind one small interface: grey pixels in, reads out.

An engine is called with a uint8 grey array, height × width, and returns reads with corners in that
array's pixels. Kinds of symbol without a check worth the name (ITF of any length, Codabar,
Code 39, Micro QR, rMQR) are not looked for: what they read in gravel would be taken for a maker's
code.
"""

from collections.abc import Callable, Sequence
from typing import Any

import zxingcpp

from labels.reading.front.results import Corners, Pixels, Read, quadrilateral

try:
    from pyzbar import pyzbar
except ImportError:  # its wheel has no libzbar; Debian's package is libzbar0
    pyzbar = None

_F = zxingcpp.BarcodeFormat


# Called with grey pixels, the corners of what was read already (in the same pixels) and the end of
# the budget on time.monotonic(); the latter two matter to slow engines only.
Engine = Callable[[Pixels, Sequence[Corners], float], list[Read]]


def read_of(barcode: zxingcpp.Barcode) -> Read:
    """Return what zxing-cpp read, corners in the pixels it was given."""
    at = barcode.position
    points = (at.top_left, at.top_right, at.bottom_right, at.bottom_left)
    return Read(
        barcode.text,
        barcode.bytes,
        str(barcode.format),
        barcode.content_type == zxingcpp.ContentType.GS1,
        quadrilateral((point.x, point.y) for point in points),
    )


def zxing(*formats: zxingcpp.BarcodeFormat, **options: Any) -> Engine:
    """Return an engine: zxing-cpp for symbols of these formats."""

    def engine(image: Pixels, known: Sequence[Corners], until: float) -> list[Read]:
        barcodes = zxingcpp.read_barcodes(
            image,
            formats=zxingcpp.BarcodeFormats(formats),
            text_mode=zxingcpp.TextMode.Plain,
            **options,
        )
        return [
            read_of(barcode)
            for barcode in barcodes
            if barcode.text and str(barcode.symbology) not in ("Micro QR Code", "rMQR Code")
        ]

    return engine


qr = zxing(_F.QRCodeModel2)
"""QR Code, dark on light or light on dark, mirrored or not."""
qr_clean = zxing(_F.QRCodeModel2, binarizer=zxingcpp.Binarizer.FixedThreshold, try_downscale=False)
"""QR Code in a picture that is black and white already: one fixed threshold."""
data_matrix = zxing(_F.DataMatrix)
"""Data Matrix (ECC 200)."""
linear = zxing(_F.Code128, _F.EANUPC, _F.ITF14, _F.DataBar)
"""Code 128, EAN/UPC, ITF-14 and GS1 DataBar."""
stacked = zxing(_F.AztecCode, _F.PDF417)
"""Aztec Code and PDF417: not ours and hardly a maker's, yet worth naming."""


def zbar_qr(image: Pixels, known: Sequence[Corners], until: float) -> list[Read]:
    """QR Code by ZBar: slower, but it reads some that zxing-cpp does not. Empty without libzbar."""
    if pyzbar is None:
        return []
    return [
        Read(
            symbol.data.decode("utf-8", "replace"),
            symbol.data,
            "QR Code",
            False,
            quadrilateral(symbol.polygon),
        )
        for symbol in pyzbar.decode(image, symbols=[pyzbar.ZBarSymbol.QRCODE])
        if len(symbol.polygon) == 4 and symbol.data
    ]
