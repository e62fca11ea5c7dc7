"""Each bench still measures, at its smallest size; how quick it is, no test says."""

import subprocess
import sys

import pytest

from tests.packages import need
from tests.program import PROJECT

LIMIT_SECONDS = 1200  # a machine may be busy; how quick a bench is, no test says
MEASURES = {
    "board": (["6"], "6 kits, its lines alone:"),
    "order": (["--items", "20", "--seeds", "1"], "season 0: 20 items"),
    "plan": (["--more", "0"], "its plan, the API:"),
    "printing": (["--small", "21", "--labels", "210"], "ours, every symbol read back"),
    "reading": (["--damage", "1", "--within"], "wrong texts: 0"),
    "weekly": (["6"], "6 kits,"),
}


@pytest.mark.server
@pytest.mark.parametrize("bench", MEASURES)
def test_a_bench_prints_what_it_measures(bench: str) -> None:
    if bench == "weekly":
        need("postgresql")
    options, prints = MEASURES[bench]
    done = subprocess.run(
        [sys.executable, "-m", f"tests.bench.{bench}", *options],
        cwd=PROJECT, capture_output=True, text=True, timeout=LIMIT_SECONDS,
    )  # fmt: skip
    assert "Traceback" not in done.stderr, done.stderr
    assert prints in done.stdout
