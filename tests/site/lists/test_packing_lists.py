"""Kit lists on the pages: drafted by section, compared, published, signed, followed."""

import re

import pytest
from pytest_django import DjangoAssertNumQueries

from gearroom.site.web.page import words
from kits.models import Disposal, PackingList, PackingListVersion, Substitute
from kits.rules.ledger.facts import Criticality
from kits.rules.text.hazards import HAZARDS
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE


def at(version: PackingListVersion, rest: str = "") -> str:
    return f"/lists/{version.packing_list_id}/{version.number}/{rest}"


# ------------------------------------------------------------------------------------- every list
def test_it_shows_each_list_with_its_signature_and_how_many_kits_follow_it(
    world: make.World, draft: PackingListVersion
) -> None:
    page = text_of(browser(world.guide).get("/lists/"))

    assert "Day walk Signed" in page
    assert "signed by Ada, valid until" in page
    assert "2 of your kits use it" in page
    assert "Draft, version 2" in page
    assert "Create a kit list" not in page


def test_it_asks_the_database_as_much_for_many_lists_as_for_few(
    world: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(6):
        make.kit_list(f"List {number}", {"main": [(world.shears, 1, 1, Criticality.ROUTINE)]})
    client = browser(world.guide)

    with django_assert_max_num_queries(9):
        page = client.get("/lists/")

    assert "List 5" in text_of(page)


def test_a_new_list_starts_as_a_draft_to_put_sections_on(world: make.World) -> None:
    client = browser(world.instructor)

    answer = post(client, "/lists/", name="Hut kit", people="12", days="2", hazard=["cave", "hill"])

    made = PackingListVersion.objects.get(packing_list__name="Hut kit")
    assert answer["Location"] == at(made, "edit/")
    assert (made.people, made.days, made.hazards) == (12, 2, ["hill", "cave"])
    assert "A section is a pouch in the kit." in text_of(client.get(at(made, "edit/")))


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"people": "many"}, "“many” is not valid"),
        ({"days": "0"}, "from 1 to 365"),
        ({"hazard": "dragons"}, "“dragons” is not a known hazard"),
        ({"name": "Day walk"}, "There is already a kit list called Day walk"),
    ],
)
def test_what_cannot_be_is_said_and_what_was_typed_is_kept(
    world: make.World, wrong: dict[str, str], says: str
) -> None:
    said = {"name": "Hut kit", "people": "12", "days": "2", "note": "for winter", **wrong}

    answer = post(browser(world.instructor), "/lists/", **said)

    assert answer.status_code in (400, 409)
    assert says in text_of(answer)
    assert 'value="for winter"' in answer.content.decode()
    assert not PackingList.objects.filter(name="Hut kit").exists()


# --------------------------------------------------------------------------------------- a version
def test_a_version_is_shown_with_reasons_substitutes_and_the_kits_that_follow_it(
    world: make.World,
) -> None:
    other = make.item("Pressure dressing")
    Substitute.objects.create(item=world.dressing, instead=other)
    world.version.sections.get(key="main").lines.filter(item=world.dressing).update(
        reason="A bleed that a plaster does not stop."
    )

    page = text_of(browser(world.guide).get(at(world.version)))

    assert "A bleed that a plaster does not stop." in page
    assert "or Pressure dressing" in page
    assert "must-have" in page
    assert re.search(r"DAY-01 ?, DAY-02", page)
    assert "decided by your medical adviser" in page


def test_a_line_says_what_is_ordered_in_its_place_from_now_on(world: make.World) -> None:
    other = make.item("Pressure dressing")
    client = browser(world.instructor)
    page = at(world.version, "instead/")
    asked = {"of": world.dressing.pk, "other": other.pk}

    post(client, page, **asked, at_next_order="on")

    assert Substitute.objects.get().at_next_order
    for address in (page, at(world.version)):
        assert "ordered instead from now on" in text_of(client.get(address))
    assert "Order both as before" in text_of(client.get(page))

    post(client, page, **asked)

    assert not Substitute.objects.get().at_next_order
    assert "or Pressure dressing" in text_of(client.get(at(world.version)))
    for address in (page, at(world.version)):
        assert "ordered instead from now on" not in text_of(client.get(address))


def test_what_replaces_an_item_is_not_itself_replaced_by_it(world: make.World) -> None:
    other = make.item("Pressure dressing")
    client = browser(world.instructor)
    page = at(world.version, "instead/")
    post(client, page, of=world.dressing.pk, other=other.pk, at_next_order="on")

    refused = post(client, page, of=other.pk, other=world.dressing.pk, at_next_order="on")

    assert refused.status_code == 400
    assert Substitute.objects.filter(at_next_order=True).count() == 1


def test_a_versions_page_asks_as_much_for_many_lines_as_for_few(
    world: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    many = [(make.item(f"Thing {n}"), 2, 1, Criticality.ROUTINE) for n in range(12)]
    version = make.kit_list("Long", {"one": many[:6], "two": many[6:]})
    client = browser(world.instructor)

    with django_assert_max_num_queries(15):
        page = client.get(at(version))

    assert "Thing 11" in text_of(page)


def test_a_list_leads_to_its_newest_published_version(
    world: make.World, draft: PackingListVersion
) -> None:
    answer = browser(world.guide).get(f"/lists/{draft.packing_list_id}/")

    assert answer["Location"] == at(world.version)


def test_every_value_of_the_rules_has_its_word() -> None:
    assert set(words.HAZARDS) == set(HAZARDS)
    assert set(words.CRITICALITIES) == set(Criticality)
    assert set(words.DISPOSALS) == set(Disposal)
