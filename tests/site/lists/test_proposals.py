"""Drafting a list on the pages: for a trip that somebody describes, like another, from a paste."""

import pytest

from kits.models import HazardNeed, ItemNeed, Need, PackingList, PackingListVersion
from kits.services.lists import drafts
from kits.services.text.planning.planning_texts import CAUTION
from tests.kits import factories as make
from tests.kits.planning.school import serve
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE
TRIP = {"draft": "1", "people": "12", "days": "3"}


@pytest.fixture
def world() -> make.World:
    made = make.world()
    serve(made)
    return made


def carried(version: PackingListVersion) -> dict[str, int]:
    sections = drafts.draft_of(version).sections
    return {line.item.name: line.carry for section in sections for line in section.lines}


def newest() -> PackingListVersion:
    return PackingListVersion.objects.latest("id")


# ------------------------------------------------------------------------------------- for a trip
def test_a_trip_is_described_and_its_list_is_made_with_one_press(world: make.World) -> None:
    HazardNeed.objects.filter(hazard="sharp-tools").delete()
    small = Need.objects.get(key="small-wound")
    HazardNeed.objects.create(hazard="sharp-tools", need=small, units=7, reason="Saws cut.")
    client = browser(world.keeper)
    page = client.get("/lists/draft/", TRIP | {"hazard": "sharp-tools"})
    says = text_of(page)
    assert "Saws cut." in says and str(CAUTION) in says
    fields = form_with(page, "Make a new list") | {"name": "SAW-01"}
    first = client.post("/lists/draft/", fields)
    assert client.post("/lists/draft/", fields).headers["Location"] == first.headers["Location"]
    made = PackingListVersion.objects.get(packing_list__name="SAW-01")
    assert carried(made)["Wound dressing 10 × 12"] >= 7
    assert first.headers["Location"] == f"/lists/{made.packing_list_id}/1/edit/"


def test_the_same_question_has_the_same_answer(world: make.World) -> None:
    client, asked = browser(world.keeper), TRIP | {"like": str(world.version.pk)}
    said = [text_of(client.get("/lists/draft/", asked)) for _ in range(2)]
    assert said[0].split("Save it as a draft")[0] == said[1].split("Save it as a draft")[0]


def test_it_becomes_the_next_version_of_the_list_it_starts_from(world: make.World) -> None:
    client, asked = browser(world.keeper), TRIP | {"like": str(world.version.pk)}
    page = client.get("/lists/draft/", asked)
    assert "Make it the next version of Day walk" in text_of(page)
    client.post("/lists/draft/", form_with(page, "next version") | {"next": "1"})
    made = newest()
    assert (made.packing_list, made.number) == (world.version.packing_list, 2)
    again = client.get("/lists/draft/", asked)
    assert "is already a draft" in text_of(again)
    refused = post(client, "/lists/draft/", next="1", **asked)
    assert refused.status_code == 409
    assert "already a draft" in text_of(refused)


