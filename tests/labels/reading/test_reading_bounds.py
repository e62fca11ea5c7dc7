"""Broken and hostile files: bounded in time and memory, always answered, never fatal."""

import io
import os
import random
import select
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from labels import reading
from labels.reading.front.pool import Pool, shared
from tests import damage
from tests.present import present

TEXT = "HTTPS://GEAR.EXAMPLE.ORG/L/K9GP5R95"
LIMITS: dict[str, Any] = {
    "max_bytes": 25 * 2**20,
    "max_pixels": 60_000_000,
    "decode_seconds": 60.0,  # a busy machine must not decide; where the bound counts it is given
    "ladder_seconds": 1.0,
    "max_resident_bytes": 700 * 2**20,
    "processes": 1,
}
pillow_heif.register_heif_opener()


@pytest.fixture
def make_pool() -> Iterator[Callable[..., Any]]:
    pools = []

    def make(**changes: Any) -> Pool:
        pools.append(Pool(**(LIMITS | changes)))
        return pools[-1]

    yield make
    for pool in pools:
        pool.close()


def look(pool: Any, content: bytes, budget_s: float | None = None) -> Any:
    return pool.read(content, all_symbols=False, budget_s=budget_s, stop_at_own=True)


def picture() -> Image.Image:
    modules = np.pad(damage.symbol(TEXT), 4)
    return Image.fromarray(np.where(np.repeat(np.repeat(modules, 3, 0), 3, 1), 0, 255).astype("u1"))


def saved(kind: str, **options: bool) -> bytes:
    buffer = io.BytesIO()
    picture().convert("RGB").save(buffer, kind, **options)
    return buffer.getvalue()


def pid(pool: Any) -> Any:
    return pool.readers[0].process.pid


def is_running(process_id: Any) -> bool:
    """Whether a process is there and no zombie."""
    try:
        with open(f"/proc/{process_id}/stat") as stat:
            return stat.read().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


