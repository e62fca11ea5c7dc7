"""From a file's bytes to grey pixels: kinds told by content, limits kept, alpha laid on white."""

import contextlib
import io
import warnings
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from PIL import (
    BmpImagePlugin,
    GifImagePlugin,
    Image,
    ImageFile,
    ImageOps,
    JpegImagePlugin,
    PngImagePlugin,
    TiffImagePlugin,
    UnidentifiedImageError,
    WebPImagePlugin,
)

from gearroom.core.rules.sentences import say
from labels.reading.front.errors import (
    BrokenPicture,
    PictureError,
    PictureTooLarge,
    UnsupportedPicture,
)
from labels.reading.front.results import Pixels

KINDS = (
    JpegImagePlugin.JpegImageFile.format,  # MPO among them: a JPEG with extras, as phones make
    PngImagePlugin.PngImageFile.format,
    WebPImagePlugin.WebPImageFile.format,
    GifImagePlugin.GifImageFile.format,
    BmpImagePlugin.BmpImageFile.format,
    TiffImagePlugin.TiffImageFile.format,
)

KINDS_IN_WORDS = "JPEG, PNG, WebP, GIF, BMP, TIFF, HEIC"
CUT_SHORT = say("The picture is cut off or damaged. Take it again.")
ORIENTATION = 0x0112  # EXIF 2.3, table 4

# Above this many pixels a JPEG is decoded at half its size: a label that can be read at all is far
# larger than two pixels a module there, and decoding is most of the cost.
REDUCE_ABOVE_PIXELS = 16_000_000

Image.MAX_IMAGE_PIXELS = None  # the limit is a setting, checked before any pixel is decoded
ImageFile.LOAD_TRUNCATED_IMAGES = False


@dataclass(frozen=True)
class Picture:
    """Grey pixels of a picture as stored.

    `grey`: uint8, height × width. `scale`: decoded pixels for one stored pixel, at most 1.
    `orientation`: EXIF, 1 to 8. `width`, `height`: stored pixels.
    """

    grey: Pixels
    scale: float
    orientation: int
    width: int
    height: int


def open_picture(content: bytes, *, max_pixels: int) -> Image.Image:
    """Open a file and check its kind, size and frames; no pixel is decoded.

    Raises UnsupportedPicture, BrokenPicture or PictureTooLarge.
    """
    if not content:
        raise BrokenPicture(say("The picture is empty. Take it again."))
    kinds = [*KINDS]
    if b"ftyp" in content[:16]:  # HEIF's library takes a while to load: only where it is one
        import pillow_heif

        pillow_heif.register_heif_opener(thumbnails=False)
        kinds.append("HEIF")
    try:
        image = Image.open(io.BytesIO(content), formats=kinds)
    except UnidentifiedImageError as error:
        raise UnsupportedPicture(
            say(
                "This picture cannot be read. Send one of these formats: %(kinds)s.",
                kinds=KINDS_IN_WORDS,
            )
        ) from error
    width, height = image.size
    if width * height > max_pixels:
        raise PictureTooLarge(
            say(
                "The picture is %(width)s × %(height)s pixels; the limit is %(limit)s "
                "megapixels. Send a smaller one.",
                width=str(width),
                height=str(height),
                limit=max_pixels / 1e6,
            )
        )
    # A phone's MPO and HEIC hold one picture and its extras; the others' frames are pictures.
    if image.format not in ("MPO", "HEIF") and getattr(image, "is_animated", False):
        raise PictureTooLarge(
            say("The picture has several frames or pages; the limit is 1. Send a single picture.")
        )
    return image


@contextlib.contextmanager
def _as_broken() -> Iterator[None]:
    """Take what a decoder raises for a broken picture."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            yield
        except (PictureError, MemoryError):
            raise
        except Exception as error:  # decoders raise whatever they like on broken files
            raise BrokenPicture(CUT_SHORT) from error


def decode(content: bytes, *, max_pixels: int) -> Picture:
    """Decode a file to grey pixels, a JPEG at reduced size where it is large.

    Raises UnsupportedPicture, BrokenPicture or PictureTooLarge, whatever the bytes are, and
    MemoryError.
    """
    with _as_broken():
        image = open_picture(content, max_pixels=max_pixels)
        width, height = image.size
        orientation = image.getexif().get(ORIENTATION, 1)
        if image.format in ("JPEG", "MPO"):
            half = width * height > REDUCE_ABOVE_PIXELS
            image.draft("L", ((width + 1) // 2, (height + 1) // 2) if half else image.size)
        grey = _grey(image)
    if orientation not in range(1, 9):
        orientation = 1
    return Picture(grey, grey.shape[1] / width, orientation, width, height)


def shrunk(content: bytes, *, max_pixels: int, longest_px: int) -> bytes:
    """A file as a JPEG for people to look at: upright, no side over `longest_px`, without anything
    else that is in the file (where and when it was taken, by which device).

    Raises as `decode` does.
    """
    with _as_broken():
        image = open_picture(content, max_pixels=max_pixels)
        image.draft("RGB", (longest_px, longest_px))
        image.thumbnail((longest_px, longest_px))
        image = ImageOps.exif_transpose(image)
        if image.mode != "RGB":
            over = image.convert("RGBA")
            image = Image.new("RGB", over.size, "white")
            image.paste(over, mask=over.getchannel("A"))
        out = io.BytesIO()
        image.info.clear()
        image.save(out, "JPEG", quality=80)
    return out.getvalue()


def _grey(image: Image.Image) -> Pixels:
    """Return uint8 grey pixels of an opened picture of any mode."""
    image.load()
    if image.mode == "1":
        image = image.convert("L")
    elif image.mode.startswith("I;16"):
        return (np.asarray(image).astype(np.uint16) >> 8).astype(np.uint8)
    elif image.mode in ("I", "F"):
        return _stretched(np.asarray(image, dtype=np.float32))
    elif image.mode in ("LA", "La", "PA", "RGBA", "RGBa") or "transparency" in image.info:
        if image.mode != "RGBA":  # converting to the same mode would copy it all
            image = image.convert("RGBA")
        white = Image.new("L", image.size, 255)
        white.paste(image.convert("L"), mask=image.getchannel("A"))
        image = white
    elif image.mode != "L":
        image = image.convert("L")
    return np.ascontiguousarray(np.asarray(image, dtype=np.uint8))


def _stretched(values: Pixels) -> Pixels:
    """Bring numbers of any range to 0 to 255; what fits there or in 16 bits keeps its meaning."""
    values = np.nan_to_num(values, nan=0.0, posinf=0.0, neginf=0.0)
    low, high = float(values.min()), float(values.max())
    if low >= 0 and high <= 255 and high > 1:
        low, high = 0.0, 255.0
    elif low >= 0 and 255 < high <= 65535:
        low, high = 0.0, 65535.0
    if high <= low:
        return np.full(values.shape, 255, np.uint8)
    return ((values - low) * (255.0 / (high - low))).astype(np.uint8)
