"""An engine of our own for QR symbols that are tilted, bent, crumpled, blurred or worn.

zxing-cpp takes a symbol as flat and its modules as clear. This one finds the finder patterns by
their outlines, lays a mesh through their corners, draws it onto the symbol's edges as it lies, and
decides dark and light in several ways. What a decoder's error correction then accepts is read.
"""

import time
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace

import cv2
import numpy as np
import zxingcpp

from labels.reading.front.results import Corners, Pixels, Read, quadrilateral
from labels.reading.ladder.engines import Engine, read_of
from labels.reading.rescue import codewords, finders, mesh, modules
from labels.reading.rescue.finders import Finder
from labels.reading.rescue.mesh import Mesh
from labels.reading.rescue.modules import UNKNOWN, blur_weights, known_modules

Triple = tuple[Finder, Finder, Finder]  # top left, top right, bottom left

MOST_TRIPLES = 60
MOST_PROMISING = 4  # with a finder pattern guessed
MOST_TIME = 0.3  # share of what is left: a picture full of squares leaves some for other rungs
MOST_SIZES = 6  # sizes tried for three finder patterns
MOST_SIZES_BENT = 2  # of these, also taken as bent
MOST_MESHES = 4  # of all, drawn onto the edges and decoded
MOST_SETTLED = 4  # meshes worth settling modules on
MOST_GUESSES = 2  # at dark and light, of each
BLURS = (0.3, 0.45, 0.6, 0.75)  # sigmas in modules, tried in settling


def straighten(*, side: int, block: int, settle: bool = False, complete: bool = False) -> Engine:
    """Return an engine that looks for finder patterns at `side` pixels with threshold `block`.

    `settle`: also settle modules together and correct with erasures, which takes long.
    `complete`: take two finder patterns for a symbol that lost the third.
    """

    def engine(grey: Pixels, known: Sequence[Corners], until: float) -> list[Read]:
        until = time.monotonic() + MOST_TIME * (until - time.monotonic())
        taken = [np.array(corners, np.float32) for corners in known]
        reads: list[Read] = []
        loose = [f for f in finders.find(grey, side=side, block=block) if not _in_any(f, taken)]
        triples = (
            _promising(grey, finders.completed(loose))
            if complete
            else finders.triples(loose)[:MOST_TRIPLES]
        )
        for triple in triples:
            if time.monotonic() > until:
                break
            if any(_in_any(finder, taken) for finder in triple):
                continue
            if read := _read(grey, triple, until, settle=settle):
                reads.append(read)
                taken.append(np.array(read.corners, np.float32))
        return reads

    return engine


def _promising(grey: Pixels, triples: list[Triple]) -> list[Triple]:
    """Return the few guesses at a lost finder pattern that known modules bear out."""
    ranked = []
    for number, triple in enumerate(triples):
        flats = [mesh.flat(size, *triple) for size in _sizes(grey, *triple)[:3]]
        off = [modules.misfit(modules.first_decision(laid.levels(grey))) for laid in flats if laid]
        if off and min(off) < 0.27:
            ranked.append((min(off), number))
    return [triples[number] for _, number in sorted(ranked)[:MOST_PROMISING]]


def _in_any(finder: Finder, quads: list[Pixels]) -> bool:
    x, y = (float(value) for value in finder.centre)
    return any(cv2.pointPolygonTest(quad, (x, y), False) >= 0 for quad in quads)


def _read(grey: Pixels, triple: Triple, until: float, *, settle: bool) -> Read | None:
    hopeful: list[tuple[float, Mesh, Pixels, Pixels]] = []
    for first in _best_meshes(grey, triple):
        if time.monotonic() > until:
            return None
        if modules.misfit(modules.first_decision(first.levels(grey))) > 0.3:
            continue
        for laid in (mesh.drawn_on(first, grey), first):
            levels = laid.levels(grey)
            for dark in modules.decisions(levels):
                off = modules.misfit(dark)
                barcode = modules.decode(dark) if off < 0.2 else None
                if barcode is not None:
                    return _read_on(barcode, laid)
                hopeful.append((off - mesh.fit_of(laid, grey), laid, levels, dark))
    return _settled(hopeful, until) if settle else None