def test_a_name_that_is_taken_keeps_the_proposal_on_the_page(world: make.World) -> None:
    refused = post(browser(world.keeper), "/lists/draft/", name="day walk", **TRIP)
    assert refused.status_code == 409
    says = text_of(refused)
    assert "There is already a kit list called" in says and "Make a new list" in says


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"people": "0"}, "whole number"),
        ({"days": ""}, "whole number"),
        ({"children": "13"}, "more children than people"),
        ({"season": "monsoon"}, "not sent from this page"),
        ({"activity": "none-such"}, "Choose an activity"),
        ({"hazard": "dragons"}, "dragons"),
        ({"like": "99"}, "Choose a kit list"),
        ({"hours": "never"}, "Hours to a hospital or doctor"),
        ({"trained": "small-wound", "nobody": "1"}, "not both"),
        ({"trained": "dragons"}, "dragons"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(
    world: make.World, wrong: dict[str, str], says: str
) -> None:
    answer = browser(world.keeper).get("/lists/draft/", TRIP | wrong)
    assert answer.status_code == 400
    assert says in text_of(answer)
    assert "Draft the list" in text_of(answer)


def test_a_guide_reads_the_proposal_and_cannot_make_it(world: make.World) -> None:
    client = browser(world.guide)
    page = client.get("/lists/draft/", TRIP | {"like": str(world.version.pk)})
    assert page.status_code == 200
    assert "Make a new list" not in text_of(page)
    assert post(client, "/lists/draft/", name="Mine", **TRIP).status_code == 403
    assert PackingList.objects.count() == 1


def test_who_is_trained_is_asked_where_something_needs_it(world: make.World) -> None:
    client = browser(world.keeper)
    assert "is trained for" not in text_of(client.get("/lists/draft/"))
    ItemNeed.objects.filter(item=world.tablets).update(needs_training=True)
    asked = TRIP | {"like": str(world.version.pk)}
    assert "You have not said who is trained" in text_of(client.get("/lists/draft/", asked))
    nobody = text_of(client.get("/lists/draft/", asked | {"nobody": "1"}))
    assert "nobody in the group is trained" in nobody


def test_a_school_without_items_is_told_what_to_do(world: make.World) -> None:
    ItemNeed.objects.all().delete()
    says = text_of(browser(world.keeper).get("/lists/draft/", TRIP))
    assert "There is nothing to suggest" in says


def test_a_trip_fills_the_form_in(world: make.World) -> None:
    trip = make.trip("Canoe trip", world.store, 1, 3, people=12, hazards=["water"])
    client = browser(world.keeper)
    page = client.get(f"/trips/{trip.pk}/").content.decode()
    address = page.split('href="/lists/draft/?')[1].split('"')[0].replace("&amp;", "&")
    filled = client.get(f"/lists/draft/?{address}").content.decode()
    assert 'value="12"' in filled and 'value="3"' in filled
    assert 'value="water" checked' in filled
    assert "The details of the trip are filled in." in text_of(
        client.get(f"/lists/draft/?{address}")
    )


# ------------------------------------------------------------------------------ like another list
def test_a_list_like_another_without_one_and_with_another(world: make.World) -> None:
    client = browser(world.keeper)
    of = f"/lists/{world.version.packing_list_id}/{world.version.number}"
    assert f'href="{of}/copy/"' in client.get(f"{of}/").content.decode()
    page = client.get(f"{of}/copy/")
    fields = form_with(page, "Make a new list") | {
        "name": "DAY-02",
        f"carry-main-{world.dressing.pk}": "9",
        f"carry-pouch-{world.tablets.pk}": "0",
        f"never-pouch-{world.tablets.pk}": "0",
        "thing-1": "Pressure gauge",
        "units-1": "2",
    }
    answer = client.post(f"{of}/copy/", fields)
    made = PackingListVersion.objects.get(packing_list__name="DAY-02")
    assert answer.headers["Location"] == f"/lists/{made.packing_list_id}/1/edit/"
    assert carried(made) == {
        "Wound dressing 10 × 12": 9,
        "Shears": 1,
        "Plasters": 1,
        "Pressure gauge": 2,
    }


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"name": ""}, "Enter a name"),
        ({"thing-1": "Head torch", "units-1": "1"}, "Head torch"),
        ({"thing-1": "Pressure gauge", "units-1": ""}, "Pressure gauge, number to carry"),
        ({"carry": "2"}, "is higher than the number to carry"),
        ({"carry": "two"}, "Wound dressing 10 × 12, number to carry"),
    ],
)
def test_a_copy_that_cannot_be_is_refused_and_keeps_what_was_typed(
    world: make.World, wrong: dict[str, str], says: str
) -> None:
    client = browser(world.keeper)
    of = f"/lists/{world.version.packing_list_id}/{world.version.number}/copy/"
    wrong = dict(wrong)
    if "carry" in wrong:
        wrong[f"carry-main-{world.dressing.pk}"] = wrong.pop("carry")
    fields = form_with(client.get(of), "Make a new list") | {"name": "DAY-02"} | wrong
    answer = client.post(of, fields)
    assert answer.status_code in (400, 404)
    assert says in text_of(answer)
    assert PackingList.objects.count() == 1


# ---------------------------------------------------------------------------------------- a paste
PASTE = "2 x wound dressing 10x12\nHead torch\nShears – 1\nwound dressing 10 x 12 (3)"


