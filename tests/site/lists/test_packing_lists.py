"""Kit lists on the pages: drafted by section, compared, published, signed, followed."""

import re
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from gearroom.site.web.page import words
from kits.models import Disposal, PackingList, PackingListVersion, Substitute
from kits.rules.ledger.facts import Criticality
from kits.rules.text.hazards import HAZARDS
from kits.services.lists import drafts
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_of, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world() -> make.World:
    return make.world()


@pytest.fixture
def draft(world: make.World) -> PackingListVersion:
    """Version 2 of the small school's list, a copy of version 1."""
    return drafts.new_draft(make.act(world.instructor), world.version.packing_list)


def at(version: PackingListVersion, rest: str = "") -> str:
    return f"/lists/{version.packing_list_id}/{version.number}/{rest}"


def lines_of(version: PackingListVersion, key: str = "main") -> list[Any]:
    section = version.sections.get(key=key)
    return [(line.item.name, line.carry, line.never_below) for line in section.lines.all()]


# ------------------------------------------------------------------------------------- every list
def test_it_shows_each_list_with_its_signature_and_how_many_kits_follow_it(
    world: make.World, draft: PackingListVersion
) -> None:
    page = text_of(browser(world.guide).get("/lists/"))

    assert "Day walk Signed" in page
    assert "signed by Ada, valid until" in page
    assert "2 kits in your gear rooms use it" in page
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
    post(client, at(made, "edit/"), section="Main pouch")
    assert "Main pouch" in text_of(client.get(at(made, "edit/")))


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


# ---------------------------------------------------------------------------------------- a section
def test_a_section_sent_back_as_it_was_shown_stays_as_it_is(
    world: make.World, draft: PackingListVersion
) -> None:
    client, path = browser(world.instructor), at(draft, "sections/main/")
    before = lines_of(draft)

    post(client, path, **form_of(client.get(path), path))

    assert lines_of(draft) == before


def test_a_section_is_edited_line_by_line(world: make.World, draft: PackingListVersion) -> None:
    client, path = browser(world.instructor), at(draft, "sections/main/")
    said = form_of(client.get(path), path)
    said |= {
        f"carry-{world.dressing.pk}": "8",
        f"never-{world.dressing.pk}": "5",
        f"reason-{world.dressing.pk}": "Two bleeds in a season.",
        f"matters-{world.shears.pk}": "must-have",
        "drop": str(world.plasters.pk),
        "thing-new": "pressure GAUGE",
        "carry-new": "1",
    }

    answer = post(client, path, **said)

    assert answer.status_code == 302
    assert lines_of(draft) == [
        ("Wound dressing 10 × 12", 8, 5),
        ("Shears", 1, 1),
        ("Pressure gauge", 1, 0),
    ]
    section = draft.sections.get(key="main")
    assert section.lines.get(item=world.dressing).reason == "Two bleeds in a season."
    assert section.lines.get(item=world.shears).criticality == "must-have"
    assert lines_of(draft, "pouch") == [("Pain tablets", 8, 4)]


def test_a_line_moves_up_and_what_else_was_typed_is_saved(
    world: make.World, draft: PackingListVersion
) -> None:
    client, path = browser(world.instructor), at(draft, "sections/main/")
    said = form_of(client.get(path), path) | {f"carry-{world.shears.pk}": "2"}

    post(client, path, **{**said, "raise": str(world.shears.pk)})

    assert lines_of(draft)[0] == ("Shears", 2, 1)


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("carry", "six", "Wound dressing 10 × 12, number to carry: “six” is not valid."),
        ("never", "7", "the minimum (7) is higher than the number to carry (6)"),
        ("matters", "very", "choose a priority"),
    ],
)
def test_a_wrong_line_is_named_and_nothing_is_saved(
    world: make.World, draft: PackingListVersion, field: str, typed: str, says: str
) -> None:
    client, path = browser(world.instructor), at(draft, "sections/main/")
    said = form_of(client.get(path), path) | {f"{field}-{world.dressing.pk}": typed}

    answer = post(client, path, **said)

    assert answer.status_code == 400
    assert says in text_of(answer)
    if field == "carry":
        assert 'value="six"' in answer.content.decode()
    assert lines_of(draft)[0] == ("Wound dressing 10 × 12", 6, 4)


def test_a_thing_that_nobody_knows_is_said_and_kept_in_the_form(
    world: make.World, draft: PackingListVersion
) -> None:
    client, path = browser(world.instructor), at(draft, "sections/main/")
    said = form_of(client.get(path), path) | {"thing-new": "Splint", "carry-new": "1"}

    answer = post(client, path, **said)

    assert "There is no item Splint" in text_of(answer)
    assert 'value="Splint"' in answer.content.decode()


def test_of_two_people_at_one_section_the_second_is_told_and_sees_it_as_it_is(
    world: make.World, draft: PackingListVersion
) -> None:
    client, path = browser(world.instructor), at(draft, "sections/main/")
    said = form_of(client.get(path), path)
    post(client, path, **{**said, f"carry-{world.shears.pk}": "3"})

    late = post(browser(world.adviser), path, **{**said, f"carry-{world.shears.pk}": "2"})

    assert late.status_code == 412
    assert "Somebody has changed Main since you opened it" in text_of(late)
    assert ("Shears", 3, 1) in lines_of(draft)
    carry = rf'name="carry-{world.shears.pk}"\s+min="1"\s+max="1000000"\s+inputmode="numeric"'
    assert re.search(rf'{carry}\s+value="3"', late.content.decode())


def test_sections_are_moved_and_removed(world: make.World, draft: PackingListVersion) -> None:
    client, path = browser(world.instructor), at(draft, "edit/")

    post(client, path, **{"raise": "pouch"})
    assert [s.key for s in draft.sections.all()] == ["pouch", "main"]
    post(client, path, drop="main")
    assert [s.key for s in draft.sections.all()] == ["pouch"]
    assert post(client, path, drop="main").status_code == 404


def test_what_the_draft_says_of_itself_is_changed_and_its_lines_stay(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.adviser)

    post(client, at(draft, "edit/"), people="14", days="3", hazard="winter", note="Snow")

    draft.refresh_from_db()
    assert (draft.people, draft.days, draft.hazards, draft.note) == (14, 3, ["winter"], "Snow")
    assert len(lines_of(draft)) == 3


def test_a_published_version_is_not_edited(world: make.World) -> None:
    path = at(world.version, "sections/main/")

    answer = post(browser(world.instructor), path, name="Other")

    assert answer.status_code == 409
    assert "A published version cannot be changed" in text_of(answer)


def test_what_will_do_instead_is_said_and_taken_back(
    world: make.World, draft: PackingListVersion
) -> None:
    other = make.item("Pressure dressing")
    client, path = browser(world.instructor), at(draft, "sections/main/instead/")

    post(client, path, of=world.dressing.pk, other="pressure dressing", note="bulkier")
    row = Substitute.objects.get(item=world.dressing)
    assert (row.instead, row.note) == (other, "bulkier")
    shown = text_of(client.get(at(draft, "sections/main/")))
    assert "Pressure dressing instead of Wound dressing 10 × 12" in shown
    post(client, path, **{"of": world.dressing.pk, "other": other.pk, "no-more": "1"})
    assert not Substitute.objects.exists()


def test_every_value_of_the_rules_has_its_word() -> None:
    assert set(words.HAZARDS) == set(HAZARDS)
    assert set(words.CRITICALITIES) == set(Criticality)
    assert set(words.DISPOSALS) == set(Disposal)
