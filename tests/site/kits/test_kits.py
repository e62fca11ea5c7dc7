"""A kit's pages for whoever answers for it: record as of a day, what happened, counting."""

import re
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from kits.models import Entry, EntryKind, Holding, Kit
from kits.rules.ledger.facts import Criticality
from kits.services.custody import custody
from kits.services.custody.use import UseLine
from kits.services.recalls import recalls
from kits.services.restocking import sorting
from kits.services.stock import instruments, receiving
from kits.services.text import wording
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world() -> make.World:
    return make.world()


def test_the_kit_says_who_looked_when_to_look_again_and_who_signed(world: make.World) -> None:
    page = text_of(browser(world.instructor).get("/kits/DAY-01/"))

    assert "Next check by" in page
    assert "Signed by Ada on" in page
    assert "History" in page
    assert "6 × Wound dressing" in page.split("History")[1]


@pytest.mark.parametrize("path", ["count/", "checked/", "history/", "as-of/", "keeping/", "used/"])
def test_the_name_in_a_heading_does_not_break_at_its_hyphen(world: make.World, path: str) -> None:
    page = browser(world.keeper).get(f"/kits/DAY-01/{path}", follow=True).content.decode()
    heading = re.search(r"<h1[^>]*>(.*?)</h1>", page, re.DOTALL)

    assert heading is not None
    assert '<span class="unbroken">DAY-01</span>' in heading[1]


def test_the_instruments_inside_show_their_checks(world: make.World) -> None:
    main = make.section(world.day_01)
    receiving.receive(make.act(), item=world.gauge, shelf=world.shelf, units=1, serial="G-7")
    lot = world.gauge.lots.get(serial="G-7")
    instruments.check(make.act(world.keeper), lot, passed=True, answer="well in the green")
    sorting.restock(
        make.act(), world.day_01, extra=[sorting.PutIn(lot, world.shelf, main, 1)],
        as_listed=False, levels=(),
    )  # fmt: skip

    page = text_of(browser(world.guide).get("/kits/DAY-01/"))

    assert "Pressure gauge G-7 Checked" in page
    assert "well in the green" in page
    assert "Next check by" in page


def test_the_page_for_an_inspector_says_what_the_list_asked_and_what_was_good(
    world: make.World,
) -> None:
    page = text_of(browser(world.guide).get("/kits/DAY-01/as-of/"))

    assert "Wound dressing 10 × 12 6 4 6" in page
    assert "D1" in page
    assert "Signed by Ada" in page
    assert "medical adviser" in page


def test_what_its_maker_recalled_was_not_good_that_day(world: make.World) -> None:
    recalls.start(make.act(world.keeper), item=world.dressing, scope="number", number="D1")

    page = text_of(browser(world.guide).get("/kits/DAY-01/as-of/"))

    assert re.search(r"Wound dressing 10 × 12 too few 6 4 0 of 6 6 × D1, .{0,40}recalled", page)


def test_it_tells_what_was_known_that_evening_apart_from_what_is_known_now(
    world: make.World,
) -> None:
    yesterday = make.days(-1)
    client = browser(world.guide)

    then = text_of(client.get(f"/kits/DAY-01/as-of/?on={yesterday}&known=then"))
    now = text_of(client.get(f"/kits/DAY-01/as-of/?on={yesterday}"))

    assert "What was known on the evening of" in then
    assert "What was known by" in now
    assert "too few" in now  # it was filled only today


def test_a_day_to_come_is_refused_with_what_to_do(world: make.World) -> None:
    answer = browser(world.guide).get(f"/kits/DAY-01/as-of/?on={make.days(2)}")

    assert answer.status_code == 400
    assert "is in the future" in text_of(answer)


