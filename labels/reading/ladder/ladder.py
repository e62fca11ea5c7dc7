"""The ladder: ordered attempts, cheap and fruitful first, inside a budget of wall time.

`LADDER` is data. Each rung is a view (how large), a preparation, an engine, and what it costs; the
order is that of gain for time as tests/bench/reading.py measures and prints it. A rung that would
not fit in what is left of the budget is passed over.
"""

import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from kits.rules.lookup import label_codes
from labels.reading.front.pictures import Picture
from labels.reading.front.results import Pixels, Read, add_new, is_sane, quadrilateral
from labels.reading.ladder import engines, preparations as prepare
from labels.reading.rescue.straighten import straighten

# The largest view any rung works on: four thousand pixels hold a shelf of labels at 3 a module.
LARGEST_SIDE = 4200


@dataclass(frozen=True)
class Rung:
    """One attempt.

    `side`: the view's longer side in pixels, at most. `times`: enlarged so many times, and only
    where the picture's longer side is at most `side`. `cost_ms_per_mp`: what the preparation and
    engine took on one core for a megapixel of view, for telling what still fits. `varies`: the
    cost hangs on what is in the picture and tells nothing about the machine.
    """

    name: str
    engine: engines.Engine
    preparation: Callable[[Pixels], Pixels] = prepare.plain
    side: int = LARGEST_SIDE
    times: int = 1
    cost_ms_per_mp: float = 2.0
    varies: bool = False


def _straightened(
    name: str,
    preparation: Callable[[Pixels], Pixels] = prepare.plain,
    *,
    side: int,
    block: int,
    cost: float,
    view: int = LARGEST_SIDE,
    times: int = 1,
    settle: bool = False,
    complete: bool = False,
) -> Rung:
    """Return a rung of the straightener, which looks for finder patterns at `side` pixels."""
    engine = straighten(side=side, block=block, settle=settle, complete=complete)
    largest = view if times == 1 else side // times
    return Rung(name, engine, preparation, largest, times, cost, varies=True)


LADDER: tuple[Rung, ...] = (
    Rung("plain", engines.qr, cost_ms_per_mp=2),
    Rung("linear", engines.linear, side=2400, cost_ms_per_mp=4.5),
    Rung("data matrix", engines.data_matrix, side=1600, cost_ms_per_mp=10),
    Rung("lightened 1200", engines.qr, prepare.lightened, side=1200, cost_ms_per_mp=3.5),
    Rung("threshold 15", engines.qr_clean, prepare.black_and_white(15), side=900, cost_ms_per_mp=4),
    Rung("enlarged × 4", engines.qr, side=700, times=4, cost_ms_per_mp=2.5),
    Rung("darkened 900", engines.qr, prepare.darkened, side=900, cost_ms_per_mp=4),
    Rung("lightened 900", engines.qr, prepare.lightened, side=900, cost_ms_per_mp=4),
    _straightened("straightened 31", side=1600, block=31, cost=8),
    _straightened("straightened × 3", side=3300, block=51, times=3, cost=6),
    Rung("darkened 2200", engines.qr, prepare.darkened, side=2200, cost_ms_per_mp=3.5),
    _straightened("straightened fine × 3", side=3300, block=21, times=3, cost=8),
    Rung("zbar enlarged", engines.zbar_qr, side=700, times=4, cost_ms_per_mp=25),
    Rung("light joined", engines.qr, prepare.light_joined, cost_ms_per_mp=3),
    Rung("lightened", engines.qr, prepare.lightened, cost_ms_per_mp=4),
    Rung("local contrast", engines.qr, prepare.local_contrast, side=2200, cost_ms_per_mp=8),
    Rung("zbar 1200", engines.zbar_qr, side=1200, cost_ms_per_mp=30),
    Rung("sharpened 900", engines.qr, prepare.sharpened, side=900, cost_ms_per_mp=7),
    Rung("threshold 151", engines.qr_clean, prepare.black_and_white(151), 2200, 1, 3),
    _straightened(
        "straightened sharpened", prepare.sharpened, side=1600, block=21, view=2200, cost=40
    ),
    _straightened("straightened fine", side=3000, block=51, cost=18),
    _straightened("settled", side=1600, block=31, settle=True, cost=20),
    _straightened("settled × 3", side=3300, block=51, settle=True, times=3, cost=20),
    _straightened(
        "settled sharpened",
        prepare.sharpened_more,
        side=1600,
        block=31,
        settle=True,
        view=2200,
        cost=40,
    ),
    _straightened(
        "settled sharpened × 2",
        prepare.sharpened_more,
        side=3300,
        block=31,
        settle=True,
        times=2,
        cost=40,
    ),
    _straightened("third guessed", side=1600, block=21, settle=True, complete=True, cost=35),
    _straightened(
        "third guessed × 3", side=3300, block=51, settle=True, complete=True, times=3, cost=35
    ),
    Rung("flattened", engines.qr, prepare.flattened, side=1600, cost_ms_per_mp=4),
    Rung("smoothed", engines.qr, prepare.smoothed, side=2200, cost_ms_per_mp=3),
    Rung("threshold 61", engines.qr_clean, prepare.black_and_white(61), 1600, 1, 3),
    _straightened("straightened 15", prepare.smoothed, side=1600, block=15, cost=8),
    Rung("data matrix contrast", engines.data_matrix, prepare.local_contrast, 1200, 1, 12),
    Rung("linear fine", engines.linear, cost_ms_per_mp=4.5),
    Rung("stacked", engines.stacked, side=1600, cost_ms_per_mp=8),
    _straightened(
        "settled in contrast × 2",
        prepare.contrast_sharpened,
        side=3300,
        block=31,
        settle=True,
        times=2,
        cost=45,
    ),
)