def mutated(content: Any, rng: random.Random) -> bytes:
    """A file with some of its bytes changed, taken out, repeated or cut off."""
    changed = bytearray(content)
    for _ in range(rng.choice([1, 1, 2, 5, 30])):
        place = rng.randrange(len(changed)) if rng.random() < 0.7 else rng.randrange(64)
        kind = rng.random()
        if kind < 0.5:
            changed[place] = rng.choice([0, 255, 127, 128, rng.randrange(256)])
        elif kind < 0.7:
            changed[place : place + 4] = rng.choice([b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff"])
        elif kind < 0.8:
            del changed[place : place + rng.randrange(1, 200)]
        elif kind < 0.9:
            changed[place:place] = changed[: rng.randrange(1, 500)]
        else:
            del changed[max(place, 20) :]
        if len(changed) < 64:
            changed += bytes(64)
    return bytes(changed)


def feed_mutations(pool: Any, number: int) -> set[str]:
    kinds = ["JPEG", "PNG", "WEBP", "GIF", "BMP", "TIFF", "HEIF"]
    files = [saved(kind) for kind in kinds] + [saved("JPEG", progressive=True)]
    outcomes = set()
    for seed in range(number):
        rng = random.Random(seed)
        content = mutated(rng.choice(files), rng)
        try:
            found = look(pool, content, budget_s=0.2)
        except reading.PictureError as error:
            outcomes.add(type(error).__name__)
            assert str(error).endswith(".")
        else:
            outcomes.add("read" if found.reads else "nothing")
            assert {read.text for read in found.reads} <= {TEXT}
    return outcomes


def test_300_mutated_files_give_a_read_or_a_named_refusal_and_never_a_wrong_text(
    make_pool: Callable[..., Any],
) -> None:
    outcomes = feed_mutations(make_pool(), 300)
    assert {"read", "BrokenPicture", "UnsupportedPicture"} <= outcomes


@pytest.mark.long
def test_10_000_mutated_files_give_a_read_or_a_named_refusal(make_pool: Callable[..., Any]) -> None:
    feed_mutations(make_pool(), 10_000)


def test_one_process_serves_picture_after_picture(make_pool: Callable[..., Any]) -> None:
    pool = make_pool()
    look(pool, saved("PNG"))
    first = pid(pool)
    assert look(pool, saved("JPEG")).reads[0].text == TEXT
    with pytest.raises(reading.UnsupportedPicture):
        look(pool, b"not a picture at all")
    look(pool, saved("PNG"))
    assert pid(pool) == first


def test_a_reader_that_was_killed_comes_back_for_the_next_picture(
    make_pool: Callable[..., Any],
) -> None:
    pool = make_pool()
    look(pool, saved("PNG"))
    first = pid(pool)
    os.kill(first, signal.SIGKILL)
    os.waitid(os.P_PID, first, os.WEXITED | os.WNOWAIT)
    assert look(pool, saved("PNG")).reads[0].text == TEXT
    assert pid(pool) != first


def test_one_stopped_in_its_tracks_is_killed_and_the_picture_called_broken(
    make_pool: Callable[..., Any],
) -> None:
    pool = make_pool(decode_seconds=0.5)
    look(pool, saved("PNG"))
    first = pid(pool)
    os.kill(first, signal.SIGSTOP)  # what a decoder in an endless loop looks like from outside
    with pytest.raises(reading.BrokenPicture, match="too long"):
        look(pool, saved("PNG"))
    assert not is_running(first)
    assert look(make_pool(), saved("PNG")).reads[0].text == TEXT


def test_a_picture_that_takes_more_memory_than_allowed_is_refused(
    make_pool: Callable[..., Any],
) -> None:
    buffer = io.BytesIO()
    Image.new("RGBA", (7000, 7000), (9, 9, 9, 9)).save(buffer, "PNG", compress_level=1)
    pool = make_pool(max_resident_bytes=230 * 2**20)
    with pytest.raises(reading.BrokenPicture, match="too much memory"):
        look(pool, buffer.getvalue())
    assert look(pool, saved("PNG")).reads[0].text == TEXT


def test_60_megapixels_stay_within_the_memory_bound(make_pool: Callable[..., Any]) -> None:
    buffer = io.BytesIO()
    Image.new("RGBA", (7740, 7740), (250, 250, 250, 255)).save(buffer, "PNG", compress_level=1)
    found = look(make_pool(), buffer.getvalue())
    assert found.reads == ()
    assert found.stopped in ("end", "budget")


def test_threads_take_turns_at_the_processes(make_pool: Callable[..., Any]) -> None:
    pool = make_pool(processes=2)
    texts: list[str] = []

    def work() -> None:
        texts.extend(look(pool, saved("PNG")).reads[0].text for _ in range(3))

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert texts == [TEXT] * 12


OWNER = """
import os, sys, time
from labels.reading.front.pool import Pool
pool = Pool(max_bytes=10**7, max_pixels=10**8, decode_seconds=5, ladder_seconds=1,
            max_resident_bytes=700 * 2**20, processes=1)
pool.read(open(sys.argv[1], "rb").read(), all_symbols=False, budget_s=None, stop_at_own=True)
{then}
print(pool.readers[0].process.pid, flush=True)
sys.stdin.read()
"""


def owner(tmp_path: Path, then: str = "") -> subprocess.Popen[str]:
    file = tmp_path / "label.png"
    file.write_bytes(saved("PNG"))
    return subprocess.Popen(
        [sys.executable, "-c", OWNER.format(then=then), str(file)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def ends(process_id: int) -> bool:
    """Wait for a process that is not ours to end, at most a minute."""
    descriptor = os.pidfd_open(process_id)
    try:
        return bool(select.select([descriptor], [], [], 60)[0])
    finally:
        os.close(descriptor)


def test_readers_end_with_an_owner_that_is_killed(tmp_path: Path) -> None:
    with owner(tmp_path) as process:
        reader = int(present(process.stdout).readline())
        assert is_running(reader)
        process.kill()
        assert ends(reader)


def test_readers_end_with_their_owner_even_when_it_has_forked(tmp_path: Path) -> None:
    then = "if os.fork() == 0: sys.stdin.read(); os._exit(0)"
    with owner(tmp_path, then) as process:
        reader = int(present(process.stdout).readline())
        process.kill()  # the forked one lives on
        assert ends(reader)


def test_a_forked_worker_gets_a_reader_of_its_own() -> None:
    reading.read(saved("PNG"))
    ours = present(shared().readers[0].process).pid
    received, given = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            text = reading.read(saved("PNG")).reads[0].text
            os.write(given, f"{text} {present(shared().readers[0].process).pid}".encode())
            shared().close()
        finally:
            os._exit(0)
    os.waitpid(child, 0)
    text, theirs = os.read(received, 200).decode().split()
    assert text == TEXT
    assert int(theirs) != ours
    assert reading.read(saved("PNG")).reads[0].text == TEXT
    assert present(shared().readers[0].process).pid == ours


def test_a_short_budget_is_kept_and_told() -> None:
    noise = np.random.default_rng(1).integers(0, 255, (3000, 4000), dtype=np.uint8)
    buffer = io.BytesIO()
    Image.fromarray(noise).save(buffer, "JPEG", quality=60)
    found = reading.read(buffer.getvalue(), budget_s=0.05, all_symbols=True)
    assert found.reads == ()
    assert found.stopped == "budget"
    assert found.rung
