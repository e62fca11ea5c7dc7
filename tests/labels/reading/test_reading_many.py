"""Several symbols in one picture: each once, in reading order; makers' codes among them."""

import io
import random
from typing import Any

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from zxingcpp.zxingcpp import BarcodeFormat

from kits.rules.lookup import label_codes
from labels import reading
from labels.reading.front.results import Reads
from tests import damage

HOST = "https://gear.example.org"


def look(content: bytes, **options: bool) -> Reads:
    """Read with time enough: a busy machine must not decide what can be read."""
    return reading.read(content, budget_s=20, **options)


def square(text: str, pixels: int = 5) -> Any:
    modules = np.pad(damage.symbol(text), 4)
    return np.where(np.repeat(np.repeat(modules, pixels, 0), pixels, 1), 15, 245).astype(np.uint8)


def makers(text: str, kind: BarcodeFormat, pixels: int = 4, **options: Any) -> Any:
    barcode = zxingcpp.create_barcode(text, kind, **options)
    return np.pad(np.array(barcode.to_image(scale=pixels)), 30, constant_values=255)


def shelf(rows: int, columns: int, rng: random.Random) -> tuple[Any, list[str]]:
    """A shelf of labels, each a little out of place and turned: (picture, texts in order)."""
    step = 260
    picture = np.full((rows * step, columns * step), 190, np.uint8)
    texts = []
    for row in range(rows):
        for column in range(columns):
            text = label_codes.payload(HOST, label_codes.new_code(rng.choice))
            texts.append(text)
            turned = Image.fromarray(square(text)).rotate(
                rng.uniform(-8, 8), expand=True, fillcolor=190
            )
            pixels = np.asarray(turned)
            y = row * step + rng.randrange(0, step - pixels.shape[0])
            x = column * step + rng.randrange(0, step - pixels.shape[1])
            picture[y : y + pixels.shape[0], x : x + pixels.shape[1]] = pixels
    return picture, texts


def jpeg(picture: Any, orientation: int = 1) -> bytes:
    exif = Image.Exif()
    exif[0x0112] = orientation
    buffer = io.BytesIO()
    Image.fromarray(picture).save(buffer, "JPEG", quality=88, exif=exif)
    return buffer.getvalue()


@pytest.mark.parametrize("seed", range(4))
def test_a_shelf_of_a_dozen_labels_gives_a_dozen_reads_in_reading_order(seed: Any) -> None:
    picture, texts = shelf(3, 4, random.Random(seed))
    found = look(jpeg(picture), all_symbols=True)
    assert [read.text for read in found.reads] == texts


@pytest.mark.parametrize(("orientation", "quarter_turns"), [(1, 0), (6, 1), (3, 2), (8, 3)])
def test_reading_order_is_that_of_the_picture_as_a_person_sees_it(
    orientation: int, quarter_turns: int
) -> None:
    picture, texts = shelf(2, 3, random.Random(9))
    stored = np.rot90(picture, quarter_turns)  # what EXIF then turns upright again
    found = look(jpeg(stored, orientation), all_symbols=True)
    assert [read.text for read in found.reads] == texts


def test_two_labels_that_say_the_same_are_two_reads() -> None:
    text = label_codes.payload(HOST, label_codes.new_code(random.Random(1).choice))
    picture = np.hstack([square(text), square(text)])
    found = look(jpeg(picture), all_symbols=True)
    assert [read.text for read in found.reads] == [text, text]


def test_it_stops_at_our_own_label_unless_all_are_asked_for() -> None:
    text = label_codes.payload(HOST, label_codes.new_code(random.Random(2).choice))
    code = makers("9501101530003", zxingcpp.BarcodeFormat.EAN13)
    label = square(text)
    picture = np.full((max(len(code), len(label)), code.shape[1] + label.shape[1]), 255, np.uint8)
    picture[: len(code), : code.shape[1]] = code
    picture[: len(label), code.shape[1] :] = label
    first = look(jpeg(picture))
    assert [read.text for read in first.reads] == [text]
    assert first.stopped == "found"
    every = look(jpeg(picture), all_symbols=True)
    assert sorted(read.symbology for read in every.reads) == ["EAN-13", "QR Code"]


def test_a_foreign_symbol_alone_ends_it_only_where_anything_will_do() -> None:
    picture = np.pad(square("https://shop.example/plasters"), 60, constant_values=200)
    looked_on = look(jpeg(picture))
    assert looked_on.stopped != "found"
    assert len(looked_on.reads) == 1
    taken = look(jpeg(picture), stop_at_own=False)
    assert taken.stopped == "found"


@pytest.mark.parametrize(
    ("kind", "text", "gs1", "symbology", "expected"),
    [
        (zxingcpp.BarcodeFormat.DataMatrix, "(01)09501101530003(10)AB7(17)270531", True,
         "Data Matrix", "010950110153000310AB7\x1d17270531"),
        (zxingcpp.BarcodeFormat.Code128, "(01)09501101530003(10)AB7(17)270531", True,
         "Code 128", "010950110153000310AB7\x1d17270531"),
        (zxingcpp.BarcodeFormat.QRCode, "(01)09501101530003(10)AB7(17)270531", True,
         "QR Code", "010950110153000310AB7\x1d17270531"),
        (zxingcpp.BarcodeFormat.EAN13, "9501101530003", False, "EAN-13", "9501101530003"),
        (zxingcpp.BarcodeFormat.EAN8, "96385074", False, "EAN-8", "96385074"),
        (zxingcpp.BarcodeFormat.UPCA, "614141000036", False, "EAN-13", "0614141000036"),
        (zxingcpp.BarcodeFormat.DataMatrix, "HELLO", False, "Data Matrix", "HELLO"),
    ],
)  # fmt: skip
def test_makers_codes_are_read_with_fnc1_and_the_standards_name(
    kind: BarcodeFormat, text: str, gs1: bool, symbology: str, expected: str
) -> None:
    options = {"gs1": True} if gs1 else {}
    found = look(jpeg(makers(text, kind, **options)), stop_at_own=False)
    assert [(r.symbology, r.text, r.is_gs1) for r in found.reads] == [(symbology, expected, gs1)]
