"""Every kind of file a phone or scanner makes is read, and what is no picture is refused kindly."""

import io
import struct
import zlib
from collections.abc import Iterator
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from labels import reading
from labels.reading.front.pool import Pool
from labels.reading.front.results import Reads
from tests import damage

TEXT = "HTTPS://GEAR.EXAMPLE.ORG/L/K9GP5R95"
LIMITS: dict[str, Any] = {
    "max_bytes": 3_000_000,
    "max_pixels": 4_000_000,
    "decode_seconds": 5.0,
    "ladder_seconds": 20.0,  # a busy machine must not decide what can be read
    "max_resident_bytes": 700 * 2**20,
    "processes": 1,
}
pillow_heif.register_heif_opener()


@pytest.fixture(scope="module")
def pool() -> Iterator[Pool]:
    pool = Pool(**LIMITS)
    yield pool
    pool.close()


def look(pool: Pool, content: bytes) -> Reads:
    return pool.read(content, all_symbols=False, budget_s=None, stop_at_own=True)


def label(pixels: int = 6) -> tuple[Image.Image, list[tuple[int, int]]]:
    """A label on grey, (height, width) uint8; the symbol's middle is at two thirds, one third."""
    modules = damage.symbol(TEXT)
    size = len(modules)
    side = (size + 8) * pixels
    picture = np.full((side * 2, side * 2), 120, np.uint8)
    left, top = side * 4 // 3 - side // 2, side * 2 // 3 - side // 2
    symbol = np.where(np.repeat(np.repeat(np.pad(modules, 4), pixels, 0), pixels, 1), 20, 240)
    picture[top : top + side, left : left + side] = symbol
    inner = 4 * pixels
    corners = [
        (left + inner, top + inner),
        (left + side - inner, top + inner),
        (left + side - inner, top + side - inner),
        (left + inner, top + side - inner),
    ]
    return Image.fromarray(picture), corners


def saved(image: Any, kind: str, **options: Any) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, kind, **options)
    return buffer.getvalue()


def rgba(image: Any) -> Image.Image:
    """Ink on nothing: what is light becomes transparent black."""
    grey = np.asarray(image)
    pixels = np.zeros((*grey.shape, 4), np.uint8)
    pixels[..., 3] = np.where(grey < 60, 255, 0)
    return Image.fromarray(pixels, "RGBA")


def black_or_white(image: Any) -> Any:
    return image.point(lambda level: 255 * (level > 100)).convert("1")


def sixteen_bit(image: Any) -> Image.Image:
    return Image.fromarray(np.asarray(image).astype(np.uint16) * 257)


FILES = {
    "jpeg": lambda i: saved(i, "JPEG"),
    "jpeg progressive": lambda i: saved(i.convert("RGB"), "JPEG", progressive=True),
    "jpeg cmyk": lambda i: saved(i.convert("CMYK"), "JPEG"),
    "mpo": lambda i: saved(
        i.convert("RGB"), "MPO", save_all=True, append_images=[i.convert("RGB")]
    ),
    "png": lambda i: saved(i, "PNG"),
    "png palette": lambda i: saved(i.convert("P"), "PNG"),
    "png palette transparent": lambda i: saved(rgba(i).quantize(8), "PNG"),
    "png 1 bit": lambda i: saved(black_or_white(i), "PNG"),
    "png 16 bit": lambda i: saved(sixteen_bit(i), "PNG"),
    "png alpha": lambda i: saved(rgba(i), "PNG"),
    "png grey alpha": lambda i: saved(rgba(i).convert("LA"), "PNG"),
    "webp": lambda i: saved(i.convert("RGB"), "WEBP"),
    "webp alpha": lambda i: saved(rgba(i), "WEBP", lossless=True),
    "gif": lambda i: saved(i, "GIF"),
    "bmp": lambda i: saved(i, "BMP"),
    "bmp 1 bit": lambda i: saved(black_or_white(i), "BMP"),
    "tiff": lambda i: saved(i.convert("RGB"), "TIFF", compression="tiff_lzw"),
    "tiff fax": lambda i: saved(black_or_white(i), "TIFF", compression="group4"),
    "tiff 16 bit": lambda i: saved(sixteen_bit(i), "TIFF"),
    "tiff float": lambda i: saved(i.convert("F"), "TIFF"),
    "tiff cmyk": lambda i: saved(i.convert("CMYK"), "TIFF"),
    "heic": lambda i: saved(i.convert("RGB"), "HEIF", quality=80),
}


