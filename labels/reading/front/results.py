"""What reading gives back: reads, each once, in reading order."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy.typing as npt

Pixels = npt.NDArray[Any]
"""Values by row and column."""
Point = tuple[float, float]
Corners = tuple[Point, Point, Point, Point]


@dataclass(frozen=True)
class Read:
    """One symbol that was read.

    `text`: as the symbol has it; in a GS1 symbol FNC1 stands as GS (0x1D). `raw`: its bytes.
    `symbology`: the standard's name ("QR Code", "Data Matrix", "Code 128", "EAN-13" …). `corners`:
    top left, top right, bottom right, bottom left of the symbol itself (however it lies), [x, y]
    in pixels of the picture as stored, EXIF orientation not applied. `rung`: what read it.
    """

    text: str
    raw: bytes
    symbology: str
    is_gs1: bool
    corners: Corners
    rung: str = ""


def quadrilateral(points: Iterable[Sequence[float]], scale: float = 1.0) -> Corners:
    """Return four points as corners, each multiplied by `scale`."""
    a, b, c, d = ((float(x) * scale, float(y) * scale) for x, y in points)
    return a, b, c, d


@dataclass(frozen=True)
class Reads:
    """All that was read from one picture, top to bottom and left to right as a person sees it.

    `rung`: where the ladder stopped. `stopped`: why ("found", "end", "budget", "killed").
    `ms`: wall time of decoding and reading. `sha256`: of the file, in hex.
    """

    reads: tuple[Read, ...]
    rung: str
    stopped: str
    ms: float
    sha256: str


def centre(corners: Corners) -> tuple[float, float]:
    """Return the mean of the corners."""
    return sum(x for x, _ in corners) / 4, sum(y for _, y in corners) / 4


def _inside(corners: Corners, x: float, y: float) -> bool:
    """Whether a point is inside a quadrilateral without dents, in either direction round."""
    crosses = [
        (bx - ax) * (y - ay) - (by - ay) * (x - ax)
        for (ax, ay), (bx, by) in zip(corners, (*corners[1:], corners[0]), strict=True)
    ]
    return min(crosses) >= 0 or max(crosses) <= 0


def same_symbol(a: Corners, b: Corners) -> bool:
    """Whether two reads are of one symbol: the middle of either lies inside the other."""
    return _inside(a, *centre(b)) or _inside(b, *centre(a))


def add_new(known: list[Read], reads: Iterable[Read]) -> list[Read]:
    """Append to `known` what is not in it yet, and return that. A symbol's first read stays."""
    before = len(known)
    for read in reads:
        if not any(same_symbol(read.corners, other.corners) for other in known):
            known.append(read)
    return known[before:]


def upright(x: float, y: float, orientation: int) -> tuple[float, float]:
    """Turn a stored point as EXIF `orientation` (1 to 8) says; only its order counts."""
    return {
        1: (x, y), 2: (-x, y), 3: (-x, -y), 4: (x, -y),
        5: (y, x), 6: (-y, x), 7: (-y, -x), 8: (y, -x),
    }[orientation]  # fmt: skip


def in_reading_order(reads: list[Read], orientation: int) -> list[Read]:
    """Sort by rows from top to bottom, then left to right.

    Two symbols share a row when the lower one's middle is less than half a symbol's height below
    the row's first.
    """
    placed = []
    for read in reads:
        points = [upright(x, y, orientation) for x, y in read.corners]
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        placed.append((sum(ys) / 4, sum(xs) / 4, max(ys) - min(ys), read))
    placed.sort(key=lambda item: (item[0], item[1]))
    rows: list[list[tuple[float, float, float, Read]]] = []
    for item in placed:
        if rows and item[0] - rows[-1][0][0] < max(rows[-1][0][2], item[2]) / 2:
            rows[-1].append(item)
        else:
            rows.append([item])
    return [item[3] for row in rows for item in sorted(row, key=lambda item: item[1])]


def is_sane(corners: Corners, width: int, height: int) -> bool:
    """Whether corners are finite and their middle lies in the picture."""
    if not all(math.isfinite(v) for point in corners for v in point):
        return False
    x, y = centre(corners)
    return 0 <= x <= width and 0 <= y <= height
