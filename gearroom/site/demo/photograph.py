"""A photograph of a printed label, as a phone would take it: turned, tilted, scuffed, unevenly
lit and kept as JPEG. The demonstration reads its own labels from these."""

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]


def photograph(label_png: bytes, *, seed: int = 1) -> bytes:
    """JPEG bytes of a photograph of the label; the same seed gives the same photograph."""
    chance = np.random.default_rng(seed)
    label = cv2.imdecode(np.frombuffer(label_png, np.uint8), cv2.IMREAD_COLOR)
    if label is None:
        raise ValueError("that is not a picture of a label")
    label = _scuff(label.astype(np.uint8), chance)
    weave = chance.normal(0, 9, (1200, 1600, 1))  # the cloth of a red bag behind the label
    bag = np.clip(np.array([48, 40, 168]) + weave, 0, 255).astype(np.uint8)
    picture = _lay_down(label, bag, chance)
    picture = _light(picture, chance)
    done, jpeg = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 72])
    if not done:
        raise ValueError("the photograph could not be kept as JPEG")
    return bytes(jpeg.tobytes())


def _scuff(label: Picture, chance: np.random.Generator) -> Picture:
    """Scratches and dirt, thin enough that the symbol's error correction covers them."""
    height, width = label.shape[:2]
    scuffed = label.copy()
    for _ in range(10):
        x, y = chance.integers(0, width), chance.integers(0, height)
        dx, dy = (
            chance.integers(-width // 4, width // 4),
            chance.integers(-height // 4, height // 4),
        )
        grey = int(chance.integers(130, 240))
        cv2.line(
            scuffed,
            (int(x), int(y)),
            (int(x + dx), int(y + dy)),
            (grey, grey, grey),
            max(1, width // 260),
            cv2.LINE_AA,
        )
    for _ in range(25):
        centre = int(chance.integers(0, width)), int(chance.integers(0, height))
        grey = int(chance.integers(80, 200))
        cv2.circle(scuffed, centre, max(1, width // 300), (grey, grey, grey + 10), -1, cv2.LINE_AA)
    return scuffed


def _lay_down(label: Picture, bag: Picture, chance: np.random.Generator) -> Picture:
    """The label on the bag, turned by up to 25 degrees and seen from a little to the side."""
    height, width = label.shape[:2]
    size = 900 / max(height, width)
    angle = np.radians(chance.uniform(-25, 25))
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    corners = np.array([[-width, -height], [width, -height], [width, height], [-width, height]])
    laid = (corners * size / 2) @ turn.T
    laid = laid / (1 + laid[:, :1] / 9000 + laid[:, 1:] / 5000) + [800, 600]
    source = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    matrix = cv2.getPerspectiveTransform(source, laid.astype(np.float32))
    shape = (bag.shape[1], bag.shape[0])
    known = cv2.warpPerspective(label, matrix, shape, flags=cv2.INTER_AREA)
    mask = cv2.warpPerspective(np.full((height, width), 255, np.uint8), matrix, shape)
    return np.where(mask[..., None] > 127, known, bag).astype(np.uint8)


def _light(picture: Picture, chance: np.random.Generator) -> Picture:
    """Lamp light from one side, a hand's shadow, a little blur and the sensor's noise."""
    height, width = picture.shape[:2]
    across = np.linspace(1.05, 0.55, width)[None, :, None]
    y, x = np.mgrid[0:height, 0:width]
    shadow = 1 - 0.35 / (1 + np.exp((y - 0.62 * height + 0.15 * x) / -60.0))[..., None]
    lit = cv2.GaussianBlur(picture, (0, 0), 1.1) * across * shadow
    return np.asarray(np.clip(lit + chance.normal(0, 5, picture.shape), 0, 255), np.uint8)
