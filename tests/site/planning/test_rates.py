"""How often needs come up, stated on their pages; needs, activities and what items serve."""

import pytest

from kits.models import Activity, HazardNeed, ItemNeed, Need, StatedRate
from kits.services.custody.use import UseLine
from tests.kits import factories as make
from tests.kits.planning.school import past, serve
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world() -> make.World:
    made = make.world()
    serve(made)
    return made


def test_the_adviser_states_a_rate_and_it_stands_on_the_page(world: make.World) -> None:
    client = browser(world.adviser)
    post(client, "/rates/blister/", per_1000="4,5", weight="2", note="Long days.")
    page = text_of(client.get("/rates/blister/"))
    assert "4.5 per 1,000, entered by Ada." in page
    assert "Long days." in page
    assert StatedRate.objects.get().weight == 2


def test_a_rate_is_stated_of_an_activity_and_out_of_a_study(world: make.World) -> None:
    client = browser(world.adviser)
    post(
        client,
        "/rates/sprain/",
        per_1000="1.64",
        weight="1",
        study="wells-2018",
        activity="hill-walking",
    )
    page = text_of(client.get("/rates/sprain/"))
    assert "hill walking: 1.6 per 1,000, published by Wells FC, Warden CR, 2018." in page
    assert "No rate has been entered yet" in page  # for all other activities


def test_pressed_twice_it_is_stated_once(world: make.World) -> None:
    client, key = browser(world.adviser), "5f1e6d0e-1111-4222-8333-444455556666"
    for _each in range(2):
        post(client, "/rates/blister/", key=key, per_1000="4", weight="1")
    assert StatedRate.objects.count() == 1


@pytest.mark.parametrize(
    "sent",
    [
        {"per_1000": "", "weight": "1"},
        {"per_1000": "0", "weight": "1"},
        {"per_1000": "many", "weight": "1"},
        {"per_1000": "10001", "weight": "1"},
        {"per_1000": "4", "weight": "2.5"},
        {"per_1000": "4", "weight": "0"},
        {"per_1000": "4", "weight": "1", "study": "none-such"},
        {"per_1000": "4", "weight": "1", "activity": "none-such"},
    ],
)
def test_what_is_no_rate_is_refused_and_kept_in_the_form(
    world: make.World, sent: dict[str, str]
) -> None:
    answer = post(browser(world.adviser), "/rates/blister/", **sent)
    assert answer.status_code in (400, 422)
    assert f'value="{sent["per_1000"]}"' in answer.content.decode()
    assert not StatedRate.objects.exists()


def test_a_rate_is_left_blank_on_purpose(world: make.World) -> None:
    client = browser(world.adviser)
    post(client, "/rates/blister/", per_1000="", weight="1", blank="1")
    assert "Left blank by Ada." in text_of(client.get("/rates/blister/"))


def test_nobody_but_the_adviser_states_a_rate(world: make.World) -> None:
    for person in (world.guide, world.keeper, world.stranger):
        client = browser(person)
        assert "Only the medical adviser can enter a rate." in text_of(
            client.get("/rates/blister/")
        )
        assert post(client, "/rates/blister/", per_1000="4", weight="1").status_code == 403
    assert not StatedRate.objects.exists()


def test_records_say_no_more_than_they_can_bear(world: make.World) -> None:
    client = browser(world.guide)
    assert "None of these trips carried anything" in text_of(client.get("/rates/small-wound/"))
    past(world, people=20)
    assert "That is too little to draw a conclusion." in text_of(client.get("/rates/small-wound/"))
    past(world, people=673)
    page = text_of(client.get("/rates/small-wound/"))
    assert "Nothing for this need was used in 693 participant-days." in page
    assert "too few to call the need rare: it may come up as often as 4.3 times per 1,000" in page
    past(world, UseLine(world.dressing, 2))
    page = text_of(client.get("/rates/small-wound/"))
    assert "Needed once in 701 participant-days." in page
    assert "shown once there are 20 uses" in page


def test_two_studies_that_disagree_stand_as_two(world: make.World) -> None:
    page = text_of(browser(world.guide).get("/rates/"))
    assert "40 % fewer blisters" in page
    assert "the two disagree" in page


def test_what_is_not_there_is_not_there(world: make.World) -> None:
    client = browser(world.guide)
    assert client.get("/rates/none-such/").status_code == 404
    assert client.get("/stock/999/serves/").status_code == 404


