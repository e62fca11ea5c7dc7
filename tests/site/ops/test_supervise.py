"""Programs kept running as one, tried with small programs instead of the service."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from gearroom.site.ops.supervise import Program, Supervisor

# Each run is a process of its own, since a supervisor takes the process's signals over.
SCRIPT = """
import json, os, pathlib, signal, sys
from gearroom.site.ops.supervise import Program, Supervisor
settings = json.loads(sys.argv[1])
def on_ready():
    if settings.get("raises"):
        raise ValueError(settings["raises"])
    print("ready", flush=True)
    if settings.get("stop"):
        os.kill(os.getpid(), signal.SIGTERM)
marks = pathlib.Path(settings["folder"])
supervisor = Supervisor(
    [Program(name, name, []) for name in settings["names"]],
    env={**os.environ, "PYTHONPATH": settings["folder"] + ":" + settings["project"]},
    folder=marks,
    is_ready=lambda: all((marks / f"{name}.started").exists() for name in settings["wait"]),
    on_ready=on_ready,
    say=lambda line: print(line, flush=True),
)
sys.exit(supervisor.run())
"""
STEADY = """
import pathlib, signal, sys, time
name = pathlib.Path(__file__).stem
pathlib.Path(name + ".started").touch()
signal.signal(signal.SIGTERM, lambda *_: (pathlib.Path(name + ".asked").touch(), sys.exit(0)))
while True:
    signal.pause()
"""
DEAF = STEADY.replace("sys.exit(0)", "None")


@pytest.fixture
def supervise(tmp_path: Path) -> Iterator[Callable[..., Any]]:
    started = []

    def start(*names: Any, **settings: Any) -> subprocess.Popen[str]:
        content = {
            "folder": str(tmp_path),
            "project": str(Path(__file__).resolve().parents[3]),
            "names": names,
            "wait": names,
            **settings,
        }
        process = subprocess.Popen(
            [sys.executable, "-c", SCRIPT, json.dumps(content)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            cwd=content["project"],
            text=True,
            start_new_session=True,
        )
        started.append(process)
        return process

    (tmp_path / "first.py").write_text(STEADY)
    (tmp_path / "second.py").write_text(STEADY)
    (tmp_path / "deaf.py").write_text(DEAF)
    yield start
    for process in started:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
        process.communicate()


def test_it_asks_every_program_to_stop(supervise: Callable[..., Any], tmp_path: Path) -> None:
    run = supervise("first", "second", stop=True)
    out, err = run.communicate(timeout=60)
    assert (run.returncode, out, err) == (0, "ready\n", "")
    assert {path.name for path in tmp_path.glob("*.asked")} == {"first.asked", "second.asked"}


def test_it_ends_a_program_that_does_not_stop_at_a_second_signal(
    supervise: Callable[..., Any],
) -> None:
    run = supervise("deaf")
    assert run.stdout.readline() == "ready\n"
    run.send_signal(signal.SIGTERM)
    run.send_signal(signal.SIGINT)
    run.communicate(timeout=60)
    assert run.returncode == 0
    with pytest.raises(ProcessLookupError):
        os.killpg(run.pid, 0)


def test_it_stops_all_when_one_cannot_start(supervise: Callable[..., Any], tmp_path: Path) -> None:
    run = supervise("first", "missing")
    out, err = run.communicate(timeout=60)
    assert run.returncode == 1
    assert out == "missing ended before all was ready; see above.\n"
    assert "missing" in err
    with pytest.raises(ProcessLookupError):
        os.killpg(run.pid, 0)


def test_it_stops_all_and_fails_when_what_follows_readiness_fails(
    supervise: Callable[..., Any],
) -> None:
    run = supervise("first", raises="the day went wrong")
    _, err = run.communicate(timeout=60)
    assert run.returncode == 1
    assert err.endswith("ValueError: the day went wrong\n")
    with pytest.raises(ProcessLookupError):
        os.killpg(run.pid, 0)


def test_it_pauses_longer_each_time_a_program_ends_soon(tmp_path: Path) -> None:
    lines: list[str] = []
    program = Program("web", "web", [])
    supervisor = Supervisor(
        [program],
        env={},
        folder=tmp_path,
        is_ready=lambda: True,
        on_ready=lambda: None,
        say=lines.append,
    )

    def ended_after(seconds: int) -> None:
        process = subprocess.Popen([sys.executable, "-c", ""], stdin=subprocess.PIPE)
        process.wait()
        program.started = time.monotonic() - seconds
        supervisor._restart_later(program, process)

    for _ in range(8):
        ended_after(1)
    ended_after(3600)
    pauses = [float(line.split(" in ")[1].split(" ")[0]) for line in lines]
    assert pauses == [0.5, 1, 2, 4, 8, 16, 30, 30, 0.5]
