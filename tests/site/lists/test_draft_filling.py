"""A draft's table is filled from elsewhere: another list, a spreadsheet, what is not carried, and
what will do instead."""

from kits.models import ItemNeed, Need, NotCarried, PackingListVersion, Substitute
from kits.rules.ledger.facts import Criticality
from kits.services.lists import drafts
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of
from tests.site.lists.draft_forms import at, form_of, lines_of, rows_of, send

pytestmark = PAGES_ON_SQLITE


def test_lines_are_copied_from_another_list_with_what_it_leaves_out(
    world: make.World, draft: PackingListVersion
) -> None:
    sections = {
        "main": [
            (world.gauge, 1, 1, Criticality.IMPORTANT),
            (world.shears, 4, 2, Criticality.ROUTINE),
        ],
        "lid": [(world.tablets, 3, 0, Criticality.ROUTINE)],
    }
    other = make.kit_list("Hut", sections)
    client = browser(world.instructor)
    fields = form_of(client.get(at(draft)))

    page = send(client, draft, fields, do="copy", **{"from": str(other.pk)})
    send(client, draft, form_of(page))

    assert lines_of(draft)[1:] == [("Shears", 1, 1), ("Plasters", 1, 0), ("Pressure gauge", 1, 1)]
    assert lines_of(draft, "lid") == [("Pain tablets", 3, 0)]


def test_one_section_alone_is_copied(world: make.World, draft: PackingListVersion) -> None:
    other = make.kit_list("Hut", {"main": [(world.gauge, 1, 1, Criticality.ROUTINE)],
        "lid": [(world.tablets, 3, 0, Criticality.ROUTINE)]})  # fmt: skip
    client = browser(world.instructor)
    lid = other.sections.get(key="lid")

    page = send(
        client, draft, form_of(client.get(at(draft))), do="copy", **{"from": f"{other.pk}.{lid}"}
    )

    assert "name-+1" in form_of(page)
    assert "Pressure gauge" not in [v for values in form_of(page).values() for v in values]


def test_a_list_that_nobody_chose_is_not_copied(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)

    answer = send(client, draft, form_of(client.get(at(draft))), do="copy")

    assert answer.status_code == 400
    assert form_of(answer)["item-main." + str(world.shears.pk)] == ["Shears"]


PASTED = """Item\tCarry\tMinimum\tPriority\tReason
Lid
shears\t2\t1\tmust-have\tClothes come off.
Pressure gauges\t1\t\t\t
Sam splint\t1\t1\timportant\t
not carried
Pain tablets\t\t\t\tNobody is trained.
"""


def test_rows_of_a_spreadsheet_go_into_the_table(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    fields = form_of(client.get(at(draft)))
    page = send(client, draft, fields, do=f"remove pouch.{world.tablets.pk}")

    page = send(client, draft, form_of(page), do="paste", pasted=PASTED)

    assert "Check the item and the number. You pasted: Pressure gauges 1" in text_of(page)
    splint = rows_of(page, "Sam splint")
    send(client, draft, form_of(page), **{f"make-{splint}": "tool"})
    assert lines_of(draft, "lid") == [
        ("Shears", 2, 1),
        ("Pressure gauge", 1, 0),
        ("Sam splint", 1, 1),
    ]
    left_out = NotCarried.objects.get(version=draft)
    assert (left_out.item, left_out.words) == (world.tablets, "Nobody is trained.")


def test_nothing_pasted_is_said_and_the_table_stays(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)

    answer = send(client, draft, form_of(client.get(at(draft))), do="paste")

    assert "Paste at least one line." in text_of(answer)
    assert f"item-main.{world.shears.pk}" in form_of(answer)


def test_what_is_not_carried_is_on_the_same_page(
    world: make.World, draft: PackingListVersion
) -> None:
    client = browser(world.instructor)
    page = send(client, draft, form_of(client.get(at(draft))), do="out")
    fields = form_of(page) | {
        "thing-+1": ["Pressure gauge"],
        "why-+1": ["other"],
        "instead-+1": ["Look at the dial."],
        "hazard-+1": ["cave", "winter"],
        "hours-+1": ["2"],
    }

    refused = send(client, draft, fields)
    assert "Enter why Pressure gauge is not carried." in text_of(refused)
    send(client, draft, form_of(refused), **{"words-+1": "Too heavy."})

    row = NotCarried.objects.get(version=draft)
    assert (row.item, row.words, row.hazards) == (world.gauge, "Too heavy.", ["cave", "winter"])
    before = drafts.draft_of(draft)
    send(client, draft, form_of(client.get(at(draft))))
    assert drafts.draft_of(draft) == before


def test_an_item_is_not_carried_and_left_out(world: make.World, draft: PackingListVersion) -> None:
    client = browser(world.instructor)
    page = send(client, draft, form_of(client.get(at(draft))), do="out")

    answer = send(client, draft, form_of(page), **{"thing-+1": "Shears", "why-+1": "never-used"})

    assert (
        "Shears is both on this list and among what the list leaves out. Remove one of the two."
        in text_of(answer)
    )


def test_a_need_that_the_list_carries_the_best_for_is_not_left_out(
    world: make.World, draft: PackingListVersion
) -> None:
    ItemNeed.objects.create(item=world.dressing, need=Need.objects.get(key="severe-bleeding"))
    client = browser(world.instructor)
    page = send(client, draft, form_of(client.get(at(draft))), do="out")
    fields = form_of(page) | {"need-+1": ["severe-bleeding"], "why-+1": ["never-used"]}

    answer = send(client, draft, fields)
    assert "This list leaves out a need that" in text_of(answer)
    ItemNeed.objects.filter(item=world.dressing).update(best=False)

    assert send(client, draft, form_of(answer)).status_code == 302


def test_what_will_do_instead_is_said_and_taken_back(
    world: make.World, draft: PackingListVersion
) -> None:
    other = make.item("Pressure dressing")
    client, path = browser(world.instructor), at(draft, "instead/")

    assert send(client, draft, form_of(client.get(at(draft))), do="instead")["Location"] == path
    post(client, path, of=world.dressing.pk, other="pressure dressing", note="bulkier")

    row = Substitute.objects.get(item=world.dressing)
    assert (row.instead, row.note) == (other, "bulkier")
    assert "Pressure dressing instead of Wound dressing 10 × 12" in text_of(client.get(path))
    assert "or Pressure dressing" in text_of(client.get(at(draft)))
    post(client, path, **{"of": world.dressing.pk, "other": other.pk, "no-more": "1"})
    assert not Substitute.objects.exists()
