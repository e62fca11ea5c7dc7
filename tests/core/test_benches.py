"""Each bench still measures, at its smallest size; how quick it is, no test says."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests import keeper
from tests.packages import need
from tests.program import PROJECT

LIMIT_SECONDS = 1200  # a machine may be busy; how quick a bench is, no test says
MEASURES = {
    "board": (["6", "--asked", "3"], "6 kits, its lines alone:"),
    "order": (["--items", "20", "--seeds", "1"], "season 0: 20 items"),
    "plan": (["--more", "0", "--asked", "3"], "its plan, the API:"),
    "printing": (["--small", "21", "--labels", "210"], "ours, every symbol read back"),
    "reading": (["--damage", "1", "--within"], "wrong texts: 0"),
    "season_kits": (["--smallest", "--seeds", "1"], "season 0: 6 kits"),
    "weekly": (["6"], "6 kits,"),
}


@pytest.mark.server
@pytest.mark.parametrize("bench", ["order", "printing", "reading", "season_kits"])
def test_a_bench_prints_what_it_measures(bench: str) -> None:
    measures(bench)


@pytest.mark.server
@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
@pytest.mark.parametrize("bench", ["board"])
def test_a_bench_of_pages_prints_what_it_measures(
    bench: str, engine: str, make_database: Callable[[], str]
) -> None:
    measures(bench, "--url", make_database())


@pytest.mark.server
def test_the_bench_of_the_weekly_email_prints_what_it_measures(session_folder: Path) -> None:
    need("postgresql")
    server = keeper.ask(session_folder, want="postgresql")["url"]
    template = keeper.ask(session_folder, want="template", engine="postgresql")["name"]
    measures("weekly", "--url", server, "--template", template)


def measures(bench: str, *where: str) -> None:
    """Run a bench at its smallest size; it has to print what it measures."""
    options, prints = MEASURES[bench]
    done = subprocess.run(
        [sys.executable, "-m", f"tests.bench.{bench}", *options, *where],
        cwd=PROJECT, capture_output=True, text=True, timeout=LIMIT_SECONDS,
    )  # fmt: skip
    assert "Traceback" not in done.stderr, done.stderr
    assert prints in done.stdout
