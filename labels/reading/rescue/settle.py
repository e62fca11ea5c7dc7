"""Dark or light, settled for all modules of a symbol together, and how sure each is.

What the camera saw is taken as ink and paper, each a smooth surface of grey, laid module by module
and blurred. The modules that explain it best are looked for by turning one after another where
that lessens what is left unexplained. How much a turn would worsen it says how sure a module is;
what stays unexplained nearby (dirt, glare, a fold) says that it is not.
"""

import cv2
import numpy as np

from labels.reading.front.results import Pixels
from labels.reading.rescue.modules import UNKNOWN, blur_weights, known_modules

ROUNDS = 3
TURNS = 8


def settled(levels: Pixels, dark: Pixels, sigma: float) -> tuple[Pixels, Pixels]:
    """Return (dark, sure), both (size, size): modules, and about 1 for certain, 0 for either.

    `levels`: grey levels of the modules' middles; `dark`: a first guess; `sigma`: blur, in modules.
    """
    size = len(levels)
    weights = blur_weights(sigma)
    known = known_modules(size)
    dark = np.where(known == UNKNOWN, dark, known == 1)
    surface = _quadratic(size)
    for _ in range(ROUNDS):
        light = _blurred(dark, weights)
        paper, ink = _paper_and_ink(levels, light, surface)
        contrast = np.maximum(paper - ink, 1.0)
        for _ in range(TURNS):
            rest = levels - ink - contrast * _blurred(dark, weights)
            cost = _cost_of_turning(rest, dark, contrast, weights)
            least = cv2.erode(cost, np.ones((3, 3), np.uint8))
            turn = (cost < 0) & (cost <= least) & (known == UNKNOWN)
            if not turn.any():
                break
            dark = dark ^ turn
    rest = levels - ink - contrast * _blurred(dark, weights)
    confirmed = _cost_of_turning(rest, dark, contrast, weights) / _own_share(contrast, weights)
    unexplained = cv2.blur((rest / contrast) ** 2, (3, 3), borderType=cv2.BORDER_REPLICATE)
    return dark, confirmed - 8 * unexplained


def _blurred(dark: Pixels, weights: Pixels) -> Pixels:
    """Return lightness 0 to 1 as a blur of these modules gives it; paper lies all round."""
    light = cv2.copyMakeBorder((~dark).astype(np.float32), 2, 2, 2, 2, cv2.BORDER_CONSTANT, value=1)
    return cv2.sepFilter2D(light, -1, weights, weights)[2:-2, 2:-2]


def _paper_and_ink(levels: Pixels, light: Pixels, surface: Pixels) -> tuple[Pixels, Pixels]:
    """Return the grey of paper and of ink at each module, robust against what is neither."""
    share = light.ravel()[:, None]
    terms = np.concatenate([surface * share, surface * (1 - share)], 1)
    greys = levels.ravel()
    weight = np.ones_like(greys)
    for _ in range(4):
        weighted = terms * weight[:, None]
        result, *_ = np.linalg.lstsq(weighted, greys * weight, rcond=1e-6)
        off = np.abs(greys - terms @ result)
        weight = 1 / (1 + (off / (2 * np.median(off) + 1e-3)) ** 2)
    half = surface.shape[1]
    shape = levels.shape
    return (surface @ result[:half]).reshape(shape), (surface @ result[half:]).reshape(shape)


def _cost_of_turning(rest: Pixels, dark: Pixels, contrast: Pixels, weights: Pixels) -> Pixels:
    """Return by how much turning each module alone would raise the squared rest."""
    clipped = np.clip(rest, -0.7 * contrast, 0.7 * contrast) * contrast
    pull = cv2.sepFilter2D(
        clipped.astype(np.float32), -1, weights, weights, borderType=cv2.BORDER_CONSTANT
    )
    return np.add(np.where(dark, -2 * pull, 2 * pull), _own_share(contrast, weights))


def _own_share(contrast: Pixels, weights: Pixels) -> Pixels:
    return np.asarray(contrast**2 * (weights**2).sum() ** 2, np.float32)


def _quadratic(size: int) -> Pixels:
    at = np.linspace(-1, 1, size)
    u, v = (axis.ravel() for axis in np.meshgrid(at, at))
    return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], 1)
