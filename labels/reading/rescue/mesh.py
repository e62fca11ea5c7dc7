"""A mesh over a QR symbol that may be tilted, bent or crumpled: which pixel each module is.

The first mesh is a perspective, or a quadratic surface where the symbol is bent, through the
corners of its finder patterns. It is then drawn onto the symbol as it really lies: in the
straightened picture every edge should lie on a module's border, so the strength of edges, taken as
a wave with the module as its period, tells by its phase how far and where the mesh is off.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from labels.reading.front.results import Pixels
from labels.reading.rescue.finders import Finder

PIXELS = 8  # of the straightened picture, for one module
MARGIN = 1  # modules kept round the symbol

_SQUARE = np.array([[0, 0], [7, 0], [7, 7], [0, 7]], np.float32)
# How much each term of the surface costs: shifts nothing, slopes little, bends more.
_BENDING = np.array([0, 0.01, 0.01, 1, 1, 1, 4, 4, 4, 4])
STIFFNESS = 0.003
MOST_OFF = 1.2  # modules by which a flat mesh may miss the corners, on average
HEARD = 0.1  # certainty from which edges move a node all the way

# Ways that a cylinder's axis may lie on the symbol, and how far the symbol reaches round it.
_AXES = np.arange(12) * np.pi / 12
_ARCS = (0.5, 1.0, 1.5)  # radians
_TOWARDS = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], np.float32)


@dataclass(frozen=True)
class Mesh:
    """`size`: modules on a side; `nodes`: (size + 3, size + 3, 2) float32, the picture's [x, y] of
    each corner between modules, row by row, from one module outside to one outside."""

    size: int
    nodes: Pixels

    @property
    def corners(self) -> Pixels:
        """The symbol's corners (4, 2): top left, top right, bottom right, bottom left."""
        first, last = MARGIN, self.size + MARGIN
        return self.nodes[[first, first, last, last], [first, last, last, first]]

    def straightened(self, grey: Pixels) -> Pixels:
        """Return the symbol and its margin with every module PIXELS × PIXELS pixels."""
        width = (self.size + 2 * MARGIN) * PIXELS
        at = (np.arange(width, dtype=np.float32) + 0.5) / PIXELS
        across, down = np.meshgrid(at, at)
        x, y = cv2.split(cv2.remap(self.nodes, across, down, cv2.INTER_LINEAR) - 0.5)
        return cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)

    def levels(self, grey: Pixels) -> Pixels:
        """Return the mean grey level of each module's middle, (size, size) float32."""
        soft = cv2.blur(self.straightened(grey), (4, 4))
        at = (np.arange(self.size) + MARGIN) * PIXELS + PIXELS // 2
        return soft[np.ix_(at, at)].astype(np.float32)


def flat(size: int, top_left: Finder, top_right: Finder, bottom_left: Finder) -> Mesh | None:
    """Return the mesh of a flat symbol of `size` modules seen in perspective, or None where these
    finder patterns cannot be one symbol's of that size."""
    if (matched := _matched(size, top_left, top_right, bottom_left)) is None:
        return None
    symbol, picture = matched
    view, _ = cv2.findHomography(symbol, picture, 0)
    if view is None or abs(np.linalg.det(view)) < 1e-12:
        return None
    ends = np.array([[-1, -1, 1], [size + 1, -1, 1], [-1, size + 1, 1], [size + 1, size + 1, 1]])
    if (ends @ view[2]).min() <= 0:  # the horizon runs through the symbol
        return None
    back = cv2.perspectiveTransform(picture[:, None], np.linalg.inv(view))[:, 0]
    if float(np.sqrt(((back - symbol) ** 2).sum(1).mean())) > MOST_OFF:
        return None
    places = cv2.perspectiveTransform(_nodes(size)[:, None], view)
    return Mesh(size, places.reshape(size + 3, size + 3, 2))


def bent(size: int, top_left: Finder, top_right: Finder, bottom_left: Finder) -> list[Mesh]:
    """Return meshes of a bent symbol: on a quadratic surface, and round the two cylinders, seen in
    perspective, that fit the corners of its finder patterns best."""
    if (matched := _matched(size, top_left, top_right, bottom_left)) is None:
        return []
    symbol, picture = matched
    terms, *_ = np.linalg.lstsq(_quadratic(symbol, size), picture, rcond=None)
    surfaces = [_quadratic(_nodes(size), size) @ terms, *_round_cylinders(size, symbol, picture)]
    return [
        Mesh(size, places.astype(np.float32).reshape(size + 3, size + 3, 2)) for places in surfaces
    ]


