"""Changes to several lists on the pages: made in two steps, followed, looked at again."""

from typing import Any

import pytest

from kits.models import ListChange, ListChangeReview
from kits.services.kits import kits
from kits.services.lists import publishing, signatures
from tests.kits import factories as make
from tests.kits.factories import World, days
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE

ALL, NEW = "/lists/changes/", "/lists/changes/new/"


@pytest.fixture
def w() -> World:
    made = make.world()
    make.item("Non-stick dressing", sterile=True)
    return made


def fields(w: World, **more: Any) -> dict[str, Any]:
    return {
        "thing": w.dressing.name,
        "what": "swap",
        "instead": "Non-stick dressing",
        "by_day": days(60).isoformat(),
        "claim": "It comes off without pain.",
        "review_on": days(200).isoformat(),
        "list": str(w.version.packing_list_id),
        "anyway": "1",
        "side-1": "for",
        "says-1": "It sticks less.",
        "study-1": "gentile-1992",
        "side-2": "against",
        "says-2": "It soaks up less.",
        "read_in-2": "Stated by the adviser",
        **more,
    }


def made(w: World) -> ListChange:
    assert post(browser(w.keeper), NEW, **fields(w)).status_code == 302
    return ListChange.objects.get()


def test_from_the_item_in_one_tap_to_the_lists_that_carry_it(w: World) -> None:
    make.kit_list("Caves", {"main": [(w.shears, 1, 1, make.Criticality.ROUTINE)]})
    client = browser(w.keeper)
    item = client.get(f"/stock/{w.dressing.pk}/")
    assert "/lists/changes/new/?thing=Wound%20dressing" in item.content.decode()
    page = client.get(NEW, {"thing": w.dressing.name, "what": "swap"})
    assert form_with(page, "Lists that change")["list"] == str(w.version.packing_list_id)
    assert "Caves" not in text_of(page)


def test_both_sides_stand_beside_each_other_with_each_kit(w: World) -> None:
    change = made(w)
    says = text_of(browser(w.guide).get(f"{ALL}{change.pk}/"))
    for text in (
        "Non-stick dressing in place of Wound dressing 10 × 12",
        "It sticks less.",
        "Gentile DA and others",
        "It soaks up less.",
        "Stated by the adviser",
        "No kit has this change yet; all by",
        "waits for version 2 to be published",
    ):
        assert text in says
    assert "Withdraw" not in says


def test_how_far_it_is_follows_the_kits(w: World) -> None:
    change = made(w)
    version = publishing.publish(make.act(w.keeper), change.versions.get().version)
    signatures.sign(make.act(w.adviser), version, until=days(300))
    kits.follow_list(make.act(w.keeper), w.day_01, version)
    says = text_of(browser(w.keeper).get(f"{ALL}{change.pk}/"))
    assert "still has Wound dressing 10 × 12" in says
    assert "Non-stick dressing in place of" in text_of(browser(w.keeper).get(ALL))


def test_what_is_wrong_is_said_and_what_was_entered_stays(w: World) -> None:
    client = browser(w.keeper)
    for wrong, says in (
        ({"by_day": days(-1).isoformat()}, "Enter a day after today by which all kits"),
        ({"by_day": "soon"}, "enter a date"),
        ({"instead": ""}, "Choose the item that replaces it"),
        ({"list": ""}, "Choose the lists that the change applies to"),
        ({"list": "9" * 30}, "Choose the lists that the change applies to"),
        ({"says-1": "", "study-1": "", "says-2": "", "read_in-2": ""}, "at least one source"),
        ({"says-1": ""}, "Enter what the source says"),
        ({"instead": "No such thing"}, "No such thing"),
    ):
        refused = post(client, NEW, **fields(w, **wrong))
        assert refused.status_code in (400, 404, 422), wrong
        assert says in text_of(refused)
    assert 'value="It comes off without pain."' in refused.content.decode()
    assert not ListChange.objects.exists()


def test_a_name_that_no_item_has_and_an_item_on_no_list_are_said(w: World) -> None:
    client = browser(w.keeper)
    assert "No item has that name" in text_of(client.get(NEW, {"thing": "x", "what": "swap"}))
    page = client.get(NEW, {"thing": "Non-stick dressing", "what": "swap"})
    assert "No kit list carries this item" in text_of(page)
    assert client.get(NEW, {"thing": w.dressing.name, "what": "nonsense"}).status_code == 200


def test_pressed_twice_it_is_made_once(w: World) -> None:
    key = "123e4567-e89b-42d3-a456-426614174000"
    for _ in range(2):
        assert post(browser(w.keeper), NEW, key, **fields(w)).status_code == 302
    assert ListChange.objects.count() == 1


def test_it_is_looked_at_again_and_withdrawn(w: World) -> None:
    change, client = made(w), browser(w.adviser)
    address = f"{ALL}{change.pk}/"
    assert "Enter the day of the next review" in text_of(post(client, address))
    post(client, address, review_on=days(300).isoformat(), note="Nothing new.")
    assert "Nothing new." in text_of(client.get(address))
    post(client, address, do="withdraw")
    says = text_of(client.get(address))
    assert "Withdrawn." in says and "Still right:" not in says
    assert "Edit Day walk, version 2" in says
    assert f"/lists/{w.version.packing_list_id}/2/edit/" in client.get(address).content.decode()
    assert "Edit Day walk" not in text_of(browser(w.guide).get(address))


def test_a_must_have_is_asked_about_first_naming_the_lists(w: World) -> None:
    client, says = browser(w.keeper), "is a must-have on Day walk. Only the medical adviser decides"
    for kind in ("remove", "swap", "amount"):
        assert says in text_of(client.get(NEW, {"thing": w.dressing.name, "what": kind}))
    assert says not in text_of(client.get(NEW, {"thing": w.shears.name, "what": "remove"}))
    unconfirmed = fields(w)
    del unconfirmed["anyway"]
    refused = post(client, NEW, **unconfirmed)
    assert refused.status_code == 409 and says in text_of(refused)
    assert not ListChange.objects.exists()


def test_another_number_keeps_the_priority_of_each_list_unless_one_is_chosen(w: World) -> None:
    client = browser(w.keeper)
    page = client.get(NEW, {"thing": w.dressing.name, "what": "amount"})
    assert "carry 6, at least 4, must-have" in text_of(page)
    assert form_with(page, "Lists that change")["criticality"] == ""
    more = fields(w, what="amount", instead="", by_day="", carry="8", never_below="4", anyway="")
    assert post(client, NEW, **more).status_code == 302
    change = ListChange.objects.get()
    assert change.criticality == ""
    assert "at least 4, priority as it is now" in text_of(client.get(f"{ALL}{change.pk}/"))
    line = change.versions.get().version.sections.get(key="main").lines.get(item=w.dressing)
    assert (line.carry, line.criticality) == (8, "must-have")


def test_what_would_change_names_a_must_have_that_is_gone(w: World) -> None:
    post(browser(w.keeper), NEW, **fields(w, what="remove", instead="", by_day=""))
    says = text_of(browser(w.keeper).get(f"/lists/{w.version.packing_list_id}/2/effect/"))
    assert "Must-have until now, no longer on the list: Wound dressing" in says


def test_the_board_asks_on_its_day(w: World) -> None:
    change = made(w)
    page = "/?room=main-store"
    assert "due for review" not in text_of(browser(w.adviser).get(page))
    ListChangeReview.objects.create(change=change, review_on=days(0), reviewed_at=change.made_at)
    for person in (w.adviser, w.instructor):
        says = text_of(browser(person).get(page, follow=True))
        assert "Change to kit lists: due for review" in says, says
