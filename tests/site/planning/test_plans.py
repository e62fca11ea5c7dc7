"""What a list comes to, what it costs and how it does on past trips, on the pages."""

import re
from decimal import Decimal

import pytest

from kits.models import Activity, AsFound, ItemNeed, Need
from kits.services.custody import custody
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.custody.use import UseLine
from kits.services.lists import drafts, publishing
from kits.services.planning.records import priors
from kits.services.stock import receiving
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


def state(world: make.World, need: str, per_1000: str) -> None:
    priors.state(
        make.act(world.adviser), Need.objects.get(key=need), None, per_1000=Decimal(per_1000)
    )


PATHS = (
    "/lists/1/1/plan/",
    "/lists/1/1/costs/",
    "/lists/1/1/replay/",
    "/kits/DAY-01/plan/",
    "/kits/DAY-01/costs/",
    "/rates/",
    "/rates/small-wound/",
)


@pytest.mark.parametrize("path", PATHS)
def test_every_page_works_without_any_history_and_bears_the_caution(
    world: make.World, path: str
) -> None:
    answer = browser(world.guide).get(path)
    assert answer.status_code == 200
    assert str(CAUTION) in text_of(answer)


def test_without_any_rate_nothing_is_said_and_a_rate_can_be_stated(world: make.World) -> None:
    answer = browser(world.guide).get("/lists/1/1/plan/")
    assert "Nothing can be worked out yet" in text_of(answer)
    assert "Enter a rate" not in text_of(answer)
    adviser = browser(world.adviser).get("/lists/1/1/plan/")
    assert "Enter a rate for “small wound”" in text_of(adviser)
    assert "/rates/small-wound/" in adviser.content.decode()


def test_a_line_says_how_many_trips_want_more_and_what_another_unit_changes(
    world: make.World,
) -> None:
    ItemNeed.objects.update(units_per_use=1)
    state(world, "small-wound", "300")
    client = browser(world.guide)
    page = text_of(client.get("/lists/1/1/plan/"))
    assert "Expect this list to be short of something on at least 1 trip in" in page
    assert "This list is short of a must-have on" in page
    assert "1 item has no rate and is not included." in page
    assert "1 item is loose" in page
    assert "Items that are not on this list are not counted" in page
    assert "need more than 6" in page or "needs more than 6" in page
    assert "Carrying 7:" in page
    assert "Carrying 5:" in page
    assert "300 per 1,000, entered by Ada" in page


def test_fewer_than_the_minimum_is_not_spoken_of(world: make.World) -> None:
    ItemNeed.objects.update(units_per_use=1)
    state(world, "small-wound", "300")
    world.version.sections.get(key="main").lines.filter(item=world.dressing).update(never_below=6)
    page = text_of(browser(world.guide).get("/lists/1/1/plan/"))
    assert "Carrying 7:" in page
    assert "Carrying 5:" not in page


def test_what_another_unit_changes_nothing_in_is_not_said(world: make.World) -> None:
    state(world, "small-wound", "1")
    page = text_of(browser(world.guide).get("/lists/1/1/plan/"))
    assert "fewer than 1 needs more than 6" in page
    assert "Carrying 7:" not in page


def test_a_wrong_question_says_so_and_answers_for_what_the_list_is_made_for(
    world: make.World,
) -> None:
    client = browser(world.guide)
    for wrong in ("people=0", "people=x", "days=400", "activity=flying"):
        answer = client.get(f"/lists/1/1/plan/?{wrong}")
        assert answer.status_code in (400, 422)
        assert 'value="10"' in answer.content.decode()
    empty = client.get("/lists/1/1/plan/?people=&days=&activity=")
    assert empty.status_code == 200


def test_more_people_want_more(world: make.World) -> None:
    state(world, "small-wound", "20")
    client = browser(world.guide)
    assert "1 trip in" in text_of(client.get("/lists/1/1/plan/?people=100"))
    assert "out of 100 trips like this." in text_of(client.get("/lists/1/1/plan/?people=900"))


