"""The world judges the program: weeks at a simulated school, and faults that it has to find.

Four chunks of five weeks on SQLite and two on PostgreSQL, each with its own seeds; a week that
fails is shortened and printed as a story. `--long` plays chunks up to two hundred weeks, and 20,000
weeks besides. Each fault has a week of its own in the short form too.
"""

import gc
import json
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
import time_machine

from tests.engines import Engine
from tests.world.acts import school
from tests.world.acts.evening import RIDERS
from tests.world.acts.people import HABITS
from tests.world.acts.requests import Doors
from tests.world.deck import SILENT, WEIGHTS
from tests.world.faults import FAULTS, Fault
from tests.world.play import LONG_FORM, play, shortened

WEEKS = 5
CHUNKS = [*(("sqlite", n) for n in range(4)), *(("postgresql", n) for n in range(4, 6))]
LONG_CHUNKS = [("postgresql" if n % 4 == 3 else "sqlite", n) for n in range(6, 40)]
START = date(2026, 10, 12)
LEAST = {6: 4, 40: 50}
"""So often each act succeeds in so many chunks: in thirty weeks, and in two hundred."""
UNTIL_FOUND = 8
"""In so many weeks a fault is found."""


@dataclass
class World:
    """The school set up in a database of its own, and the clock."""

    doors: Doors
    school: dict[str, Any]
    clock: Any

    def week(self, seed: int) -> Counter[str]:
        """Play a week; where it finds something, fail with the shortest story that does."""
        week, found = play(self.doors, self.school, seed, self.clock, START)
        if found is None:
            return week.done
        week, found = shortened(self.doors, self.school, seed, self.clock, START, found)
        story = "\n".join(week.story)
        pytest.fail(f"week {seed}: {found}\n\n{story}", pytrace=False)


@pytest.fixture(scope="session")
def schools(_engines: dict[str, Engine]) -> Iterator[dict[str, tuple[str, Doors, dict[str, Any]]]]:
    """The school of each engine, set up once: its database, doors, and what the model knows."""
    made: dict[str, tuple[str, Doors, dict[str, Any]]] = {}
    yield made
    for engine, (url, _, _) in made.items():
        _engines[engine].drop(url)


@pytest.fixture
def world(
    engine: str,
    schools: dict[str, tuple[str, Doors, dict[str, Any]]],
    _engines: dict[str, Engine],
    use_database: Callable[[str], None],
) -> Iterator[World]:
    """The school as it was set up: what a week writes is taken back at its end."""
    with time_machine.travel(datetime(2026, 10, 12, 7, tzinfo=UTC), tick=False) as clock:
        if engine in schools:
            use_database(schools[engine][0])
        else:
            use_database(url := _engines[engine].copy())
            doors = Doors()
            schools[engine] = url, doors, school.make(doors, START)
            gc.freeze()  # what is there now stays; it need not be gone through again and again
        yield World(*schools[engine][1:], clock)


@pytest.mark.parametrize(
    ("engine", "chunk"),
    [*CHUNKS, *(pytest.param(*each, marks=pytest.mark.long) for each in LONG_CHUNKS)],
    indirect=["engine"],
)
def test_the_program_says_what_was_reported(
    world: World, engine: str, chunk: int, session_folder: Path, request: pytest.FixtureRequest
) -> None:
    """Every surface, after every act, in five weeks."""
    done: Counter[str] = Counter()
    for seed in range(chunk * WEEKS, (chunk + 1) * WEEKS):
        done += world.week(seed)
    (session_folder / f"world-{chunk}.json").write_text(json.dumps(done))
    chunks = len(CHUNKS) + len(LONG_CHUNKS) * request.config.getoption("--long")
    _not_timid(session_folder, chunks)


def _not_timid(folder: Path, chunks: int) -> None:
    """Whichever chunk ends last looks whether each act succeeded often enough in all of them."""
    files = sorted(folder.glob("world-*.json"))
    done: Counter[str] = Counter()
    for file in files:
        done += Counter(json.loads(file.read_text()))
    if len(files) == chunks:
        least, weeks = LEAST[chunks], chunks * WEEKS
        print(f"{weeks} weeks:", dict(sorted(done.items())))
        acts = {*WEIGHTS, *HABITS, *RIDERS} - SILENT
        timid = {act: done[act] for act in acts if done[act] < least}
        assert not timid, f"these succeed less than {least} times in {weeks} weeks: {timid}"


@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name.replace(" ", "-"))
def test_the_world_finds(
    world: World, engine: str, fault: Fault, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each known fault, put back, by one of the checks that the table names."""
    fault.put_back(monkeypatch)
    for seed in range(fault.week, fault.week + UNTIL_FOUND):
        _, found = play(
            world.doors, world.school, seed, world.clock, START,
            checks=fault.found_by, cards=fault.cards,
        )  # fmt: skip
        if found is not None:
            return
    pytest.fail(f"not found in {UNTIL_FOUND} weeks by {sorted(fault.found_by)}")


@pytest.mark.long
@pytest.mark.parametrize(
    ("engine", "part"), [("sqlite", n) for n in range(200)], indirect=["engine"]
)
def test_the_program_says_what_was_reported_for_years(
    world: World, engine: str, part: int, record_property: Callable[[str, object], None]
) -> None:
    """Twenty thousand weeks, a hundred a part, each looked at whole."""
    done: Counter[str] = Counter()
    for seed in range(LONG_FORM + part * 100, LONG_FORM + (part + 1) * 100):
        done += world.week(seed)
    record_property("done", dict(done))
