"""Finder patterns of QR symbols: where they are and which three belong together.

A finder pattern (ISO/IEC 18004, 6.3.3) is a dark square in a light ring in a dark ring. In a
picture of black and white, however tilted or bent, it stays a dark outline with a hole with a dark
spot in it, all with one middle. Its four outer corners are worth more than its middle: twelve
corners of three patterns fix the perspective without any other pattern.
"""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from labels.reading.front.results import Pixels
from labels.reading.ladder.preparations import at_most

LEAST_AREA = 30.0  # square pixels of the outline
MOST_LOOSE = 6  # finder patterns of which pairs are completed
NEIGHBOURS = 8  # how many finder patterns round one are tried with it


@dataclass(frozen=True)
class Finder:
    """One finder pattern. `centre`: (2,); `corners`: (4, 2), clockwise as seen; `side`: pixels."""

    centre: Pixels
    corners: Pixels
    side: float


def find(grey: Pixels, *, side: int, block: int) -> list[Finder]:
    """Return the finder patterns in a picture, largest first, in its pixels.

    They are looked for at `side` pixels on the longer side, black and white decided against the
    mean of `block` × `block` pixels there.
    """
    small, scale = at_most(grey, side)
    dark = cv2.adaptiveThreshold(
        small, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, block, 5
    )
    distinct: list[Finder] = []
    for finder in sorted(_nested(dark), key=lambda finder: -finder.side):
        if all(np.hypot(*(finder.centre - other.centre)) > 0.35 * other.side for other in distinct):
            distinct.append(finder)
    return [
        Finder((f.centre + 0.5) / scale, (f.corners + 0.5) / scale, f.side / scale)
        for f in distinct
    ]


def _nested(dark: Pixels) -> Iterator[Finder]:
    """Give the outlines that have a hole that has a spot, of the right proportions."""
    contours, tree = cv2.findContours(dark, cv2.RETR_TREE, cv2.CHAIN_APPROX_NONE)
    if tree is None:
        return
    following, child, parent = tree[0][:, 0], tree[0][:, 2], tree[0][:, 3]

    def largest(first: int, *, with_child: bool) -> tuple[int, float]:
        best, best_area = -1, 0.0
        while first >= 0:
            if not with_child or child[first] >= 0:
                area = cv2.contourArea(contours[first])
                if area > best_area:
                    best, best_area = first, area
            first = following[first]
        return best, best_area

    for outline in np.unique(parent[(child >= 0) & (parent >= 0)]):
        hole, hole_area = largest(child[outline], with_child=True)
        spot, spot_area = largest(child[hole], with_child=False) if hole >= 0 else (-1, 0.0)
        finder = _finder(contours[outline], contours[spot], hole_area) if spot_area > 0 else None
        if finder is not None:
            yield finder


def _finder(outline: Pixels, spot: Pixels, hole_area: float) -> Finder | None:
    """Return the finder pattern of this outline and spot, or None where proportions are others."""
    area, spot_area = cv2.contourArea(outline), cv2.contourArea(spot)
    # 49 : 25 : 9 where nothing bleeds; ink and light move all three
    if area < LEAST_AREA or not 1.5 < area / spot_area < 16 or not 1.1 < hole_area / spot_area < 8:
        return None
    middle = _middle(spot)
    if np.hypot(*(_middle(outline) - middle)) > 0.2 * np.sqrt(area):
        return None
    corners = _corners(outline)
    quad_area = 0.0 if corners is None else cv2.contourArea(corners)
    if corners is None or quad_area <= 0 or not 0.7 < area / quad_area < 1.4:
        return None
    return Finder(middle, corners, float(np.sqrt(quad_area)))


def _middle(contour: Pixels) -> Pixels:
    moments = cv2.moments(contour)
    area = moments["m00"] or 1.0
    return np.array([moments["m10"] / area, moments["m01"] / area], np.float32)


def _corners(contour: Pixels) -> Pixels | None:
    """Return the four corners of an outline, clockwise, or None where it has none.

    Blur rounds corners off, so they are taken where lines through the sides' middles cross.
    """
    hull = cv2.convexHull(contour)
    if len(hull) < 4:
        return None
    around = cv2.arcLength(hull, True)
    corners = None
    for tolerance in (0.02, 0.04, 0.06, 0.08, 0.1, 0.13):
        polygon = cv2.approxPolyDP(hull, tolerance * around, True)
        if len(polygon) == 4:
            corners = polygon[:, 0, :].astype(np.float32)
            break
        if len(polygon) < 4:
            break
    if corners is None:
        corners = cv2.boxPoints(cv2.minAreaRect(hull)).astype(np.float32)
    if cv2.contourArea(corners, True) < 0:
        corners = corners[::-1]
    return _crossings(contour[:, 0, :].astype(np.float32), corners)


