"""Labels a second, ours beside the bare loop of qrcode and ReportLab, in one run.

    python -m tests.bench.printing [--labels 10000] [--small 400]

The bare loop draws, on the same sheet, what one would write in an afternoon: a symbol by `qrcode`,
a rectangle for each dark module, two lines of text; it reads nothing back. Ours lays out, shrinks
and wraps the words too. Each is run in a process of its own, so that its peak memory is its own.
"""

import argparse
import io
import multiprocessing
import random
import resource
import sys
import time
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

ADDRESS = "https://gear.umberfell.example"
SHEET = "a4-3x7"


def labels(count: int) -> Iterator[Any]:
    """Yield kit and batch labels in turn, none kept."""
    from kits.rules.lookup.label_codes import new_code
    from labels.rules.codes.texts import Expiry
    from labels.rules.layout.contents import KitLabel, LotLabel

    draw = random.Random(7)
    things = ("Gauze swab 10 × 10 cm, sterile", "Triangular bandage", "Saline 20 ml, for eyes")
    for number in range(count):
        code = new_code(draw.choice)
        if number % 2:
            expiry = Expiry(date(2027, 1, 31) + timedelta(days=number % 900))
            yield LotLabel(code, f"{draw.choice(things)} ({number})", f"B{number:05d}", expiry)
        else:
            yield KitLabel(code, f"GROUP-{number}", "Main store")


def bare_loop(count: int, read_back: bool, out: Any) -> None:
    """The loop to compare with."""
    import qrcode
    from reportlab.lib.units import mm
    from reportlab.pdfgen import canvas

    from labels.rules.layout.sheets import SHEETS

    sheet = SHEETS[SHEET]
    page = canvas.Canvas(out, pagesize=(210 * mm, 297 * mm))
    for number, label in enumerate(labels(count)):
        if number and number % sheet.cells == 0:
            page.showPage()
        cell = sheet.cell(number % sheet.cells + 1)
        code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_Q, border=0)
        code.add_data(f"{ADDRESS.upper()}/L/{label.code}")
        code.make(fit=True)
        matrix = code.get_matrix()
        left, top = (cell.left_mm + 4) * mm, (297 - cell.top_mm - 6) * mm
        for row, line in enumerate(matrix):
            for column, dark in enumerate(line):
                if dark:
                    x, y = left + column * 0.6 * mm, top - (row + 1) * 0.6 * mm
                    page.rect(x, y, 0.6 * mm, 0.6 * mm, stroke=0, fill=1)
        page.setFont("Helvetica-Bold", 11)
        page.drawString(left + 21 * mm, top - 5 * mm, getattr(label, "name", "") or label.item)
        page.setFont("Helvetica", 9)
        page.drawString(left + 21 * mm, top - 12 * mm, label.code)
    page.save()


def ours(count: int, read_back: bool, out: Any) -> None:
    """The real thing."""
    from labels.printing import Job, sheet_pdf
    from labels.rules.layout.sheets import SHEETS

    job = Job(ADDRESS, "Umberfell Outdoor School", read_back=read_back)
    sheet_pdf(SHEETS[SHEET], labels(count), out=out, job=job)


def _measured(
    run: Callable[[int, bool, Any], None], count: int, read_back: bool, answer: Any
) -> None:
    run(1, read_back, io.BytesIO())  # imports and fonts are loaded before the clock starts
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with Path("/dev/null").open("wb") as sink:
        counted = _Counting(sink)
        start = time.perf_counter()
        run(count, read_back, counted)
        seconds = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    answer.send((seconds, before / 1024, peak / 1024, counted.size))


class _Counting(io.RawIOBase):
    """Counts what is written and lets it go."""

    def __init__(self, sink: Any) -> None:
        self.sink, self.size = sink, 0

    def writable(self) -> bool:
        return True

    def write(self, chunk: Any) -> int:
        self.size += len(chunk)
        return len(chunk)


def measure(run: Callable[[int, bool, Any], None], count: int, read_back: bool) -> tuple[Any, ...]:
    """Return (seconds, MB before, MB at peak, bytes) of `run` in a fresh process."""
    spawn = multiprocessing.get_context("spawn")
    here, there = spawn.Pipe(duplex=False)
    process = spawn.Process(target=_measured, args=(run, count, read_back, there))
    process.start()
    there.close()
    measured: tuple[Any, ...] = here.recv()
    process.join()
    return measured


BARE, OURS, READ_BACK = (
    "bare loop, nothing read back",
    "ours, nothing read back",
    "ours, every symbol read back",
)


def main() -> int:
    """Print the table, and return 1 where a goal is missed."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--small", type=int, default=420, help="labels for the comparison")
    options.add_argument("--labels", type=int, default=10_000, help="labels for the long run")
    chosen = options.parse_args()
    print(f"{SHEET}, {ADDRESS}: each run in a process of its own; the comparison: best of three")
    print(
        f"{'':32}{'labels':>8}{'a second':>10}{'× bare':>8}{'MB peak':>9}{'+MB':>6}{'KB each':>9}"
    )
    compared = ((BARE, bare_loop, False), (OURS, ours, False), (READ_BACK, ours, True))
    best: dict[str, tuple[Any, ...]] = {}
    for _ in range(3):  # in turn, so that a busy moment of the machine hits all alike
        for name, run, read_back in compared:
            measured = measure(run, chosen.small, read_back)
            best[name] = min(best.get(name, measured), measured)
    bare = chosen.small / best[BARE][0]
    for name, measured in best.items():
        _row(name, chosen.small, measured, bare)
    for name, run, count, read_back in (
        ("bare loop, a tenth", bare_loop, chosen.labels // 10, False),
        ("ours, read back, a tenth", ours, chosen.labels // 10, True),
        ("ours, read back, all", ours, chosen.labels, True),
    ):
        _row(name, count, measure(run, count, read_back), bare)
    met = chosen.small / best[OURS][0] >= 4 * bare
    met &= chosen.small / best[READ_BACK][0] >= 1.5 * bare
    print("goals (4 × without, 1.5 × with read-back):", "met" if met else "MISSED")
    return 0 if met else 1


def _row(name: str, count: int, measured: tuple[Any, ...], bare: float) -> None:
    seconds, before, peak, size = measured
    print(
        f"{name:32}{count:>8}{count / seconds:>10.0f}{count / seconds / bare:>8.1f}{peak:>9.0f}"
        f"{peak - before:>6.0f}{size / count / 1024:>9.2f}",
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(main())