def test_pasted_lines_are_shown_with_their_items_and_made_a_list(world: make.World) -> None:
    client = browser(world.keeper)
    page = post(client, "/lists/paste/", text=PASTE)
    says = text_of(page)
    assert "4 lines." in says and "1 line has no item" in says
    assert "Head torch no item of this name" in says
    assert PackingList.objects.count() == 1
    dressing, shears = str(world.dressing.pk), str(world.shears.pk)
    chosen = {
        "text": PASTE, "item-0": dressing, "units-0": "2", "item-1": "out", "units-1": "1",
        "item-2": shears, "units-2": "1", "item-3": dressing, "units-3": "3",
    }  # fmt: skip
    sent = {"make": "new", "name": "Pasted", "people": "8", "days": "1"}
    answer = client.post("/lists/paste/", chosen | sent)
    made = PackingListVersion.objects.get(packing_list__name="Pasted")
    assert answer.headers["Location"] == f"/lists/{made.packing_list_id}/1/edit/"
    assert carried(made) == {"Wound dressing 10 × 12": 5, "Shears": 1}
    page = client.get(answer.headers["Location"])
    assert "Left out when pasted: Head torch." in text_of(page)
    assert made.note == "Left out when pasted: Head torch."


def test_lines_that_nobody_chose_are_asked_about_once(world: make.World) -> None:
    client = browser(world.keeper)
    fields = form_with(post(client, "/lists/paste/", text=PASTE), "Make a new list")
    assert fields["item-1"] == ""
    fields |= {"make": "new", "name": "Pasted", "people": "8", "days": "1", "text": PASTE}
    asked = client.post("/lists/paste/", fields)
    assert "1 line has no item yet: Head torch. Choose one for it, or press again" in text_of(asked)
    assert PackingList.objects.count() == 1
    again = form_with(asked, "Make a new list") | {"make": "new", "text": PASTE}
    unnamed = client.post("/lists/paste/", again | {"name": ""})
    assert "Enter a name" in text_of(unnamed)
    again = form_with(unnamed, "Make a new list") | {"make": "new", "text": PASTE, "name": "Two"}
    client.post("/lists/paste/", again)
    assert newest().note == "Left out when pasted: Head torch."


def test_a_line_that_is_cleared_after_the_question_is_asked_about_too(world: make.World) -> None:
    sent = {
        "text": PASTE, "make": "new", "name": "Pasted", "people": "8", "days": "1",
        "asked-1": "1", "item-1": "", "item-2": "",
    }  # fmt: skip
    answer = post(browser(world.keeper), "/lists/paste/", **sent)
    assert "2 lines have no item yet: Head torch; Shears – 1." in text_of(answer)
    assert PackingList.objects.count() == 1


def test_a_line_without_an_item_is_chosen_by_hand(world: make.World) -> None:
    sent = {
        "text": "Manometer (2)", "other-0": "Pressure gauge", "units-0": "2",
        "make": "next", "list": str(world.version.packing_list_id),
    }  # fmt: skip
    post(browser(world.keeper), "/lists/paste/", **sent)
    assert carried(newest()) == carried(world.version) | {"Pressure gauge": 2}


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"text": " "}, "Paste at least one line."),
        ({"name": "", "make": "new"}, "Enter a name"),
        ({"make": "new", "name": "x", "people": ""}, "People"),
        ({"make": "next"}, "Choose a kit list"),
        ({"make": "new", "name": "x", "other-2": "Spaceship"}, "Spaceship"),
        ({"make": "new", "name": "x", "units-2": "0"}, "Shears, number to carry"),
    ],
)
def test_a_paste_that_cannot_be_is_refused_and_kept(
    world: make.World, wrong: dict[str, str], says: str
) -> None:
    sent = {"text": PASTE, "people": "8", "days": "1", "item-1": "out"} | wrong
    answer = post(browser(world.keeper), "/lists/paste/", **sent)
    assert answer.status_code in (400, 404)
    assert says in text_of(answer)
    assert PackingListVersion.objects.count() == 1


def test_a_guide_cannot_paste(world: make.World) -> None:
    assert browser(world.guide).get("/lists/paste/").status_code == 403
