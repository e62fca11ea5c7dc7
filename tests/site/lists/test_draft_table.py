"""A draft of a kit list as a table: edited whole, saved at once, and nothing typed is lost."""

from dataclasses import replace

import pytest
from pytest_django import DjangoAssertNumQueries

from kits.models import Item, PackingListVersion
from kits.rules.ledger.facts import Criticality
from kits.services.lists import draft_table, drafts
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, text_of
from tests.site.lists.draft_forms import at, form_of, lines_of, send

pytestmark = PAGES_ON_SQLITE


def test_a_draft_sent_back_as_it_was_shown_stays_as_it_is(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    before = drafts.draft_of(draft)

    answer = send(client, draft, form_of(client.get(at(draft))))

    assert answer["Location"] == at(draft)
    assert drafts.draft_of(draft) == before


def test_all_lines_are_edited_at_once(world: make.World, draft: PackingListVersion) -> None:
    client = browser(world.instructor)
    fields = form_of(client.get(at(draft)))

    send(
        client,
        draft,
        fields,
        **{
            f"carry-main.{world.dressing.pk}": "8",
            f"never-main.{world.dressing.pk}": "5",
            f"reason-main.{world.dressing.pk}": "Two bleeds in a season.",
            f"matters-main.{world.shears.pk}": "must-have",
            f"item-main.{world.plasters.pk}": "pressure GAUGE",
            f"carry-pouch.{world.tablets.pk}": "6",
            "people": "14",
            "hazard": ["winter"],
        },
    )

    assert lines_of(draft) == [
        ("Wound dressing 10 × 12", 8, 5),
        ("Shears", 1, 1),
        ("Pressure gauge", 1, 0),
    ]
    assert lines_of(draft, "pouch") == [("Pain tablets", 6, 4)]
    main = draft.sections.get(key="main")
    assert main.lines.get(item=world.dressing).reason == "Two bleeds in a season."
    assert main.lines.get(item=world.shears).criticality == "must-have"
    draft.refresh_from_db()
    assert (draft.people, draft.hazards) == (14, ["winter"])


def test_a_row_and_a_section_are_added_without_saving_what_was_typed(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    fields = form_of(client.get(at(draft)))
    fields[f"carry-main.{world.shears.pk}"] = ["3"]

    fields = form_of(send(client, draft, fields, do="row main"))
    assert fields[f"carry-main.{world.shears.pk}"] == ["3"]
    assert lines_of(draft)[1] == ("Shears", 1, 1)
    fields["item-+1"] = ["Pressure gauge"]
    fields = form_of(send(client, draft, fields, do="section"))
    fields |= {"name-+2": ["Lid"], "item-+3": ["Shears"], "carry-+3": ["2"]}
    send(client, draft, fields)

    assert lines_of(draft)[1:] == [("Shears", 3, 1), ("Plasters", 1, 0), ("Pressure gauge", 1, 0)]
    assert lines_of(draft, "lid") == [("Shears", 2, 0)]


def test_a_row_that_nobody_filled_in_is_left_alone_and_a_number_without_an_item_is_not(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    fields = form_of(send(client, draft, form_of(client.get(at(draft))), do="row main"))

    assert send(client, draft, fields).status_code == 302
    answer = send(client, draft, form_of(client.get(at(draft))), do="row main")
    answer = send(client, draft, form_of(answer), **{"carry-+1": "5"})

    assert "Choose an item, or remove the row." in text_of(answer)


def test_rows_move_across_sections_by_buttons_and_by_choosing(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    fields = form_of(client.get(at(draft)))

    fields = form_of(send(client, draft, fields, do=f"down main.{world.plasters.pk}"))
    fields[f"to-main.{world.shears.pk}"] = ["pouch"]
    fields = form_of(send(client, draft, fields, do="up pouch"))
    send(client, draft, fields)

    assert [section.key for section in draft.sections.all()] == ["pouch", "main"]
    assert [name for name, *_ in lines_of(draft, "pouch")] == ["Plasters", "Pain tablets", "Shears"]
    assert [name for name, *_ in lines_of(draft)] == ["Wound dressing 10 × 12"]


def test_what_is_removed_can_be_put_back_until_it_is_saved(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    row = f"main.{world.shears.pk}"
    page = send(client, draft, form_of(client.get(at(draft))), do=f"remove {row}")
    assert "Put back Shears" in text_of(page)
    page = send(client, draft, form_of(page), do="remove pouch")
    page = send(client, draft, form_of(page), do=f"back {row}")

    send(client, draft, form_of(page))

    assert ("Shears", 1, 1) in lines_of(draft)
    assert [section.key for section in draft.sections.all()] == ["main"]


def test_everything_wrong_stands_beside_its_row_and_what_was_typed_stays(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    fields = form_of(client.get(at(draft)))
    fields = form_of(send(client, draft, fields, do="row pouch"))
    fields |= {
        f"carry-main.{world.dressing.pk}": ["six"],
        f"never-main.{world.shears.pk}": ["7"],
        "item-+1": ["Splint"],
        "carry-+1": ["2"],
        "name-pouch": [""],
        "people": ["nobody"],
    }

    answer = send(client, draft, fields)

    assert answer.status_code == 400
    page = text_of(answer)
    for says in (
        "Nothing has been saved yet: 5 rows need attention.",
        "Wound dressing 10 × 12, number to carry: “six” is not valid.",
        "the minimum (7) is higher than the number to carry (1)",
        "There is no item Splint. Choose one from the list, or create it.",
        "Enter a name for every section.",
        "“nobody” is not valid",
    ):
        assert says in page, says
    again = form_of(answer)
    assert {name: again[name] for name in fields if name in again} == fields
    assert lines_of(draft)[0] == ("Wound dressing 10 × 12", 6, 4)


def test_an_item_is_made_on_the_spot(world: make.World, draft: PackingListVersion) -> None:
    client = browser(world.instructor)
    page = send(client, draft, form_of(client.get(at(draft))), do="row main")
    page = send(client, draft, form_of(page) | {"item-+1": ["Sam splint"]})
    assert "A new item? Create it under" in text_of(page)
    fields = form_of(page) | {"make-+1": ["tool"], "unit-+1": ["splint"]}
    del fields["dated-+1"]

    send(client, draft, fields)

    made = Item.objects.get(name="Sam splint")
    assert (made.kind, made.base_unit, made.needs_date) == ("tool", "splint", False)
    assert ("Sam splint", 1, 0) in lines_of(draft)


def test_no_item_is_made_where_another_row_is_wrong(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    page = send(client, draft, form_of(client.get(at(draft))), do="row main")
    fields = form_of(page) | {"item-+1": ["Splint"], "make-+1": ["tool"]}

    answer = send(client, draft, fields, **{f"carry-main.{world.shears.pk}": "0"})

    assert answer.status_code == 400
    assert not Item.objects.filter(name="Splint").exists()
    assert form_of(answer)["make-+1"] == ["tool"]


def test_of_two_people_the_second_is_told_and_sees_what_both_did(
    world: make.World, draft: PackingListVersion
) -> None:
    client, other = browser(world.instructor), browser(world.adviser)
    mine = form_of(client.get(at(draft)))
    theirs = form_of(send(other, draft, form_of(other.get(at(draft))), do="row main"))
    shears, dressing = f"main.{world.shears.pk}", f"main.{world.dressing.pk}"
    send(
        other, draft, theirs,
        **{"item-+1": "Pressure gauge", f"carry-{shears}": "3", f"carry-{dressing}": "9"},
    )  # fmt: skip

    late = send(
        client, draft, mine,
        **{f"carry-{shears}": "2", f"carry-pouch.{world.tablets.pk}": "10"},
    )  # fmt: skip

    assert late.status_code == 412
    page = text_of(late)
    assert "Somebody else has saved this list since you opened it. Nothing is lost" in page
    assert "Somebody else has changed this too. Saved now: Shears, carry 3" in page
    assert "Before: Wound dressing 10 × 12, carry 6" in page
    assert "Somebody else has added this" in page
    assert lines_of(draft)[1] == ("Shears", 3, 1)
    send(client, draft, form_of(late))
    assert lines_of(draft) == [
        ("Wound dressing 10 × 12", 9, 4),
        ("Shears", 2, 1),
        ("Plasters", 1, 0),
        ("Pressure gauge", 1, 0),
    ]
    assert lines_of(draft, "pouch") == [("Pain tablets", 10, 4)]


def test_pressed_twice_it_is_saved_once(world: make.World, draft: PackingListVersion) -> None:
    client = browser(world.instructor)
    fields = form_of(client.get(at(draft))) | {f"carry-main.{world.shears.pk}": ["2"]}

    answers = [
        client.post(at(draft), {"key": "0b1f6a3e-32a5-4cf9-9f50-3fd0a31e2d10", **fields})
        for _ in range(2)
    ]

    assert [answer.status_code for answer in answers] == [302, 302]


def test_a_published_version_is_not_edited(world: make.World) -> None:
    client = browser(world.instructor)
    table = draft_table.table_of(drafts.draft_of(world.version))

    page = text_of(client.get(at(world.version)))
    answer = send(client, world.version, {"people": ["3"], "days": ["1"], "read": ["[{},[],[]]"]})

    assert "This version is published and cannot be changed." in page
    assert answer.status_code == 409
    assert draft_table.table_of(drafts.draft_of(world.version)) == table


@pytest.mark.parametrize("read", ["", "[]", "[1,2,3]", '[{},[["a"]],[]]', "{" * 9])
def test_a_form_that_is_not_ours_is_refused(
    world: make.World, draft: PackingListVersion, read: str
) -> None:
    client = browser(world.instructor)

    answer = send(client, draft, form_of(client.get(at(draft))) | {"read": [read]})

    assert answer.status_code == 400
    assert "This form was not sent from this page." in text_of(answer)


def test_the_page_asks_as_much_for_many_lines_as_for_few(
    world: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    many = [(make.item(f"Thing {n}"), 2, 1, Criticality.ROUTINE) for n in range(40)]
    version = make.kit_list("Long", {"one": many[:20], "two": many[20:]})
    made = drafts.new_draft(make.act(world.instructor), version.packing_list)
    client = browser(world.instructor)

    with django_assert_max_num_queries(45):
        page = client.get(at(made))
    fields = form_of(page)
    with django_assert_max_num_queries(60):
        assert send(client, made, fields).status_code == 302


def test_a_guide_edits_no_list(world: make.World, draft: PackingListVersion) -> None:
    client = browser(world.guide)

    assert client.get(at(draft)).status_code == 403
    assert send(client, draft, {}).status_code == 403


def test_somebody_elses_item_is_no_reason_to_lose_the_order(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    mine = form_of(client.get(at(draft)))
    said = drafts.draft_of(draft)
    drafts.edit_draft(make.act(world.adviser), draft, replace(said, note="Snow"))

    late = send(client, draft, mine, **{f"carry-main.{world.shears.pk}": "2"})

    assert late.status_code == 412
    assert form_of(late)["note"] == ["Snow"]
    send(client, draft, form_of(late))
    draft.refresh_from_db()
    assert (draft.note, lines_of(draft)[1]) == ("Snow", ("Shears", 2, 1))