def _matched(
    size: int, top_left: Finder, top_right: Finder, bottom_left: Finder
) -> tuple[Pixels, Pixels] | None:
    """Return the finder patterns' corners in modules and in the picture's pixels, (12, 2) each."""
    across, down = top_right.centre - top_left.centre, bottom_left.centre - top_left.centre
    axes = np.array([across, down]).T
    if abs(np.linalg.det(axes)) < 1e-6:
        return None
    squares = [_turned(finder, axes) for finder in (top_left, top_right, bottom_left)]
    places = ((0, 0), (size - 7, 0), (0, size - 7))
    symbol = np.concatenate([_SQUARE + np.array(place) for place in places])
    return symbol.astype(np.float32), np.concatenate(squares)


def _round_cylinders(size: int, symbol: Pixels, picture: Pixels) -> list[Pixels]:
    """Return the picture's places of all nodes for the two cylinders that fit best."""
    middle = picture.mean(0)
    reach = float(np.abs(picture - middle).max())
    target = (picture - middle) / reach
    options = [(axis, arc) for axis in _AXES for arc in _ARCS]
    space = np.stack([_on_cylinder(symbol, size, *way) for way in options])  # (ways, 12, 3)
    # seen = (space, 1) · T / (space · w + 1): eight numbers T and three w, w held small
    equations = np.zeros((len(options), 2 * len(symbol) + 3, 11))
    equations[:, 0:-3:2, 0:3], equations[:, 0:-3:2, 3] = space, 1
    equations[:, 1:-3:2, 4:7], equations[:, 1:-3:2, 7] = space, 1
    equations[:, 0:-3:2, 8:] = -target[:, :1] * space
    equations[:, 1:-3:2, 8:] = -target[:, 1:] * space
    equations[:, -3:, 8:] = 0.05 * np.eye(3)
    turned = equations.transpose(0, 2, 1)
    wanted = np.concatenate([target.ravel(), np.zeros(3)])
    fitted = np.linalg.solve(turned @ equations + 1e-9 * np.eye(11), (turned @ wanted)[..., None])[
        ..., 0
    ]

    def projected(points: Pixels, terms: Pixels) -> Pixels:
        depth = points @ terms[8:] + 1
        depth = np.where(np.abs(depth) < 1e-3, 1e-3, depth)
        x, y = points @ terms[:3] + terms[3], points @ terms[4:7] + terms[7]
        return np.stack([x / depth, y / depth], 1)

    off = [
        float(((projected(points, terms) - target) ** 2).sum())
        for points, terms in zip(space, fitted, strict=True)
    ]
    return [
        projected(_on_cylinder(_nodes(size), size, *options[best]), fitted[best]) * reach + middle
        for best in np.argsort(off)[:2]
    ]


def _on_cylinder(points: Pixels, size: int, axis: float, arc: float) -> Pixels:
    """Return where points of a symbol lie in space, (…, 3), its side being the unit of length."""
    u, v = points[:, 0] / size - 0.5, points[:, 1] / size - 0.5
    along, angle = np.cos(axis) * u + np.sin(axis) * v, arc * (np.cos(axis) * v - np.sin(axis) * u)
    return np.stack([along, np.sin(angle) / arc, (1 - np.cos(angle)) / arc], 1)


def _turned(finder: Finder, axes: Pixels) -> Pixels:
    """Return the finder's corners starting at the one towards the symbol's top left."""
    relative = np.linalg.solve(axes, (finder.corners - finder.centre).T).T
    turns = [float((np.roll(relative, -turn, 0) * _TOWARDS).sum()) for turn in range(4)]
    return np.roll(finder.corners, -int(np.argmax(turns)), 0)


def _nodes(size: int) -> Pixels:
    at = np.arange(-MARGIN, size + MARGIN + 1, dtype=np.float32)
    across, down = np.meshgrid(at, at)
    return np.stack([across.ravel(), down.ravel()], 1)


def _quadratic(points: Pixels, size: int) -> Pixels:
    u, v = points[:, 0] / size * 2 - 1, points[:, 1] / size * 2 - 1
    return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], 1)


