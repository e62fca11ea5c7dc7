"""What was used, and how the last season went, on the pages."""

from datetime import timedelta

import pytest

from gearroom.core import clock
from kits.models import ItemNeed, Need
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.custody.use import UseLine
from kits.services.text.planning.planning_texts import CAUTION
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
    assert "came back from 1 trip, and what was used is on record" in said
    assert "Needed once in 8 participant-days." in said
    assert "a crutch" in said
    assert f"/trips/{trip.pk}/" in answer.content.decode()
    assert 'class="within"' in answer.content.decode()
    assert 'class="absent"' in answer.content.decode()
    assert "2 missing items were noted." in said
    assert "Show as a table" in said
    assert "None used in 8 participant-days, known for 1 of 1 trip." in said


def test_another_rooms_own_words_are_not_shown(world: make.World) -> None:
    past(world, remarks=Remarks(needed=[NeedLine(words="a crutch")]))
    said = text_of(browser(world.stranger).get("/past-use/"))
    assert "a crutch" not in said
    assert "No kit from your gear rooms has come back" in said


def test_the_last_season_stands_beside_what_was_expected(world: make.World) -> None:
    past(world, UseLine(world.dressing, 2))
    with clock.pretending(clock.now() + timedelta(days=92)):
        past(world, UseLine(world.dressing, 2))
    with clock.pretending(clock.now() + timedelta(days=280)):
        said = text_of(browser(world.guide).get("/back-test/"))
    assert "about 1.5 uses were expected, based on the records of" in said
    assert "On record: at least 1." in said
    assert "The number on record is not above that" in said


def test_fewer_than_two_seasons_say_so(world: make.World) -> None:
    past(world)
    assert "That needs trips on record in two such seasons" in text_of(
        browser(world.guide).get("/back-test/")
    )


def test_a_season_that_goes_on_is_marked_in_the_chart_and_in_the_table(world: make.World) -> None:
    past(world, UseLine(world.dressing, 2))
    answer = browser(world.guide).get("/past-use/")
    assert text_of(answer).count("not finished") == 2
    assert "(not finished): 1 used" in answer.content.decode()
    with clock.pretending(clock.now() + timedelta(days=100)):
        assert "not finished" not in text_of(browser(world.guide).get("/past-use/"))


def test_a_must_have_that_was_not_used_is_said_to_be_kept(world: make.World) -> None:
    past(world, UseLine(world.tablets, 1))
    said = text_of(browser(world.guide).get("/past-use/"))
    assert "must-have: keep carrying" in said


def test_what_it_is_for_came_up_and_was_met_with_other_items(world: make.World) -> None:
    need = Need.objects.get(key="headache")
    ItemNeed.objects.create(item=world.dressing, need=need)
    past(world, UseLine(world.tablets, 2))
    said = text_of(browser(world.guide).get("/past-use/"))
    assert "the need that this item is for came up twice and was met with other items" in said


def test_needs_outside_what_chance_explains_are_named_with_their_direction(
    world: make.World,
) -> None:
    with clock.pretending(clock.now() - timedelta(days=200)):
        past(world, people=1000)
        past(world, UseLine(world.dressing, 2), people=1000)
    with clock.pretending(clock.now() - timedelta(days=100)):
        past(world, UseLine(world.dressing, 8), people=2)
    said = text_of(browser(world.guide).get("/back-test/"))
    assert "1 of 1 need came up more or less often than chance alone explains." in said
    assert (
        "More often than expected: small wound. Plans may include too few items for these "
        "needs." in said
    )
    assert "more often" in said


def test_shortages_say_which_wants_they_leave_out(world: make.World) -> None:
    past(world, UseLine(world.dressing, 2))
    with clock.pretending(clock.now() + timedelta(days=92)):
        past(
            world,
            remarks=Remarks(
                needed=[
                    NeedLine(world.dressing),
                    NeedLine(make.item("Splint")),
                    NeedLine(words="a crutch"),
                ]
            ),
        )
    with clock.pretending(clock.now() + timedelta(days=280)):
        said = text_of(browser(world.guide).get("/back-test/"))
    assert (
        "3 items were noted as needed but not in the kit. 1 of them is among these shortages."
        in (said)
    )
    assert (
        "Left out: 1 for which the kit’s list carried nothing; 1 noted in people’s own words."
        in said
    )