def _crossings(outline: Pixels, corners: Pixels) -> Pixels:
    """Return where lines through the outline along each side cross, near the given corners."""
    lines = []
    for start, end in zip(corners, np.roll(corners, -1, 0), strict=True):
        way = end - start
        length = float(np.hypot(*way))
        if length < 6:
            return corners
        way = way / length
        along = (outline - start) @ way / length
        aside = np.abs((outline - start) @ np.array([-way[1], way[0]]))
        chosen = outline[(along > 0.2) & (along < 0.8) & (aside < 0.15 * length)]
        if len(chosen) < 4:
            return corners
        lines.append(cv2.fitLine(chosen, cv2.DIST_HUBER, 0, 0.01, 0.01).ravel())
    crossings = []
    for (ax, ay, px, py), (bx, by, qx, qy) in zip([lines[-1], *lines[:-1]], lines, strict=True):
        cross = ax * by - ay * bx
        if abs(cross) < 0.1:
            return corners
        far = ((qx - px) * by - (qy - py) * bx) / cross
        crossings.append((px + far * ax, py + far * ay))
    points = np.array(crossings, np.float32)
    sides = np.hypot(*(np.roll(corners, -1, 0) - corners).T)
    return points if (np.hypot(*(points - corners).T) < 0.3 * sides.max()).all() else corners


def triples(finders: list[Finder]) -> list[tuple[Finder, Finder, Finder]]:
    """Return (top left, top right, bottom left) that may be one symbol's, likeliest first."""
    if len(finders) < 3:
        return []
    centres = np.array([finder.centre for finder in finders])
    sides = np.array([finder.side for finder in finders])
    ranked = []
    for corner in range(len(finders)):
        away = np.hypot(*(centres - centres[corner]).T)
        larger = np.maximum(sides, sides[corner])
        fits = (sides < 3 * sides[corner]) & (sides[corner] < 3 * sides)
        fits &= (away > larger) & (away < 30 * larger)
        near = [other for other in np.argsort(away) if fits[other]][:NEIGHBOURS]
        for right, below in itertools.combinations(near, 2):
            across, down = centres[right] - centres[corner], centres[below] - centres[corner]
            lengths = np.hypot(*across), np.hypot(*down)
            slant = abs(across @ down) / (lengths[0] * lengths[1])
            uneven = abs(np.log(lengths[0] / lengths[1]))
            if slant > 0.96 or uneven > np.log(5):
                continue
            if _cross(across, down) < 0:
                right, below = below, right
            unlike = np.abs(np.log(sides[[right, below]] / sides[corner])).sum()
            ranked.append((slant + 0.3 * (uneven + unlike), corner, right, below))
    ranked.sort()
    return [(finders[a], finders[b], finders[c]) for _, a, b, c in ranked]


def _cross(a: Pixels, b: Pixels) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def completed(finders: list[Finder]) -> list[tuple[Finder, Finder, Finder]]:
    """Return (top left, top right, bottom left) with one of the three put where it must have been.

    For symbols that lost a finder pattern to dirt, glare or a tear. A pair's own sides say which
    way the third lies, and its length in modules is the pair's.
    """
    guesses = []
    for first, second in itertools.combinations(finders[:MOST_LOOSE], 2):
        if not 0.4 < first.side / second.side < 2.5:
            continue
        way = second.centre - first.centre
        if not 1.2 * first.side < np.hypot(*way) < 30 * first.side:
            continue
        sides = (_side(first, 0) + _side(second, 0)) / 2, (_side(first, 1) + _side(second, 1)) / 2
        try:
            steps = np.linalg.solve(np.array(sides).T, way)  # how many sides the way is, along each
        except np.linalg.LinAlgError:
            continue
        lesser, greater = sorted(np.abs(steps))
        if lesser > 0.6 * greater:  # a diagonal: the corner between them is lost
            for corner in (first, second):
                for place in (0, 1):
                    lost = _moved(
                        corner, sides[place] * steps[place] * (1 if corner is first else -1)
                    )
                    guesses.append((lost, first, second))
        elif lesser < 0.35 * greater:  # a side: the third lies to the left or right of either end
            along = int(np.argmax(np.abs(steps)))
            across = sides[1 - along] * steps[along]
            guesses += [
                (corner, other, _moved(corner, across * sign))
                for corner, other in ((first, second), (second, first))
                for sign in (1, -1)
            ]
    return [
        (a, b, c) if _cross(b.centre - a.centre, c.centre - a.centre) > 0 else (a, c, b)
        for a, b, c in guesses
    ]


def _side(finder: Finder, turn: int) -> Pixels:
    """Return the mean of two opposite sides, pointing to the right (turn 0) or down (turn 1)."""
    sides = np.roll(finder.corners, -1, 0) - finder.corners
    first, second = (sides[0] - sides[2]) / 2, (sides[1] - sides[3]) / 2
    if abs(first[0]) < abs(first[1]):
        first, second = second, first
    chosen: Pixels = (first, second)[turn]
    return chosen if chosen[turn] > 0 else -chosen


def _moved(finder: Finder, by: Pixels) -> Finder:
    by = by.astype(np.float32)
    return Finder(finder.centre + by, finder.corners + by, finder.side)
