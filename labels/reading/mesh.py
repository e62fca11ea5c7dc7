"""A mesh over a QR symbol that may be tilted, bent or crumpled: which pixel each module is.

The first mesh is a perspective, or a quadratic surface where the symbol is bent, through the
corners of its finder patterns. It is then drawn onto the symbol as it really lies: in the
straightened picture every edge should lie on a module's border, so the strength of edges, taken as
a wave with the module as its period, tells by its phase how far and where the mesh is off.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from labels.reading.finders import Finder

PIXELS = 8  # of the straightened picture, for one module
MARGIN = 1  # modules kept round the symbol

_SQUARE = np.array([[0, 0], [7, 0], [7, 7], [0, 7]], np.float32)
# How much each term of the surface costs: shifts nothing, slopes little, bends more.
_BENDING = np.array([0, 0.01, 0.01, 1, 1, 1, 4, 4, 4, 4])
STIFFNESS = 0.003
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
    nodes: np.ndarray

    @property
    def corners(self) -> np.ndarray:
        """The symbol's corners (4, 2): top left, top right, bottom right, bottom left."""
        first, last = MARGIN, self.size + MARGIN
        return self.nodes[[first, first, last, last], [first, last, last, first]]

    def straightened(self, grey: np.ndarray) -> np.ndarray:
        """Return the symbol and its margin with every module PIXELS × PIXELS pixels."""
        width = (self.size + 2 * MARGIN) * PIXELS
        at = (np.arange(width, dtype=np.float32) + 0.5) / PIXELS
        across, down = np.meshgrid(at, at)
        places = cv2.remap(self.nodes, across, down, cv2.INTER_LINEAR)
        return cv2.remap(
            grey, places - 0.5, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )

    def levels(self, grey: np.ndarray) -> np.ndarray:
        """Return the mean grey level of each module's middle, (size, size) float32."""
        soft = cv2.blur(self.straightened(grey), (4, 4))
        at = (np.arange(self.size) + MARGIN) * PIXELS + PIXELS // 2
        return soft[np.ix_(at, at)].astype(np.float32)


def first_meshes(size: int, top_left: Finder, top_right: Finder, bottom_left: Finder) -> list[Mesh]:
    """Return meshes of `size` modules through three finder patterns: flat, and bent where flat
    leaves a doubt. Empty where the patterns cannot be one symbol's of that size."""
    across, down = top_right.centre - top_left.centre, bottom_left.centre - top_left.centre
    squares = [_turned(f, across, down) for f in (top_left, top_right, bottom_left)]
    if any(square is None for square in squares):
        return []
    picture = np.concatenate(squares)
    symbol = np.concatenate(
        [_SQUARE, _SQUARE + np.array([size - 7, 0]), _SQUARE + np.array([0, size - 7])]
    )
    symbol = symbol.astype(np.float32)
    flat, _ = cv2.findHomography(symbol, picture, 0)
    if flat is None or abs(np.linalg.det(flat)) < 1e-12:
        return []
    ends = np.array([[-1, -1, 1], [size + 1, -1, 1], [-1, size + 1, 1], [size + 1, size + 1, 1]])
    if (ends @ flat[2]).min() <= 0:  # the horizon runs through the symbol
        return []
    back = cv2.perspectiveTransform(picture[:, None], np.linalg.inv(flat))[:, 0]
    off = float(np.sqrt(((back - symbol) ** 2).sum(1).mean()))  # modules
    if off > 1.2:
        return []
    nodes = _nodes(size)
    meshes = [
        Mesh(size, cv2.perspectiveTransform(nodes[:, None], flat).reshape(size + 3, size + 3, 2))
    ]
    if off > 0.15:
        terms, *_ = np.linalg.lstsq(_quadratic(symbol, size), picture, rcond=None)
        bent = (_quadratic(nodes, size) @ terms).astype(np.float32)
        meshes.append(Mesh(size, bent.reshape(size + 3, size + 3, 2)))
        meshes += _round_cylinders(size, symbol, picture)
    return meshes


