"""The engines behind one small interface: grey pixels in, finds out.

An engine is called with a uint8 grey array, height × width, and returns `Found` values with corners
in that array's pixels. Kinds of symbol without a check worth the name (ITF of any length, Codabar,
Code 39, Micro QR, rMQR) are not looked for: what they "find" in gravel would be taken for a maker's
code.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import zxingcpp

from labels.reading.front.results import Corners

try:
    from pyzbar import pyzbar
except ImportError:  # its wheel has no libzbar; Debian's package is libzbar0
    pyzbar = None

_F = zxingcpp.BarcodeFormat


@dataclass(frozen=True)
class Found:
    """One symbol that an engine read, corners in the pixels it was given."""

    text: str
    raw: bytes
    symbology: str
    is_gs1: bool
    corners: Corners


# Called with grey pixels, the corners of what was read already (in the same pixels) and the end of
# the budget on time.monotonic(); the latter two matter to slow engines only.
Engine = Callable[[np.ndarray, Sequence[Corners], float], list[Found]]


def _zxing(image: np.ndarray, formats: list[zxingcpp.BarcodeFormat], **options) -> list[Found]:
    found = []
    for barcode in zxingcpp.read_barcodes(
        image, formats=formats, text_mode=zxingcpp.TextMode.Plain, **options
    ):
        name = str(barcode.symbology)
        if name in ("Micro QR Code", "rMQR Code") or not barcode.text:
            continue
        place = barcode.position
        found.append(
            Found(
                barcode.text,
                barcode.bytes,
                str(barcode.format),
                barcode.content_type == zxingcpp.ContentType.GS1,
                tuple(
                    (float(point.x), float(point.y))
                    for point in (
                        place.top_left, place.top_right, place.bottom_right, place.bottom_left,
                    )
                ),
            )
        )  # fmt: skip
    return found


def qr(image: np.ndarray, known: Sequence[Corners], until: float) -> list[Found]:
    """QR Code by zxing-cpp, dark on light or light on dark, mirrored or not."""
    return _zxing(image, [_F.QRCodeModel2])


def qr_clean(image: np.ndarray, known: Sequence[Corners], until: float) -> list[Found]:
    """QR Code by zxing-cpp in a picture that is black and white already: one fixed threshold."""
    return _zxing(
        image, [_F.QRCodeModel2], binarizer=zxingcpp.Binarizer.FixedThreshold, try_downscale=False
    )


def data_matrix(image: np.ndarray, known: Sequence[Corners], until: float) -> list[Found]:
    """Data Matrix (ECC 200) by zxing-cpp."""
    return _zxing(image, [_F.DataMatrix])


def linear(image: np.ndarray, known: Sequence[Corners], until: float) -> list[Found]:
    """Code 128, EAN/UPC, ITF-14 and GS1 DataBar by zxing-cpp."""
    return _zxing(image, [_F.Code128, _F.EANUPC, _F.ITF14, _F.DataBar])


def stacked(image: np.ndarray, known: Sequence[Corners], until: float) -> list[Found]:
    """Aztec Code and PDF417 by zxing-cpp: not ours and hardly a maker's, yet worth naming."""
    return _zxing(image, [_F.AztecCode, _F.PDF417])


def zbar_qr(image: np.ndarray, known: Sequence[Corners], until: float) -> list[Found]:
    """QR Code by ZBar: slower, but it reads some that zxing-cpp does not. Empty without libzbar."""
    if pyzbar is None:
        return []
    found = []
    for symbol in pyzbar.decode(image, symbols=[pyzbar.ZBarSymbol.QRCODE]):
        if len(symbol.polygon) == 4 and symbol.data:
            corners = tuple((float(x), float(y)) for x, y in symbol.polygon)
            text = symbol.data.decode("utf-8", "replace")
            found.append(Found(text, symbol.data, "QR Code", False, corners))
    return found
