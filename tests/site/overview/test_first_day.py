"""The first day: its steps, the start workbook, the first kit."""

import io
import re
import zipfile
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from openpyxl import load_workbook

from gearroom.core.models import Person, Room
from gearroom.core.rules.roles import Role
from gearroom.core.services.installation import installation
from gearroom.site.web.overview import start_workbook
from kits.models import Entry, Holding, Item, Kit, PackCode, PackingListVersion, Place
from kits.rules.ledger.facts import Criticality
from kits.services.custody import custody
from kits.services.labelling import labelling
from kits.services.ledger.audit import findings
from kits.services.overview import onboarding
from kits.services.stock import counting
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE

ROWS: dict[str, list[Any]] = {
    "Shelves": [["A1"]],
    "Items": [
        ["gauze swab", "consumable", "swab", "yes", "yes", "no", None, None, "4006381333931", 5],
        ["pressure gauge", "instrument", "piece", None, None, None, 180, "In the green?"],
    ],
    "Kit lists": [["Day kit", 10, 1, "Main", "gauze swab", 10, 5, "must-have", "used most"]],
    "Kits": [["DAY-01", "Day kit"]],
    "Contents": [
        ["DAY-01", "Main", "gauze swab", 7, "L1", "05/2031"],
        ["A1", None, "gauze swab", 20, "L2", "2031-06"],
        ["A1", None, "pressure gauge", 1, "G-1"],
    ],
}


@pytest.fixture
def room() -> Room:
    return make.room()


@pytest.fixture
def keeper(room: Room) -> Person:
    return make.person("Kim", Role.KEEPER, room)


def filled_in(rows: dict[str, list[Any]] | None = None) -> SimpleUploadedFile:
    """The empty workbook that the page gives, with rows in it."""
    book = load_workbook(io.BytesIO(start_workbook.blank()))
    for name, lines in (rows or ROWS).items():
        for line in lines:
            book[name].append(line)
    out = io.BytesIO()
    book.save(out)
    return SimpleUploadedFile("start.xlsx", out.getvalue())


def send(client: Client, file: io.BytesIO | SimpleUploadedFile) -> Any:
    return client.post("/first-day/workbook/", {"workbook": file})


def sure_of(page: Any) -> Any:
    html = page.content.decode()
    return html.split('name="sure" value="')[1].split('"')[0]


def test_the_steps_say_what_is_done_and_what_comes_next(room: Room, keeper: Person) -> None:
    client = browser(keeper)
    alone = text_of(client.get("/first-day/"))
    assert "Next: Shelves." in alone and "Add people" in alone
    assert "Take out the first kit" not in alone

    elsewhere = make.person("Gil")
    assert "Next: People." in text_of(client.get("/first-day/"))
    Person.objects.filter(pk=elsewhere.pk).update(home_room=room)
    both = text_of(client.get("/first-day/"))
    assert "Next: Shelves." in both and "Take out the first kit" in both
    assert "First day" not in text_of(browser(make.person("Gus", Role.GUIDE, room)).get("/"))


def test_one_main_button_leads_to_the_first_kit_and_then_to_the_next_step(
    room: Room, keeper: Person
) -> None:
    client = browser(keeper)

    def main_buttons() -> list[str]:
        page = client.get("/first-day/").content.decode()
        return re.findall(r'class="button go"\s+href="([^"]*)', page)

    assert main_buttons() == ["/first-day/kit/"]
    make.kit("DAY-01", make.kit_list("Day kit", {}), room)
    assert main_buttons() == [f"/rooms/{room.slug}/"]


def test_the_web_address_can_wait_once_it_is_entered(room: Room) -> None:
    administrator = make.person("Ada", Role.ADMINISTRATOR)
    client = browser(administrator)
    installation.change(make.act(administrator), organisation="Umberfell", public_url="")
    page = text_of(client.get("/first-day/"))
    assert "Next: The web address." in page and "Change the name" in page
    assert "Enter the name" not in page
    installation.change(make.act(administrator), public_url="https://gear.example.org")
    page = text_of(client.get("/first-day/"))
    assert "The web address Can wait" in page
    assert "Next: Shelves." in page


