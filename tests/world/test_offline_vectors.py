"""The phone's own script, given the world's copies, says on each day what the model says."""

import base64
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from playwright.sync_api import sync_playwright

from tests.program import PROJECT
from tests.world import surfaces
from tests.world.acts import school
from tests.world.acts.requests import Doors
from tests.world.play import Week, play
from tests.world.says import local_day
from tests.world.test_world import START

SCRIPT = PROJECT / "gearroom" / "site" / "static" / "site" / "offline" / "copy.js"
DAYS = 35
ASK = """
async ([source, vectors]) => {
  const book = await import(`data:text/javascript;base64,${source}`);
  return vectors.map(({ kit, until, day }) => book.standing(kit, day, until)?.verdict ?? null);
}
"""


def vectors_of(week: Week) -> list[dict[str, Any]]:
    """Each kit of the copy as it is now, the days to come, and the model's word for each."""
    copy = week.doors.browsers["Kim"].get("/offline/kits/").json()
    return [
        {
            "kit": row,
            "until": copy["judged_until"],
            "day": (local_day(week.now) + timedelta(days=days)).isoformat(),
            "word": surfaces.on_day(week, row["name"], days),
        }
        for row in copy["kits"]
        for days in range(DAYS)
    ]


@pytest.mark.server
@pytest.mark.parametrize("engine", ["sqlite"], indirect=True)
def test_the_script_says_on_each_day_what_the_model_says(
    open_database: str, engine: str, need: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The copies of two weeks' evenings, every kit, thirty-five days ahead."""
    program = need("chromium")
    vectors: list[dict[str, Any]] = []
    monkeypatch.setattr(surfaces, "day_ends", lambda week: vectors.extend(vectors_of(week)))
    with time_machine.travel(datetime(2026, 10, 12, 7, tzinfo=UTC), tick=False) as clock:
        doors = Doors()
        made = school.make(doors, START)
        for seed in (9, 8):
            play(doors, made, seed, clock, START, checks=frozenset())
    assert len({vector["word"] for vector in vectors}) == 5, "each word comes up"
    source = base64.b64encode(SCRIPT.read_bytes()).decode()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        said = browser.new_page().evaluate(ASK, [source, vectors])
        browser.close()
    wrong = [
        (vector["kit"]["name"], vector["day"], vector["word"], word)
        for vector, word in zip(vectors, said, strict=True)
        if vector["word"] != word
    ]
    assert not wrong, wrong[:5]
