"""What was used, and how the last season went, on the pages."""

from datetime import timedelta

import pytest

from gearroom.core import clock
from kits.rules.planning.back_test import Spread
from kits.rules.planning.seasons import Season
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.custody.use import UseLine
from kits.services.text import past_use_texts as texts
from kits.services.text.planning_texts import CAUTION
from tests.kits import factories as make
from tests.kits.planning.school import past, serve
from tests.site.browsing import PAGES_ON_SQLITE, browser, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world() -> make.World:
    made = make.world()
    serve(made)
    return made


@pytest.mark.parametrize("path", ["/past-use/", "/back-test/", "/past-use/?need=none&activity=-"])
def test_both_pages_work_without_any_history_and_bear_the_caution(
    world: make.World, path: str
) -> None:
    answer = browser(world.guide).get(path)
    assert answer.status_code == 200
    assert str(CAUTION) in text_of(answer)


def test_uses_are_told_with_their_chart_its_table_and_what_was_not_there(
    world: make.World,
) -> None:
    trip = past(
        world,
        UseLine(world.dressing, 2),
        remarks=Remarks(needed=[NeedLine(world.gauge), NeedLine(words="a crutch")]),
    )
    answer = browser(world.guide).get("/past-use/")
    said = text_of(answer)
    assert "came back from 1 trip, and what was used is known" in said
    assert "Needed once in 8 participant-days." in said
    assert "a crutch" in said
    assert f"/trips/{trip.pk}/" in answer.content.decode()
    assert 'class="within"' in answer.content.decode()
    assert "Show as a table" in said
    assert "None used in 8 participant-days, known for 1 of 1 trip." in said


def test_another_rooms_own_words_are_not_shown(world: make.World) -> None:
    past(world, remarks=Remarks(needed=[NeedLine(words="a crutch")]))
    said = text_of(browser(world.stranger).get("/past-use/"))
    assert "a crutch" not in said
    assert "No kit of your gear rooms has come back" in said


def test_the_last_season_stands_beside_what_was_expected(world: make.World) -> None:
    past(world, UseLine(world.dressing, 2))
    with clock.pretending(clock.now() + timedelta(days=92)):
        past(world, UseLine(world.dressing, 2))
    with clock.pretending(clock.now() + timedelta(days=280)):
        said = text_of(browser(world.guide).get("/back-test/"))
    assert "it expected 1.5 uses in" in said
    assert "there were 1." in said
    assert "What happened lies within that." in said


def test_fewer_than_two_seasons_say_so(world: make.World) -> None:
    past(world)
    assert "It needs known trips in two such seasons" in text_of(
        browser(world.guide).get("/back-test/")
    )


@pytest.mark.parametrize(
    ("spread", "ends"),
    [
        (Spread(9, 5, 14, 11), "from 5 to 14. What happened lies within that."),
        (
            Spread(9, 5, 14, 15),
            "lies above that: rely on these numbers less.",
        ),
        (Spread(9, 5, 14, 4), "lies below that: rely on these numbers less."),
        (Spread(0, 0, 0, 0), "nine would have 0. What happened lies within that."),
    ],
)
def test_what_chance_does_is_said_as_ten_seasons(spread: Spread, ends: str) -> None:
    assert texts.chance_alone(spread).endswith(ends)


def test_what_was_expected_names_its_seasons() -> None:
    earlier = [Season(2025, 4), Season(2026, 1), Season(2026, 2)]
    assert texts.expected_shortages(earlier, Season(2026, 3), Spread(9, 5, 14, 11)) == (
        "From Oct – Dec 2025 to Apr – Jun 2026 it expected 9 shortages in Jul – Sep 2026; "
        "there were 11."
    )
    assert texts.expected_uses(earlier[:1], Season(2026, 1), Spread(1.25, 0, 3, 1)).startswith(
        "From Oct – Dec 2025 alone it expected 1.2 uses"
    )


def test_how_many_trips_are_known_is_said_in_full() -> None:
    assert texts.known_trips(59, 59).endswith("for all of them.")
    assert texts.known_trips(41, 59).startswith("What was used is known for 41 of 59 trips")
    assert texts.tested_trips(1, 0) == "1 trip of a kit is compared."
    assert texts.tested_trips(2, 1).endswith("1 more is left out: nobody counted what was used.")


@pytest.mark.parametrize(
    ("of", "says"), [(0, "0"), (1e-12, "under 0.1"), (0.12, "0.12"), (15, "15")]
)
def test_a_tiny_expectation_is_not_written_out(of: float, says: str) -> None:
    assert texts.average(of) == says