@pytest.mark.parametrize("kind", FILES)
def test_it_reads_a_label_in_every_kind_of_file(pool: Pool, kind: str) -> None:
    image, corners = label()
    found = look(pool, FILES[kind](image))
    assert [read.text for read in found.reads] == [TEXT]
    read = found.reads[0]
    assert (read.symbology, read.is_gs1, read.raw) == ("QR Code", False, TEXT.encode())
    assert found.stopped == "found"
    assert found.rung == read.rung
    assert np.abs(np.array(read.corners) - corners).max() < 6


@pytest.mark.parametrize("orientation", range(1, 9))
def test_corners_are_in_stored_pixels_whatever_exif_says(pool: Pool, orientation: Any) -> None:
    image, corners = label()
    exif = Image.Exif()
    exif[0x0112] = orientation
    found = look(pool, saved(image, "JPEG", exif=exif))
    assert np.abs(np.array(found.reads[0].corners) - corners).max() < 6


def test_a_48_megapixel_photo_is_read_at_reduced_size_with_corners_of_the_full_one() -> None:
    image, corners = label(pixels=12)
    whole = Image.new("L", (8000, 6000), 150)
    whole.paste(image, (5000, 3000))
    found = reading.read(saved(whole, "JPEG", quality=80))
    assert [read.text for read in found.reads] == [TEXT]
    expected = np.array(corners) + np.array([5000, 3000])
    assert np.abs(np.array(found.reads[0].corners) - expected).max() < 12


def test_a_light_symbol_on_dark_and_a_mirrored_one_are_read(pool: Pool) -> None:
    image, _ = label()
    negative = Image.fromarray(255 - np.asarray(image))
    assert look(pool, saved(negative, "PNG")).reads[0].text == TEXT
    mirrored = image.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
    assert look(pool, saved(mirrored, "PNG")).reads[0].text == TEXT


def test_a_picture_without_symbols_gives_no_reads_and_the_end_of_the_ladder(pool: Pool) -> None:
    found = look(pool, saved(Image.new("L", (300, 200), 180), "PNG"))
    assert found.reads == ()
    assert found.stopped == "end"
    assert len(found.sha256) == 64


def test_too_many_bytes_pixels_or_frames_are_refused_with_the_limit(pool: Pool) -> None:
    with pytest.raises(reading.PictureTooLarge, match=r"limit is 2\.8\d* MB"):
        look(pool, bytes(3_000_001))
    with pytest.raises(reading.PictureTooLarge, match="2001 × 2000 pixels; the limit is 4 mega"):
        look(pool, saved(Image.new("1", (2001, 2000)), "PNG"))
    pages = [Image.new("1", (50, 50), shade) for shade in (0, 1)]
    for kind in ("GIF", "TIFF", "WEBP", "PNG"):
        several = saved(pages[0].convert("RGB"), kind, save_all=True, append_images=pages[1:])
        with pytest.raises(reading.PictureTooLarge, match="limit is 1"):
            look(pool, several)


def test_a_picture_that_claims_to_be_huge_is_refused_before_it_is_opened(pool: Pool) -> None:
    png = bytearray(saved(Image.new("L", (10, 10)), "PNG"))
    png[16:24] = struct.pack(">II", 60_000, 60_000)
    png[29:33] = struct.pack(">I", zlib.crc32(png[12:29]))
    with pytest.raises(reading.PictureTooLarge, match="60000 × 60000 pixels"):
        look(pool, bytes(png))


@pytest.mark.parametrize(
    "content",
    [b"This is a text.\n" * 20, b"%PDF-1.7\n%\xe2\xe3\n", b"<svg xmlns='x'/>", b"\x00" * 999],
)
def test_what_is_no_picture_is_refused_with_the_kinds_that_are(pool: Pool, content: bytes) -> None:
    with pytest.raises(reading.UnsupportedPicture, match="one of these formats: JPEG, PNG"):
        look(pool, content)


def test_an_empty_file_and_one_cut_short_are_called_that(pool: Pool) -> None:
    with pytest.raises(reading.BrokenPicture, match="empty"):
        look(pool, b"")
    for kind in ("jpeg", "png", "webp", "tiff", "heic"):
        whole = FILES[kind](label()[0])
        with pytest.raises((reading.BrokenPicture, reading.UnsupportedPicture), match=r"\.$"):
            look(pool, whole[: len(whole) // 2])
    assert look(pool, FILES["jpeg"](label()[0])).reads[0].text == TEXT