_OWN = re.compile(r"https?://.+/L/(\S{8})", re.I | re.S)


def is_own(text: str) -> bool:
    """Whether a read is one of our labels, its check character right."""
    match = _OWN.fullmatch(text)
    return match is not None and label_codes.parse(match[1]) is not None


def climb(
    picture: Picture,
    *,
    budget_s: float,
    enough: Callable[[list[Read]], bool],
    tell: Callable[[list[Read]], None],
) -> tuple[str, str]:
    """Try rung after rung until `enough` of what was read so far, the budget or the end; the name
    of the last rung, and why it stopped ("found", "budget", "end").

    `tell` is given what each rung adds, at once, so that nothing is lost with the process.
    """
    started = time.monotonic()
    known: list[Read] = []
    views: dict[int, tuple[Pixels, float]] = {}
    slowness = 1.0  # this machine, now, against the costs as measured
    name = ""
    passed_over = False
    for rung in LADDER:
        if (view := _view(picture, rung, views)) is None:
            continue
        pixels, scale = view
        expected = rung.cost_ms_per_mp / 1000 * pixels.size / 1e6
        before = time.monotonic()
        if name and before - started + expected * slowness > budget_s:
            passed_over = True
            continue
        whole = scale * picture.scale
        read_already = [quadrilateral(read.corners, whole) for read in known]
        reads = rung.engine(rung.preparation(pixels), read_already, started + budget_s)
        if not rung.varies:
            slowness = max(0.8 * slowness, (time.monotonic() - before) / max(expected, 0.002))
        name = rung.name
        if fresh := add_new(known, _in_stored_pixels(reads, whole, picture, name)):
            tell(fresh)
            if enough(known):
                return name, "found"
        if time.monotonic() - started > budget_s:
            return name, "budget"
    return name, "budget" if passed_over else "end"


def _view(
    picture: Picture, rung: Rung, views: dict[int, tuple[Pixels, float]]
) -> tuple[Pixels, float] | None:
    """Return the picture at the size that a rung wants, or None where it is not for this size."""
    longer = max(picture.grey.shape)
    if rung.times > 1:
        return prepare.enlarged(picture.grey, rung.times) if longer <= rung.side else None
    side = min(rung.side, longer)
    if side not in views:
        views[side] = prepare.at_most(picture.grey, side)
    return views[side]


def _in_stored_pixels(
    reads: list[Read], scale: float, picture: Picture, rung: str
) -> Iterator[Read]:
    for read in reads:
        corners = quadrilateral(read.corners, 1 / scale)
        if is_sane(corners, picture.width, picture.height):
            yield replace(read, corners=corners, rung=rung)