@pytest.mark.parametrize("path", ["installation", "address", "mail"])
def test_a_settings_page_has_one_main_button_on_the_first_day(room: Room, path: str) -> None:
    administrator = make.person("Ada", Role.ADMINISTRATOR)
    installation.change(make.act(administrator), public_url="")
    html = browser(administrator).get(f"/settings/{path}/").content.decode()
    main = html.split("<main")[1].split("</main>")[0]
    assert len(re.findall(r'class="(?:button )?go"', main)) == 1


def test_whoever_has_no_room_yet_begins_with_one() -> None:
    administrator = make.person("Ada", Role.ADMINISTRATOR)

    page = browser(administrator).get("/first-day/")

    assert "Add the first one" in text_of(page)
    assert 'href="/rooms/"' in page.content.decode()


def test_the_empty_workbook_opens_with_its_sheets_in_order(keeper: Person) -> None:
    answer = browser(keeper).get("/first-day/workbook/empty/")

    book = load_workbook(io.BytesIO(answer.content))
    assert book.sheetnames[0] == "Read this first"
    assert book.sheetnames[1:] == list(ROWS)
    assert book["Kits"]["A1"].value == "Name"


def test_a_workbook_is_shown_first_and_then_taken_in_whole(room: Room, keeper: Person) -> None:
    client = browser(keeper)

    page = send(client, filled_in())
    assert "No mistakes found" in text_of(page)
    assert "DAY-01: 7 × gauze swab, good until 31 May 2031" in text_of(page)
    assert not Item.objects.exists()
    answer = post(client, "/first-day/workbook/", sure=sure_of(page))

    assert answer["Location"] == "/first-day/"
    assert "1 kits, 3 batches" in text_of(client.get("/first-day/"))
    assert PackCode.objects.get().units_per_pack == 5
    assert PackingListVersion.objects.get().published_at
    kit = Kit.objects.get()
    assert (kit.name, kit.home_room, kit.looked_inside_by) == ("DAY-01", room, keeper)
    held = {(h.place.name, h.lot.number or h.lot.serial): h.units for h in Holding.objects.all()}
    assert held == {("Main", "L1"): 7, ("A1", "L2"): 20, ("A1", "G-1"): 1}
    assert list(findings()) == []


def test_sent_again_it_adds_nothing_twice(room: Room, keeper: Person) -> None:
    client = browser(keeper)
    for _ in range(2):
        post(client, "/first-day/workbook/", sure=sure_of(send(client, filled_in())))

    assert (Place.objects.filter(room=room, name="A1").count(), Kit.objects.count()) == (1, 1)
    assert sorted(Holding.objects.values_list("units", flat=True)) == [1, 7, 20]


def test_mistakes_are_named_and_nothing_is_added(keeper: Person) -> None:
    rows = {**ROWS, "Kits": [["DAY-01", "Week kit"]], "Items": [["gauze swab", "rag", "swab"]]}

    page = send(browser(keeper), filled_in(rows))

    told = text_of(page)
    assert page.status_code == 400
    assert "Items, row 2: Kind: “rag” is not one of the options." in told
    assert "Choices: consumable, medicine" in told
    assert "Kits, row 2: Kit list: “Week kit” is neither" in told
    assert not Entry.objects.exists()


def test_a_mistake_that_only_the_book_knows_takes_all_of_it_back(keeper: Person) -> None:
    rows = {**ROWS, "Contents": [["DAY-01", "Side", "gauze swab", 7]]}
    client = browser(keeper)

    answer = post(client, "/first-day/workbook/", sure=sure_of(send(client, filled_in(rows))))

    assert answer.status_code == 400
    assert "DAY-01 has no pouch “Side”" in text_of(answer)
    assert not Item.objects.exists()


def bomb() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b" " * (61 * 1024 * 1024))
    return out.getvalue()


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"Shelves;A1", "spreadsheet cannot be read"),
        (b"PK\x03\x04 torn", "spreadsheet cannot be read"),
        (bomb(), "far too large to load"),
        (b"x" * (2 * 1024 * 1024 + 1), "too large"),
    ],
    ids=["text", "torn", "bomb", "large"],
)
def test_what_is_no_workbook_is_refused_with_what_to_do(
    keeper: Person, content: bytes, told: str
) -> None:
    answer = send(browser(keeper), SimpleUploadedFile("start.xlsx", content))

    assert answer.status_code in (400, 413)
    assert told in text_of(answer)