def _best_meshes(grey: Pixels, triple: Triple) -> list[Mesh]:
    """Return the meshes on whose lines the picture's edges lie best, best first."""

    def ranked(meshes: Iterable[Mesh | None], most: int) -> list[Mesh]:
        laid = [each for each in meshes if each is not None]
        return sorted(laid, key=lambda each: -mesh.fit_of(each, grey))[:most]

    flats = ranked((mesh.flat(size, *triple) for size in _sizes(grey, *triple)), MOST_SIZES_BENT)
    bent = [each for flat in flats for each in mesh.bent(flat.size, *triple)]
    return ranked([*flats, *bent], MOST_MESHES)


def _settled(hopeful: list[tuple[float, Mesh, Pixels, Pixels]], until: float) -> Read | None:
    """Read the most hopeful guesses at dark and light by settling all modules together."""
    tried: Counter[int] = Counter()
    for off, laid, levels, dark in sorted(hopeful, key=lambda item: item[0]):
        tried[id(laid)] += 1
        if tried[id(laid)] > MOST_GUESSES:
            continue
        if off > 0.12 or len(tried) > MOST_SETTLED:
            break
        for sigma in BLURS:
            if time.monotonic() > until:
                return None
            right = codewords.corrected(*settled(levels, dark, sigma))
            barcode = modules.decode(right) if right is not None else None
            if barcode is not None:
                return _read_on(barcode, laid)
    return None


def _read_on(barcode: zxingcpp.Barcode, laid: Mesh) -> Read:
    return replace(read_of(barcode), symbology="QR Code", corners=quadrilateral(laid.corners))


def _sizes(grey: Pixels, top_left: Finder, top_right: Finder, bottom_left: Finder) -> list[int]:
    """Return how many modules a side may have, likeliest first: by lengths, and by counting the
    timing patterns' changes between dark and light."""
    lengths, counts = [], []
    for other in (top_right, bottom_left):
        way = other.centre - top_left.centre
        length = float(np.hypot(*way))
        near, far = _along(top_left, way / length), _along(other, way / length)
        lengths.append(length / ((near + far) / 14) + 7)
        counts += [_changes(grey, top_left, other, sideways) for sideways in (1, -1)]
    guesses = [sum(lengths) / 2, *counts, *lengths]
    sizes = [4 * round((guess - 17) / 4) + 17 for guess in guesses]
    sizes += [sizes[0] + 4, sizes[0] - 4]
    return list(dict.fromkeys(size for size in sizes if 21 <= size <= 177))[:MOST_SIZES]


def _along(finder: Finder, way: Pixels) -> float:
    """Return the length of the finder's sides that run along `way`."""
    sides = np.roll(finder.corners, -1, 0) - finder.corners
    lengths = np.hypot(*sides.T)
    cosines = np.abs(sides @ way) / np.maximum(lengths, 1e-6)
    chosen = [0, 2] if cosines[0] + cosines[2] > cosines[1] + cosines[3] else [1, 3]
    return float(lengths[chosen].mean())


def _changes(grey: Pixels, start: Finder, end: Finder, sideways: int) -> float:
    """Return the size that the count of changes along one side of two finder patterns tells."""
    way = end.centre - start.centre
    length = float(np.hypot(*way))
    normal = np.array([-way[1], way[0]], np.float32) / length * sideways
    points = []
    for finder in (start, end):
        # the middle of the outermost ring, on the side towards `normal`
        reach = float(((finder.corners - finder.centre) @ normal).max()) * 6 / 7
        points.append(finder.centre + normal * reach)
    steps = np.linspace(0, 1, int(length * 2) + 8, dtype=np.float32)[:, None]
    line = points[0] + (points[1] - points[0]) * steps
    profile = cv2.remap(
        grey, line[None, :, 0].astype(np.float32), line[None, :, 1].astype(np.float32),
        cv2.INTER_LINEAR,
    )[0].astype(np.float32)  # fmt: skip
    window = np.ones((1, max(3, len(profile) // 3)), np.uint8)
    low, high = cv2.erode(profile[None], window)[0], cv2.dilate(profile[None], window)[0]
    dark = profile < (low + high) / 2
    return int((dark[1:] != dark[:-1]).sum()) + 13.0


# -------------------------------------------------------------------------- dark or light, settled
# For all modules of a symbol together, and how sure each is. What the camera saw is taken as ink
# and paper, each a smooth surface of grey, laid module by module and blurred. The modules that
# explain it best are looked for by turning one after another where that lessens what is left
# unexplained. How much a turn would worsen it says how sure a module is; what stays unexplained
# nearby (dirt, glare, a fold) says that it is not.
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
