"""Reading, side by side: our ladder, a bare zxing-cpp pass and a bare pyzbar pass.

    .venv/bin/python -m tests.bench.reading PHOTOS TRUTH.json    on pictures with truth
    .venv/bin/python -m tests.bench.reading --damage 40          where reading ends

PHOTOS is a folder; TRUTH.json gives for each file in it (path below the folder, the first folder
being its category) the symbols' corners in stored pixels: {"glare/1.jpg": [[[x, y], …4], …], …}. A
symbol counts as read when a read's box meets its box, one read for one symbol.

Printed: each reader's shares and times; what the ladder's rungs add, in their order, with their
processor time; what a picture costs that the first rung reads, against decoding the file and one
bare pass. With --damage: shares by kind of damage up to its bound (marked |) and beyond.
"""

import argparse
import dataclasses
import json
import random
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import zxingcpp

from kits.rules.lookup import label_codes
from labels.reading.front import pictures
from labels.reading.front.pool import Pool
from labels.reading.front.results import Read, add_new
from labels.reading.ladder import engines, ladder
from tests import damage

LIMITS: dict[str, Any] = {
    "max_bytes": 25 * 2**20,
    "max_pixels": 60_000_000,
    "decode_seconds": 5.0,
    "ladder_seconds": 1.0,
    "max_resident_bytes": 700 * 2**20,
    "processes": 1,
}
Box = tuple[float, float, float, float]
Truth = dict[str, list[list[list[float]]]]