def _round_cylinders(size: int, symbol: np.ndarray, picture: np.ndarray) -> list[Mesh]:
    """Return the two meshes round a cylinder, seen in perspective, that fit the corners best."""
    middle = picture.mean(0)
    reach = float(np.abs(picture - middle).max())
    seen = (picture - middle) / reach
    nodes = _nodes(size)
    fits = []
    for axis in _AXES:
        for arc in _ARCS:
            space = _on_cylinder(symbol, size, axis, arc)
            # seen = (space, 1) · T / (space · w + 1): eight numbers T and three w, w held small
            equations = np.zeros((2 * len(space) + 3, 11))
            equations[:-3:2, 0:3], equations[:-3:2, 3] = space, 1
            equations[1:-3:2, 4:7], equations[1:-3:2, 7] = space, 1
            equations[:-3:2, 8:] = -seen[:, :1] * space
            equations[1:-3:2, 8:] = -seen[:, 1:] * space
            equations[-3:, 8:] = 0.05 * np.eye(3)
            known = np.concatenate([seen.ravel(), np.zeros(3)])
            found, *_ = np.linalg.lstsq(equations, known, rcond=None)

            def project(points: np.ndarray, found: np.ndarray = found) -> np.ndarray:
                depth = points @ found[8:] + 1
                flat = np.stack([points @ found[:3] + found[3], points @ found[4:7] + found[7]], 1)
                return flat / np.where(np.abs(depth) < 1e-3, 1e-3, depth)[:, None]

            off = float(((project(space) - seen) ** 2).sum())
            fits.append((off, axis, arc, project))
    fits.sort(key=lambda fit: fit[0])
    meshes = []
    for _, axis, arc, project in fits[:2]:
        places = project(_on_cylinder(nodes, size, axis, arc)) * reach + middle
        meshes.append(Mesh(size, places.astype(np.float32).reshape(size + 3, size + 3, 2)))
    return meshes


def _on_cylinder(points: np.ndarray, size: int, axis: float, arc: float) -> np.ndarray:
    """Return where points of a symbol lie in space, (…, 3), its side being the unit of length."""
    u, v = points[:, 0] / size - 0.5, points[:, 1] / size - 0.5
    along, angle = np.cos(axis) * u + np.sin(axis) * v, arc * (np.cos(axis) * v - np.sin(axis) * u)
    return np.stack([along, np.sin(angle) / arc, (1 - np.cos(angle)) / arc], 1)


def _turned(finder: Finder, across: np.ndarray, down: np.ndarray) -> np.ndarray | None:
    """Return the finder's corners starting at the one towards the symbol's top left."""
    axes = np.array([across, down]).T
    if abs(np.linalg.det(axes)) < 1e-6:
        return None
    relative = np.linalg.solve(axes, (finder.corners - finder.centre).T).T
    turns = [float((np.roll(relative, -turn, 0) * _TOWARDS).sum()) for turn in range(4)]
    return np.roll(finder.corners, -int(np.argmax(turns)), 0)


def _nodes(size: int) -> np.ndarray:
    at = np.arange(-MARGIN, size + MARGIN + 1, dtype=np.float32)
    across, down = np.meshgrid(at, at)
    return np.stack([across.ravel(), down.ravel()], 1)


def _quadratic(points: np.ndarray, size: int) -> np.ndarray:
    u, v = points[:, 0] / size * 2 - 1, points[:, 1] / size * 2 - 1
    return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], 1)


def fit_of(mesh: Mesh, grey: np.ndarray) -> float:
    """Return how well edges lie on the mesh's lines, 0 to 1; a right mesh has 0.1 and more."""
    return float(_offsets(mesh, grey, reach=4.0)[1].mean())


def drawn_on(mesh: Mesh, grey: np.ndarray) -> Mesh:
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


def _cubic(points: np.ndarray, size: int) -> np.ndarray:
    u, v = points[:, 0] / size * 2 - 1, points[:, 1] / size * 2 - 1
    cubes = [u * u * u, u * u * v, u * v * v, v * v * v]
    return np.concatenate([_quadratic(points, size), np.stack(cubes, 1)], 1)


def _moved(mesh: Mesh, grey: np.ndarray, reach: float) -> tuple[np.ndarray, np.ndarray]:
    """Return where the nodes belong by the edges round each, and how certain each is, 0 to 1."""
    (across, down), certain = _offsets(mesh, grey, reach)
    moved = (
        mesh.nodes
        + np.gradient(mesh.nodes, axis=1) * across[..., None]
        + np.gradient(mesh.nodes, axis=0) * down[..., None]
    )
    return moved.astype(np.float32), certain


def _offsets(
    mesh: Mesh, grey: np.ndarray, reach: float
) -> tuple[tuple[np.ndarray, np.ndarray], np.ndarray]:
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