def test_a_kit_of_another_room_is_not_there(world: make.World) -> None:
    client = browser(world.stranger)
    assert client.get("/kits/DAY-01/plan/").status_code == 404
    assert client.get("/kits/DAY-01/costs/").status_code == 404
    assert client.get("/lists/1/1/replay/?kit=DAY-01").status_code == 404


def test_no_use_on_record_is_too_few_to_call_it_rare(world: make.World) -> None:
    past(world)
    page = text_of(browser(world.guide).get("/lists/1/1/costs/"))
    assert (
        "Nothing for this need was used in 8 participant-days, which is too few to call the "
        "need rare." in page
    )
    assert "Your adviser decides." in page
    assert "No delivery of this item has a price on record" in page


def test_a_past_trip_short_of_something_is_named_to_its_own_room_alone(world: make.World) -> None:
    words = Remarks(needed=[NeedLine(words="a crutch")])
    past(world, UseLine(world.dressing, 5), remarks=words)
    draft = drafts.new_draft(make.act(world.keeper), world.version.packing_list)
    draft.sections.get(key="main").lines.filter(item=world.dressing).update(carry=2, never_below=1)
    own = text_of(browser(world.guide).get("/lists/1/2/replay/"))
    assert "Based on 1 recorded trip with DAY-01, DAY-02" in own
    assert "On 1 trip, something on this list would have run out." in own
    assert (
        "1 missing item that was noted in somebody’s own words is not counted here: a crutch."
    ) in own
    assert "Hill day" in own
    assert "5 needed, 3 short" in own
    other = text_of(browser(world.stranger).get("/lists/1/2/replay/"))
    assert "Hill day" not in other
    assert "a crutch" not in other
    assert "DAY-01" not in other
    assert "A trip from another gear room" in other


def test_a_version_that_was_replaced_says_when_and_by_which(world: make.World) -> None:
    client = browser(world.guide)
    assert "was replaced" not in text_of(client.get("/lists/1/1/replay/"))
    drafted = drafts.new_draft(make.act(world.keeper), world.version.packing_list)
    assert "was replaced" not in text_of(client.get("/lists/1/1/replay/"))
    publishing.publish(make.act(world.keeper), drafted)
    page = text_of(client.get("/lists/1/1/replay/"))
    assert re.search(r"This version was replaced on \d+ \w+ \d{4} by version 2\.", page)
    assert "was replaced" not in text_of(client.get("/lists/1/2/replay/"))


def test_trips_nobody_counted_are_said_to_be_left_out(world: make.World) -> None:
    trip = make.trip("Hill day", world.store)
    custody.check_out(
        make.act(world.keeper), world.day_01, person=world.guide, trip=trip, already_gone=True
    )
    custody.check_in(make.act(world.keeper), make.fresh(world.day_01), as_found=AsFound.OPENED)
    page = text_of(browser(world.guide).get("/lists/1/1/replay/"))
    assert "1 trip is left out" in page


def test_an_activity_has_its_own_plan(world: make.World) -> None:
    caving = Activity.objects.get(key="caving")
    past(world, UseLine(world.dressing, 2), activity=caving)
    page = text_of(browser(world.guide).get("/lists/1/1/plan/?activity=caving"))
    assert "Needed once in 8 participant-days." in page


def test_without_an_activity_the_records_are_those_of_all(world: make.World) -> None:
    past(world, UseLine(world.dressing, 2), activity=Activity.objects.get(key="caving"))
    client = browser(world.guide)
    for page in ("/lists/1/1/plan/", "/lists/1/1/costs/"):
        assert "Needed once in 8 participant-days." in text_of(client.get(page))
        assert "None of these trips carried anything" in text_of(
            client.get(f"{page}?activity=camp")
        )