def box(corners: Any) -> Box:
    xs, ys = zip(*corners, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def meet(a: Box, b: Box) -> bool:
    return max(a[0], b[0]) < min(a[2], b[2]) and max(a[1], b[1]) < min(a[3], b[3])


def hits(symbols: list[list[list[float]]], reads: list[Any]) -> tuple[set[int], int]:
    """Return which symbols were read, and how many reads meet none."""
    places = [box(corners) for corners in reads]
    free, found = list(places), set()
    for number, symbol in enumerate(map(box, symbols)):
        hit = next((place for place in free if meet(symbol, place)), None)
        if hit is not None:
            free.remove(hit)
            found.add(number)
    return found, sum(not any(meet(box(s), place) for s in symbols) for place in places)


def shares(truth: Truth, found: dict[str, set[int]]) -> tuple[float, float]:
    """Return the share of all symbols and the mean of the categories' shares."""
    totals: dict[str, list[int]] = {}
    for file, symbols in truth.items():
        total = totals.setdefault(file.split("/")[0], [0, 0])
        total[0] += len(found.get(file, ()))
        total[1] += len(symbols)
    read, every = (sum(column) for column in zip(*totals.values(), strict=True))
    return read / every, statistics.mean(a / b for a, b in totals.values())


# --------------------------------------------------------------------------------- side by side
def compare(photos: Path, truth: Truth) -> None:
    pool = Pool(**LIMITS)

    def ours(content: bytes) -> list[Any]:
        found = pool.read(content, all_symbols=True, budget_s=None, stop_at_own=True)
        return [read.corners for read in found.reads]

    def bare(
        engine: Callable[..., list[Read]],
    ) -> Callable[[bytes], list[Any]]:
        def read(content: bytes) -> list[Any]:
            grey = pictures.decode(content, max_pixels=LIMITS["max_pixels"])
            return [
                [(x / grey.scale, y / grey.scale) for x, y in found.corners]
                for found in engine(grey.grey, (), 0.0)
            ]

        return read

    def every_kind(grey: Any, known: Any, until: Any) -> list[Read]:
        return engines.zxing(zxingcpp.BarcodeFormat.AllReadable)(grey, (), 0.0)

    readers = {
        "ours, whole ladder": ours,
        "zxing-cpp, QR Code": bare(engines.qr),
        "zxing-cpp, every kind": bare(every_kind),
        "pyzbar, QR Code": bare(engines.zbar_qr),
    }
    print(
        f"{'reader':24} {'symbols':>8} {'categories':>11} {'stray':>6} {'mean ms':>8} {'worst':>7}"
    )
    for name, read in readers.items():
        found, stray, times = {}, 0, []
        for file, symbols in truth.items():
            content = (photos / file).read_bytes()
            started = time.perf_counter()
            corners = read(content)
            times.append((time.perf_counter() - started) * 1000)
            found[file], strays = hits(symbols, corners)
            stray += strays
        every, mean = shares(truth, found)
        print(
            f"{name:24} {every:8.1%} {mean:11.1%} {stray:6} "
            f"{statistics.mean(times):8.1f} {max(times):7.1f}"
        )
    first_rung(pool, photos, truth)
    pool.close()


def first_rung(pool: Pool, photos: Path, truth: Truth) -> None:
    """What a picture costs that the first rung reads, against the bare pass and decoding."""
    ratios = []
    for file in truth:
        content = (photos / file).read_bytes()
        ours = min(
            found.ms
            for found in (
                pool.read(content, all_symbols=False, budget_s=None, stop_at_own=False)
                for _ in range(3)
            )
        )
        bare = []
        for _ in range(3):
            started = time.perf_counter()
            picture = pictures.decode(content, max_pixels=LIMITS["max_pixels"])
            found = zxingcpp.read_barcodes(
                picture.grey, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
            )
            bare.append((time.perf_counter() - started) * 1000)
        if found:
            ratios.append(ours / min(bare))
    ratios.sort()
    print(
        f"\na picture that the first rung reads, against decoding and a bare pass: "
        f"median {statistics.median(ratios):.2f} ×, nine in ten under "
        f"{ratios[int(len(ratios) * 0.9)]:.2f} × ({len(ratios)} pictures)\n"
    )


# ------------------------------------------------------------------------------------- the rungs
def rungs(photos: Path, truth: Truth) -> None:
    """Climb without a budget and print what each rung adds to those before it."""
    known: dict[str, list[Read]] = {file: [] for file in truth}
    decoded = {
        file: pictures.decode((photos / file).read_bytes(), max_pixels=LIMITS["max_pixels"])
        for file in truth
    }
    print(f"{'rung':26} {'pictures':>8} {'added':>6} {'symbols':>8} {'categories':>11} ", end="")
    print(f"{'ms':>7} {'ms/MP':>6} {'added/s':>8}")
    before = 0
    for rung in ladder.LADDER:
        spent, pixels, ran = 0.0, 0, 0
        for file, picture in decoded.items():
            view = ladder._view(picture, rung, {})
            if view is None:
                continue
            ran += 1
            grey, scale = view
            whole = scale * picture.scale
            read_already: list[Any] = [
                tuple((x * whole, y * whole) for x, y in read.corners) for read in known[file]
            ]
            started = time.process_time()
            found = rung.engine(rung.preparation(grey), read_already, time.monotonic() + 60)
            spent += time.process_time() - started
            pixels += grey.size
            add_new(known[file], ladder._in_stored_pixels(found, whole, picture, rung.name))
        found_now = {
            file: hits(truth[file], [r.corners for r in reads])[0] for file, reads in known.items()
        }
        total = sum(map(len, found_now.values()))
        every, mean = shares(truth, found_now)
        print(
            f"{rung.name:26} {ran:8} {total - before:6} {every:8.1%} {mean:11.1%} "
            f"{spent / max(ran, 1) * 1000:7.1f} {spent / max(pixels, 1) * 1e9:6.1f} "
            f"{(total - before) / max(spent, 1e-6):8.2f}",
            flush=True,
        )
        before = total


# ------------------------------------------------------------------------------------ the damage
# Kind: the field, and amounts from harmless to hopeless; the last within the bound is marked.
KINDS: dict[str, tuple[str, list[float], float]] = {
    "pixels a module": ("pixels", [6, 4, 3, 2.5, 2, 1.5], 3),
    "tilt, degrees": ("tilt_deg", [0, 20, 35, 50, 60, 70], 35),
    "round a cylinder, degrees": ("arc_deg", [0, 45, 90, 120, 150, 170], 90),
    "blur, sigma in modules": ("blur", [0.2, 0.4, 0.6, 0.8, 1.0, 1.2], 0.6),
    "contrast": ("contrast", [0.8, 0.4, 0.25, 0.15, 0.08, 0.04], 0.25),
    "JPEG quality": ("quality", [90, 60, 40, 20, 10, 5], 40),
    "covered": ("covered", [0, 0.04, 0.08, 0.12, 0.16, 0.2], 0.08),
    "glare": ("glare", [0, 0.04, 0.08, 0.12, 0.16, 0.2], 0.08),
    "light lost across": ("shade", [0, 0.3, 0.5, 0.7, 0.85, 0.95], 0.5),
}


def read_label(seed: int, harm: damage.Damage, rng: np.random.Generator) -> bool | None:
    """Return whether a label so damaged is read; None where a wrong text was."""
    text = label_codes.payload(
        "https://gear.example.org", label_codes.new_code(random.Random(seed).choice)
    )
    content = damage.photographed(text, harm, rng)
    reads: list[Read] = []
    ladder.climb(
        pictures.decode(content, max_pixels=LIMITS["max_pixels"]),
        budget_s=600,
        enough=lambda known: any(ladder.is_own(read.text) for read in known),
        tell=reads.extend,
    )
    if any(read.text != text for read in reads):
        return None
    return bool(reads)


def damages(number: int, *, within: bool) -> None:
    print(f"share of {number} labels read, all else harmless (| after the last within bounds)")
    wrong = 0
    for kind, (field, amounts, bound) in KINDS.items():
        cells = []
        for amount in amounts[: amounts.index(bound) + 1] if within else amounts:
            read = 0
            for seed in range(number):
                rng = np.random.default_rng(seed)
                harm = damage.Damage(
                    turn_deg=float(rng.uniform(0, 360)),
                    tilt_way_deg=float(rng.uniform(0, 360)),
                    axis_deg=float(rng.uniform(0, 180)),
                    shade_way_deg=float(rng.uniform(0, 360)),
                    dirt=float(rng.uniform(0, 1)),
                )
                change: dict[str, Any] = {field: amount}
                outcome = read_label(seed, dataclasses.replace(harm, **change), rng)
                read += bool(outcome)
                wrong += outcome is None
            cells.append(f"{amount:g}: {read / number:.0%}" + (" |" if amount == bound else ""))
        print(f"{kind:26} " + "   ".join(cells), flush=True)
    print(f"wrong texts: {wrong}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("photos", nargs="?", type=Path)
    parser.add_argument("truth", nargs="?", type=Path)
    parser.add_argument("--damage", type=int, metavar="N")
    parser.add_argument("--within", action="store_true", help="no damage beyond the bounds")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    if options.photos and options.truth:
        truth = json.loads(options.truth.read_text())
        compare(options.photos, truth)
        rungs(options.photos, truth)
    elif options.damage is None:
        parser.error("give PHOTOS and TRUTH.json, or --damage N")
    if options.damage:
        damages(options.damage, within=options.within)


if __name__ == "__main__":
    main()