def test_the_history_goes_back_a_page_at_a_time_with_as_many_queries(
    world: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for _ in range(45):
        sorting.look_inside(make.act(world.keeper), world.day_01)
    client = browser(world.guide)

    with django_assert_max_num_queries(16):
        page = client.get("/kits/DAY-01/history/")
    assert text_of(page).count("contents checked") == 40
    older = page.content.decode().split('href="?before=')[1].split('"')[0]
    earlier = text_of(client.get(f"/kits/DAY-01/history/?before={older}"))
    assert "restocked" in earlier
    assert "Newest" in earlier


def test_what_was_put_right_is_marked_and_stays(world: make.World) -> None:
    custody.check_in(make.act(world.guide), world.day_01, used=[UseLine(world.dressing, 1)])
    entry = Entry.objects.filter(kind="use").latest("id")
    post(browser(world.keeper), f"/undo/{entry.pk}/", sure="1")

    assert "Corrected later" in text_of(browser(world.guide).get("/kits/DAY-01/history/"))


# ---------------------------------------------------------------------------------------- counting
def fields_of_dressing(
    world: make.World, units: str, number: str = "", expiry: str = ""
) -> dict[Any, Any]:
    row = f"{make.section(world.day_02).pk}-{world.dressing.pk}-0"
    return {f"units-{row}": units, f"number-{row}": number, f"expiry-{row}": expiry}


def test_a_kit_that_was_filled_before_is_counted_into_the_book(world: make.World) -> None:
    client = browser(world.keeper)
    ends = make.days(300)
    fields = {
        **fields_of_dressing(world, "5", "K77", ends.isoformat()),
        f"level-{make.section(world.day_02).pk}-{world.plasters.pk}": "full",
        "rest": "none",
    }

    looked = text_of(post(client, "/kits/DAY-02/count/", **fields))
    assert f"K77, good until {wording.day(ends)} – 5 found, 0 on record" in looked
    assert not Holding.objects.filter(lot__number="K77").exists()
    assert not world.dressing.lots.filter(number="K77").exists()
    answer = post(client, "/kits/DAY-02/count/", sure=1, **fields)

    assert answer["Location"] == "/kits/DAY-02/"
    held = Holding.objects.get(lot__number="K77")
    assert (held.units, held.lot.expiry) == (5, ends)
    kit = Kit.objects.get(name="DAY-02")
    assert kit.looked_inside_by == world.keeper
    assert "1 batch differed" in text_of(client.get("/kits/DAY-02/"))


def test_the_same_batch_in_two_rows_is_the_sum_of_both(world: make.World) -> None:
    section, row = make.section(world.day_02).pk, world.dressing.pk
    fields = {
        f"units-{section}-{row}-0": "2",
        f"number-{section}-{row}-0": "k77",
        f"units-{section}-{row}-1": "3",
        f"number-{section}-{row}-1": "K77",
    }
    post(browser(world.keeper), "/kits/DAY-02/count/", sure=1, **fields)

    assert Holding.objects.get(lot__number="K77").units == 5


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"units": "many"}, "“many” is not valid"),
        ({"units": "", "number": "K77"}, "enter how many of batch “K77” there are"),
        ({"units": "2", "expiry": "soon"}, "soon"),
        ({"units": "2", "expiry": "31/02/27"}, "“31/02/27” cannot be read as a date"),
    ],
)
def test_what_cannot_be_read_is_said_and_what_was_typed_is_still_there(
    world: make.World, said: dict[str, str], told: str
) -> None:
    answer = post(browser(world.keeper), "/kits/DAY-02/count/", **fields_of_dressing(world, **said))

    assert answer.status_code == 400
    assert told in text_of(answer)
    for typed in filter(None, said.values()):
        assert f'value="{typed}"' in answer.content.decode()
    assert not Holding.objects.filter(place__kit=world.day_02).exists()


def test_each_label_that_is_scanned_counts_one_more_of_its_batch(world: make.World) -> None:
    client, path = browser(world.keeper), "/kits/DAY-01/count/"
    known = f"have-{world.dressings.pk}-{make.section(world.day_01).pk}"
    label = scanned.shown(scanned.label(world.dressings, world))
    other = make.some(world.dressing, world.shelf, 1, "D9", make.days(200))
    strange = scanned.shown(scanned.label(other, world))
    new = f"{make.section(world.day_01).pk}-{world.dressing.pk}-0"

    fields = {known: "2"}
    for text in (label, label, strange, strange):
        answer = post(client, path, read=1, **fields | {"batch": text})
        fields = {key: value for key, value in form_with(answer, known).items() if key != "key"}

    assert "One more: Wound dressing 10 × 12, batch D9." in text_of(answer)
    assert (fields[known], fields[f"units-{new}"]) == ("4", "2")
    assert (fields[f"number-{new}"], fields[f"expiry-{new}"]) == (
        "D9",
        present(other.expiry).isoformat(),
    )
    gauze = make.item("Triangular bandage")
    unlisted = make.some(gauze, world.shelf, 1, "B1", make.days(100))
    label = scanned.shown(scanned.label(unlisted, world))
    for _twice in range(2):
        answer = post(client, path, read=1, **fields | {"batch": label})
        fields = {key: value for key, value in form_with(answer, known).items() if key != "key"}
    main = make.section(world.day_01).pk
    assert (fields[f"else-{main}"], fields[f"units-{main}-else"]) == (str(gauze.pk), "2")
    refused = post(client, path, read=1, **fields | {"batch": "DAY-01"})
    assert "not a batch label" in text_of(refused)
    assert form_with(refused, known)[known] == "4"