# ------------------------------------------------------------------------------- vocabulary
def test_needs_and_activities_are_added_renamed_and_retired(world: make.World) -> None:
    client = browser(world.keeper)
    post(client, "/needs/", **{"add-need": "1", "name": "Jellyfish", "group": "allergy"})
    post(client, "/needs/", **{"edit-need": "jellyfish", "name": "Weever", "group": "feet"})
    post(client, "/needs/", **{"retire-need": "jellyfish"})
    need = Need.objects.get(key="jellyfish")
    assert (need.name, need.group, need.retired_on is None) == ("Weever", "feet", False)
    assert "/rates/jellyfish/" not in client.get("/rates/").content.decode()
    assert client.get("/rates/jellyfish/").status_code == 200
    post(client, "/needs/", **{"bring-back-need": "jellyfish"})
    assert "/rates/jellyfish/" in client.get("/rates/").content.decode()
    post(client, "/needs/", **{"add-activity": "1", "name": "Abseiling"})
    post(client, "/needs/", **{"edit-activity": "abseiling", "name": "Via ferrata"})
    post(client, "/needs/", **{"retire-activity": "abseiling"})
    activity = Activity.objects.get(key="abseiling")
    assert activity.name == "Via ferrata"
    plan = "/lists/1/1/plan/"
    assert 'value="abseiling"' not in client.get(plan).content.decode()
    post(client, "/needs/", **{"bring-back-activity": "abseiling"})
    assert 'value="abseiling"' in client.get(plan).content.decode()


def test_a_taken_name_is_refused_on_the_page_and_a_guide_changes_nothing(
    world: make.World,
) -> None:
    sent = {"add-need": "1", "name": "Blister", "group": "feet"}
    answer = post(browser(world.keeper), "/needs/", **sent)
    assert answer.status_code == 409
    assert "already exists" in text_of(answer)
    assert post(browser(world.guide), "/needs/", **{**sent, "name": "New"}).status_code == 403
    assert post(browser(world.keeper), "/needs/").status_code in (400, 422)
    assert "Add need" not in text_of(browser(world.guide).get("/needs/"))


def test_it_is_said_what_an_item_is_for(world: make.World) -> None:
    client, path = browser(world.adviser), f"/stock/{world.shears.pk}/serves/"
    post(client, path, need="large-wound", units_per_use="3", best="no")
    page = text_of(client.get(path))
    assert "3 per use" in page
    assert "can be used if there is nothing better" in page
    assert post(client, path, need="large-wound", units_per_use="17").status_code in (400, 422)
    assert "Choose a need." in text_of(post(client, path, need="", units_per_use="1"))
    post(client, path, remove="large-wound")
    assert not ItemNeed.objects.filter(item=world.shears).exists()
    assert (
        post(browser(world.guide), path, need="large-wound", units_per_use="1").status_code == 403
    )


# ------------------------------------------------------------------------------- hazards
def test_it_is_said_what_a_hazard_asks_of_a_list(world: make.World) -> None:
    client, path = browser(world.adviser), "/needs/hazards/"
    before = text_of(client.get(path))
    assert "A saw or an axe can open an artery." in before
    ask = {"hazard": "hill", "need": "blister", "units": "2", "reason": "Long days."}
    post(client, path, **ask)
    assert "Lists for hills and mountains now have to cover “blister”." in text_of(client.get(path))
    post(client, path, **{**ask, "units": "3"})
    assert "At least 3 units. Long days." in text_of(client.get(path))
    post(client, path, remove="hill", of="blister")
    assert "Long days." not in text_of(client.get(path))


@pytest.mark.parametrize(
    "wrong",
    [{"hazard": "sharks"}, {"units": "0"}, {"units": "1001"}, {"reason": " "}, {"need": "none"}],
    ids=str,
)
def test_what_a_hazard_cannot_ask_is_refused_and_changes_nothing(
    world: make.World, wrong: dict[str, str]
) -> None:
    ask = {"hazard": "hill", "need": "blister", "units": "2", "reason": "Long days."} | wrong
    answer = post(browser(world.keeper), "/needs/hazards/", **ask)
    assert answer.status_code in (400, 404, 422)
    assert not HazardNeed.objects.filter(hazard="hill").exists()


def test_a_hazard_still_asks_for_a_retired_need_until_it_is_removed(world: make.World) -> None:
    client, path = browser(world.keeper), "/needs/hazards/"
    post(client, "/needs/", **{"retire-need": "burn"})
    assert "until you remove it here" in text_of(client.get(path))
    sent = {"hazard": "fire", "need": "burn", "units": "9", "reason": "x"}
    assert "has been retired" in text_of(post(client, path, **sent))
    post(client, path, remove="fire", of="burn")
    assert post(client, path, remove="fire", of="burn").status_code == 404
    assert post(client, path, remove="sharks", of="burn").status_code in (400, 422)
    assert "until you remove it here" not in text_of(client.get(path))


def test_a_guide_reads_what_hazards_ask_and_changes_nothing(world: make.World) -> None:
    client, path = browser(world.guide), "/needs/hazards/"
    page = client.get(path)
    assert "Cuts from tools are deep and long." in text_of(page)
    assert '<details class="inline">' not in page.content.decode()
    assert post(client, path, remove="fire", of="burn").status_code == 403
    assert HazardNeed.objects.filter(hazard="fire").exists()