def test_a_kit_begins_with_the_activity_that_most_of_its_trips_had(world: make.World) -> None:
    past(world, UseLine(world.dressing, 2), activity=Activity.objects.get(key="caving"))
    client = browser(world.guide)
    for path in ("/kits/DAY-01/plan/", "/kits/DAY-01/costs/"):
        page = client.get(path)
        assert "past trips were mostly for caving (1 of 1)" in text_of(page)
        assert '<option value="caving" selected>' in page.content.decode()
        chosen = text_of(client.get(f"{path}?activity="))
        assert "mostly for caving" not in chosen
    plan = text_of(client.get("/kits/DAY-01/plan/?activity="))
    assert "From 1 trip with any activity." in plan
    Activity.objects.filter(key="caving").update(retired_on=make.days(0))
    assert "mostly for caving" not in text_of(client.get("/kits/DAY-01/plan/"))


def test_the_sum_on_the_page_is_that_of_its_lines(world: make.World) -> None:
    for item, price in ((world.dressing, "21.50"), (world.tablets, "9.60"), (world.shears, "41")):
        receiving.receive(
            make.act(world.keeper), item=item, shelf=world.shelf, units=10, number="P1",
            expiry=make.days(500), price=Decimal(price), currency="GBP",
        )  # fmt: skip
    page = text_of(browser(world.guide).get("/lists/1/1/costs/"))
    whole, *lines = (Decimal(each) for each in re.findall(r"([0-9.]+) GBP a year", page))
    assert len(lines) == 3
    assert whole == sum(lines)
    assert "1 item is loose" in page
    assert "1 year and 4 months" in page


def test_where_all_that_was_carried_went_it_is_at_least(world: make.World) -> None:
    past(world, UseLine(world.dressing, 6))
    client = browser(world.guide)
    for page in ("plan", "costs"):
        said = text_of(client.get(f"/lists/1/1/{page}/"))
        assert "Needed at least 3 times in 8 participant-days." in said


def test_what_runs_out_most_stands_before_all_items_with_what_would_be_enough(
    world: make.World,
) -> None:
    ItemNeed.objects.update(units_per_use=1)
    state(world, "small-wound", "900")
    page = text_of(browser(world.guide).get("/lists/1/1/plan/"))
    first = page[page.index("Items that run out most often") : page.index("Item by item")]
    row = re.search(
        rf"{re.escape(world.dressing.name)} 6 (at least )?(\d+) no: (at least )?(\d+)", first
    )
    assert row, first
    assert int(row[2]) > 30
    assert int(row[4]) > 9  # of a mean of nine, more than that are enough


def test_a_plan_on_which_nothing_runs_out_has_no_list_of_what_does(world: make.World) -> None:
    state(world, "small-wound", "0.01")
    page = text_of(browser(world.guide).get("/lists/1/1/plan/"))
    assert "Items that run out most often" not in page
    assert "Item by item" in page


def test_costs_begin_with_what_is_thrown_away_and_never_used(world: make.World) -> None:
    receiving.receive(
        make.act(world.keeper), item=world.dressing, shelf=world.shelf, units=10, number="P1",
        expiry=make.days(500), price=Decimal("21.50"), currency="GBP",
    )  # fmt: skip
    state(world, "small-wound", "1")
    past(world)
    page = text_of(browser(world.guide).get("/lists/1/1/costs/"))
    thrown = page[page.index("go out of date unused Item") : page.index("Item by item")]
    assert re.search(rf"{re.escape(world.dressing.name)} 6 [0-9.]+ GBP", thrown)
    never = page[page.index("Never used on record") : page.index("Item by item")]
    assert world.dressing.name in never
    assert "Your adviser decides." in never


def test_what_was_used_is_not_among_what_never_was(world: make.World) -> None:
    past(world, UseLine(world.dressing, 2))
    page = text_of(browser(world.guide).get("/lists/1/1/costs/"))
    before = page[: page.index("Item by item")]
    assert world.dressing.name not in before.partition("Never used on record")[2]