def test_what_is_left_empty_is_not_counted_and_none_is_said(world: make.World) -> None:
    client = browser(world.guide)
    lot, main = world.dressings, make.section(world.day_01)
    shears, path = world.lots["shears"], "/kits/DAY-01/count/"
    have = {name: f"have-{each.pk}-{main.pk}" for name, each in (("d1", lot), ("shears", shears))}
    page = client.get(path).content.decode()
    assert f'name="{have["d1"]}"' in page
    assert 'value="6"' not in page  # the count is blind

    compared = text_of(post(client, path, **{have["d1"]: "4"}))
    assert "2 batches were not counted: Wound dressing" not in compared
    assert "2 batches were not counted: Shears" in compared
    post(client, path, sure=1, **{have["d1"]: "4"})
    assert make.units(lot, main) == 4
    assert make.units(shears, main) == 1
    entry = Entry.objects.latest("id")
    assert entry.kind == EntryKind.COUNT  # and no look: nobody has seen all that is in it
    assert entry.detail["complete"] is False

    post(client, path, sure=1, **{have["shears"]: "0"})
    assert make.units(shears, main) == 0
    assert make.units(lot, main) == 4
    answer = post(client, path, sure=1, **{have["d1"]: "4", "rest": "none"})
    assert answer.status_code == 302
    assert make.units(world.lots["tablets"], make.section(world.day_01, "pouch")) == 0
    counted = Entry.objects.filter(kind=EntryKind.COUNT).latest("id")
    assert counted.detail["complete"] is True
    assert Entry.objects.latest("id").kind == EntryKind.LOOK_INSIDE


def test_a_count_of_nothing_is_no_count(world: make.World) -> None:
    before = Entry.objects.count()
    answer = post(browser(world.guide), "/kits/DAY-01/count/", sure=1)

    assert answer.status_code == 400
    assert "Nothing has been counted yet" in text_of(answer)
    assert Entry.objects.count() == before


def test_none_of_a_thing_that_the_book_does_not_have_there_is_a_count_of_it(
    world: make.World,
) -> None:
    client, path = browser(world.guide), "/kits/DAY-02/count/"
    before = Entry.objects.filter(kit=world.day_02).count()
    answer = post(client, path, sure=1, **fields_of_dressing(world, "0"))

    assert answer.status_code == 302
    assert Entry.objects.filter(kit=world.day_02).count() == before + 1


# ------------------------------------------------------------------------ what is there, and a menu
def test_what_is_below_its_target_stands_first_beside_what_should_be(world: make.World) -> None:
    custody.check_in(make.act(world.guide), world.day_01, used=[UseLine(world.shears, 1)])

    page = text_of(browser(world.guide).get("/kits/DAY-01/"))

    table = page.split("Should be Inside")[1]
    _, below, main = re.split("Fewer than the list asks for| Main (?!Below)", table, maxsplit=2)
    assert "Shears Main Below the minimum 1 minimum 1 0" in below
    assert re.search(r"Wound dressing 10 × 12 batch D1, [\w ]+ 6 minimum 4 6", main)
    assert "Shears" not in main.split("History")[0]


def test_how_full_each_section_is_stands_beside_its_bar(world: make.World) -> None:
    page = browser(world.guide).get("/kits/DAY-01/")

    assert re.search(r"Filled Items complete Main 7 of 7 units 3 of 3", text_of(page))
    assert page.content.decode().count('class="cell"') == 4


def test_an_empty_kit_shows_all_that_it_should_have(world: make.World) -> None:
    page = text_of(browser(world.guide).get("/kits/DAY-02/"))

    assert "0 of 7 units" in page
    assert "All its items are short: see above." in page


def test_what_the_list_does_not_ask_for_is_shown_as_such(world: make.World) -> None:
    sorting.restock(
        make.act(), world.day_01, as_listed=False, levels=(),
        extra=[sorting.PutIn(world.lots["gauge"], world.shelf, make.section(world.day_01), 1)],
    )  # fmt: skip

    page = text_of(browser(world.guide).get("/kits/DAY-01/"))

    assert re.search(r"Pressure gauge not on the list – 1", page)


def test_a_kits_page_asks_the_database_as_much_for_many_lines_as_for_few(
    world: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    lines = [(make.item(f"Thing {n}"), 2, 1, Criticality.ROUTINE) for n in range(30)]
    version = make.kit_list("Long", {"one": lines[:15], "two": lines[15:]})
    make.kit("LONG-01", version, world.store, responsible=world.instructor)
    client = browser(world.instructor)

    with django_assert_max_num_queries(80):
        page = client.get("/kits/LONG-01/")

    assert "Thing 29" in text_of(page)


def test_print_count_and_settings_are_one_menu(world: make.World) -> None:
    page = browser(world.keeper).get("/kits/DAY-01/").content.decode()

    menu = page.split('<details class="menu noprint">')[1].split("</details>")[0]
    for path in ("count/", "plan/", "as-of/", "card/", "keeping/"):
        assert f'href="/kits/DAY-01/{path}"' in menu