def test_what_was_not_read_here_is_not_taken_in(keeper: Person) -> None:
    answer = post(browser(keeper), "/first-day/workbook/", sure="made-up")

    assert answer.status_code == 400
    assert "Choose it again" in text_of(answer)


def test_a_kit_is_added_by_hand_and_counted_next() -> None:
    world = make.world()
    client = browser(world.keeper)
    fields = {"name": "DAY-09", "version": world.version.pk, "room": "main-store"}

    answer = post(client, "/add-kit/", **fields, responsible=world.instructor.pk)

    assert answer["Location"] == "/kits/DAY-09/count/"
    assert Kit.objects.get(name="DAY-09").responsible == world.instructor
    again = post(client, "/add-kit/", **fields)
    assert again.status_code == 409
    assert "There is already a kit called DAY-09" in text_of(again)


def test_guides_add_no_kits_and_begin_no_room() -> None:
    guide = browser(make.world().guide)

    for path in ("/add-kit/", "/first-day/workbook/", "/first-day/workbook/empty/"):
        assert guide.get(path).status_code == 403


# -------------------------------------------------------------------------------------------- help
@pytest.mark.parametrize("role", ["guide", "keeper", "instructor", "adviser", "administrator"])
def test_each_role_has_a_page_of_help_with_pictures_that_are_there(role: str) -> None:
    client = browser(make.world().guide)

    page = client.get(f"/help/{role}/")

    assert page.status_code == 200
    for _name, topic, picture in page.context["topics"]:
        assert picture or not topic.pictured, topic.title
    assert "Open the page" in text_of(page)


def test_help_opens_at_the_readers_own_role_and_says_where_there_is_none() -> None:
    world = make.world()

    assert "For guides" in text_of(browser(world.guide).get("/help/")).split("Help by role")[0]
    assert browser(world.adviser).get("/help/").context["chosen"] == "adviser"
    assert browser(world.guide).get("/help/nobody/").status_code == 404


def test_an_empty_board_leads_whoever_may_to_the_first_day(room: Room, keeper: Person) -> None:
    page = browser(keeper).get("/")
    assert "There are no kits here yet" in text_of(page)
    assert 'href="/first-day/"' in page.content.decode().split("There are no kits here yet")[1]

    guide = make.person("Gil", Role.GUIDE, room)
    assert "Start with the first-day steps" not in text_of(browser(guide).get("/"))


def test_whoever_has_no_room_begins_with_one_where_they_may() -> None:
    administrator = browser(make.person("Ada", Role.ADMINISTRATOR))

    assert "Start with the first-day steps" in text_of(administrator.get("/"))


@pytest.mark.parametrize("path", ["/stock/count/", "/stock/receive/", "/stock/out-of-date/"])
def test_pages_of_a_room_lead_to_the_first_day_where_there_is_none(path: str) -> None:
    page = browser(make.person("Ada", Role.ADMINISTRATOR, None)).get(path)

    assert 'href="/first-day/"' in page.content.decode()


def test_a_room_without_shelves_is_led_to_them_before_anything_is_counted(
    room: Room, keeper: Person
) -> None:
    page = browser(keeper).get("/stock/count/").content.decode()

    assert f'href="/rooms/{room.slug}/#shelves"' in page


def test_no_step_is_done_by_a_kit_without_label_or_contents_that_never_went(
    room: Room, keeper: Person
) -> None:
    lines = {"main": [(make.item("Shears"), 1, 1, Criticality.ROUTINE)]}
    kit = make.kit("DAY-01", make.kit_list("Day walk", lines), room, entered=False)
    so_far = onboarding.steps(room)
    assert (so_far.kits, so_far.filled, so_far.labelled, so_far.went) == (1, 0, 0, 0)

    label = labelling.label_for(make.act(), kit)
    custody.check_out(make.act(), kit, person=keeper)
    counting.count(make.act(), [make.section(kit)], [], complete=True)
    so_far = onboarding.steps(room)
    assert (so_far.filled, so_far.labelled, so_far.went) == (1, 1, 1)

    labelling.cancel(make.act(), label.code, "torn")
    assert onboarding.steps(room).labelled == 0