def fit_of(mesh: Mesh, grey: Pixels) -> float:
    """Return how well edges lie on the mesh's lines, 0 to 1; a right mesh has 0.1 and more."""
    return float(_offsets(mesh, grey, reach=4.0)[1].mean())


def drawn_on(mesh: Mesh, grey: Pixels) -> Mesh:
    """Return the mesh moved onto the edges of the picture.

    It is trusted round the finder patterns first and grows from there as one smooth surface, each
    step so short that no line is taken for its neighbour; then every node finds its own place.
    """
    symbol = _nodes(mesh.size)
    surface = _cubic(symbol, mesh.size)
    middles = np.array([[3.5, 3.5], [mesh.size - 3.5, 3.5], [3.5, mesh.size - 3.5]])
    away = np.min(np.hypot(*(symbol[:, None] - middles).transpose(2, 0, 1)), axis=1)
    furthest = float(np.hypot(mesh.size - 3.5, mesh.size - 3.5))
    trusted = 6.0
    while trusted < furthest:
        moved, certain = _moved(mesh, grey, reach=1.6)
        weight = np.where(away <= trusted, certain.ravel(), 0)[:, None]
        weighted = surface * weight
        terms = np.linalg.solve(
            weighted.T @ weighted + STIFFNESS * (weight**2).sum() * np.diag(_BENDING),
            weighted.T @ ((moved - mesh.nodes).reshape(-1, 2) * weight),
        )
        shift = (surface @ terms).astype(np.float32).reshape(mesh.nodes.shape)
        mesh = Mesh(mesh.size, mesh.nodes + shift)
        trusted += 3.0
    for reach in (2.5, 1.6):
        mesh = Mesh(mesh.size, _moved(mesh, grey, reach)[0])
    return mesh


def _cubic(points: Pixels, size: int) -> Pixels:
    u, v = points[:, 0] / size * 2 - 1, points[:, 1] / size * 2 - 1
    cubes = [u * u * u, u * u * v, u * v * v, v * v * v]
    return np.concatenate([_quadratic(points, size), np.stack(cubes, 1)], 1)


def _moved(mesh: Mesh, grey: Pixels, reach: float) -> tuple[Pixels, Pixels]:
    """Return where the nodes belong by the edges round each, and how certain each is, 0 to 1."""
    (across, down), certain = _offsets(mesh, grey, reach)
    moved = (
        mesh.nodes
        + np.gradient(mesh.nodes, axis=1) * across[..., None]
        + np.gradient(mesh.nodes, axis=0) * down[..., None]
    )
    return moved.astype(np.float32), certain


def _offsets(mesh: Mesh, grey: Pixels, reach: float) -> tuple[tuple[Pixels, Pixels], Pixels]:
    """Return how many modules each node should move across and down, and how certain that is.

    `reach`: modules round a node that have a say, as the sigma of a Gaussian.
    """
    picture = cv2.GaussianBlur(mesh.straightened(grey), (0, 0), 1.0)
    width = picture.shape[0]
    wave = np.exp(2j * np.pi * (np.arange(width) + 0.5) / PIXELS).astype(np.complex64)
    moves, fits = [], []
    for dx, dy, phase in ((1, 0, wave[None, :]), (0, 1, wave[:, None])):
        edges = np.abs(cv2.Sobel(picture, cv2.CV_32F, dx, dy))
        parts = cv2.merge([edges * phase.real, edges * phase.imag, edges])
        # module by module first, so that the wide blur runs over few values
        cells = cv2.resize(parts, (mesh.size + 2,) * 2, interpolation=cv2.INTER_AREA)
        cells = cv2.copyMakeBorder(cells, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
        corners = (cells[1:, 1:] + cells[1:, :-1] + cells[:-1, 1:] + cells[:-1, :-1]) / 4
        real, imaginary, strength = cv2.split(cv2.GaussianBlur(corners, (0, 0), reach))
        # where there are no edges, or blur has taken their places, noise must not have a say
        certain = np.hypot(real, imaginary) / (strength + 0.3 * strength.mean() + 1e-3)
        heard = np.minimum(1, certain / HEARD) ** 2
        moves.append(np.arctan2(imaginary, real) / (2 * np.pi) * heard)
        fits.append(certain)
    return (moves[0], moves[1]), (fits[0] + fits[1]) / 2
