"""What is done to grey pixels before an engine looks: each undoes one cause of not reading.

All take and give a uint8 array, height × width, and keep its size.
"""

from collections.abc import Callable

import cv2
import numpy as np

from labels.reading.front.results import Pixels


def plain(grey: Pixels) -> Pixels:
    """Leave it as it is."""
    return grey


def local_contrast(grey: Pixels) -> Pixels:
    """Against shade and haze: contrast-limited adaptive histogram equalisation, 8 × 8 tiles."""
    return cv2.createCLAHE(3.0, (8, 8)).apply(grey)


def flattened(grey: Pixels) -> Pixels:
    """Against uneven light: divided by its own blur over a twentieth of the longer side."""
    width = max(3, int(max(grey.shape) * 0.05) | 1)
    return cv2.divide(grey, cv2.blur(grey, (width, width)), scale=160)


def lightened(grey: Pixels) -> Pixels:
    """Against darkness: gamma 0.4."""
    return cv2.LUT(grey, _gamma(0.4))


def darkened(grey: Pixels) -> Pixels:
    """Against glare and over-exposure: gamma 2.5."""
    return cv2.LUT(grey, _gamma(2.5))


def sharpened(grey: Pixels) -> Pixels:
    """Against blur: un-sharp mask, sigma 2 pixels, twice the difference added."""
    return cv2.addWeighted(grey, 3.0, cv2.GaussianBlur(grey, (0, 0), 2.0), -2.0, 0)


def sharpened_more(grey: Pixels) -> Pixels:
    """Against blur that closes a finder pattern's rings: sigma 3 pixels, thrice the difference."""
    return cv2.addWeighted(grey, 4.0, cv2.GaussianBlur(grey, (0, 0), 3.0), -3.0, 0)


def contrast_sharpened(grey: Pixels) -> Pixels:
    """Against blur on what has little contrast: local contrast, then sharpened."""
    return sharpened(local_contrast(grey))


def smoothed(grey: Pixels) -> Pixels:
    """Against grain and print dots: median over 5 × 5 pixels."""
    return cv2.medianBlur(grey, 5)


def light_joined(grey: Pixels) -> Pixels:
    """Against ink that ran: closing with 3 × 3 pixels."""
    return cv2.morphologyEx(grey, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))


def black_and_white(block: int) -> Callable[[Pixels], Pixels]:
    """Return a preparation: each pixel against the mean of `block` × `block` pixels."""

    def threshold(grey: Pixels) -> Pixels:
        return cv2.adaptiveThreshold(
            grey, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, block, 5
        )

    return threshold


def at_most(grey: Pixels, side: int) -> tuple[Pixels, float]:
    """Return the picture with its longer side at most `side` pixels, and the scale it has then.

    Halved by means as often as it goes, the rest by lines between pixels: twenty times as fast as
    one step by areas.
    """
    longer = max(grey.shape)
    if longer <= side:
        return grey, 1.0
    small = grey
    while max(small.shape) >= 2 * side:
        height, width = small.shape[0] // 2, small.shape[1] // 2
        small = cv2.resize(
            small[: 2 * height, : 2 * width], (width, height), interpolation=cv2.INTER_AREA
        )
    if (scale := side / max(small.shape)) < 1:
        small = cv2.resize(small, None, fx=scale, fy=scale, interpolation=cv2.INTER_LINEAR)
    return small, max(small.shape) / longer


def enlarged(grey: Pixels, times: int) -> tuple[Pixels, float]:
    """Return the picture `times` as large, for symbols of very few pixels a module."""
    return cv2.resize(grey, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC), float(times)


def _gamma(power: float) -> Pixels:
    return (255 * (np.arange(256) / 255) ** power).astype(np.uint8)
