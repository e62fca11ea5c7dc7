"""A bought kit taken apart on the pages, line by line, until the list asks for nothing more."""

import re
import uuid
from datetime import date
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from pytest_django import Settings

from kits.models import Disposal, Entry, Holding, Item, LevelFact, PackCode, PlaceKind
from kits.services.custody import custody
from kits.services.ledger.book import room_place
from kits.services.stock import catalogue
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of
from tests.site.restocking.stripping import PATH, line

pytestmark = PAGES_ON_SQLITE

GTIN = "09501101530003"


@pytest.fixture
def world() -> make.World:
    return make.world()


@pytest.fixture
def client(world: make.World) -> Client:
    return browser(world.keeper)


def went(item: Item) -> set[Any]:
    """Where the units of a thing that came in it are or went: kinds of place and units."""
    entry = Entry.objects.filter(kind="strip").latest("id")
    return {(leg.to_place.kind, leg.units) for leg in entry.movements.filter(lot__item=item)}


def proposed(page: Any) -> Any:
    """The place that the page would tap itself."""
    return present(
        re.search(r'name="goes"\s+value="([^"]+)"\s+class="press"', page.content.decode())
    )[1]


# ------------------------------------------------------------------------- which kit it becomes
def test_it_starts_with_the_kit_that_the_bought_one_becomes(
    world: make.World, client: Client
) -> None:
    page = client.get("/strip/")

    assert f'href="{PATH}"' in page.content.decode()
    assert browser(world.guide).get("/strip/").status_code == 403
    assert browser(world.guide).get(PATH).status_code == 403
    assert "DAY-02" not in text_of(browser(world.stranger).get("/strip/"))


def test_a_new_kit_may_be_added_for_it(world: make.World, client: Client) -> None:
    there = present(re.search(r'href="(/add-kit/[^"]*)"', client.get("/strip/").content.decode()))[
        1
    ]
    then = present(re.search('name="then" value="([^"]*)"', client.get(there).content.decode()))[1]

    said = {"name": "DAY-09", "version": world.version.pk, "room": world.store.slug}
    answer = post(client, "/add-kit/", then=then, **said)

    assert answer["Location"] == "/kits/DAY-09/strip/"
    assert "DAY-09" in text_of(client.get(answer["Location"]))


# ------------------------------------------------------------------------------------ scan or name
def test_a_thing_is_found_by_its_name_in_any_case(world: make.World, client: Client) -> None:
    page = client.get(PATH, {"text": "wound DRESSING 10 × 12"})

    assert f'name="item" value="{world.dressing.pk}"' in page.content.decode()
    assert proposed(page) == "keep:main"


def test_a_part_of_a_name_offers_the_things_that_have_it(world: make.World, client: Client) -> None:
    page = client.get(PATH, {"text": "sh"})

    assert "Which one?" in text_of(page)
    assert f'name="item" value="{world.shears.pk}"' in page.content.decode()
    assert "Shears" in text_of(client.get(PATH, {"item": world.shears.pk}))


def test_a_makers_code_brings_batch_date_and_units(world: make.World, client: Client) -> None:
    catalogue.put_pack_code(make.act(), world.dressing, gtin=GTIN, units_per_pack=5)
    ends = date(make.today().year + 2, 5, 31)

    page = client.get(PATH, {"text": f"(01){GTIN}(17){ends:%y%m%d}(10)LOT7"}).content.decode()

    for field, value in (("number", "LOT7"), ("expiry", ends.isoformat()), ("units", "5")):
        assert re.search(rf'name="{field}"[^>]*\svalue="{value}"', page), field


def test_what_is_out_of_date_is_proposed_for_training_unless_it_is_sharp(
    world: make.World, client: Client
) -> None:
    catalogue.put_pack_code(make.act(), world.dressing, gtin=GTIN)
    ended = date(make.today().year - 1, 1, 31)

    page = client.get(PATH, {"text": f"(01){GTIN}(17){ended:%y%m%d}(10)OLD"})

    assert proposed(page) == "training"
    Item.objects.filter(pk=world.dressing.pk).update(disposal=Disposal.SHARPS)
    page = client.get(PATH, {"text": f"(01){GTIN}(17){ended:%y%m%d}(10)OLD"})
    assert proposed(page) == "dispose:sharps"


def test_what_the_list_does_not_want_is_proposed_for_a_shelf(
    world: make.World, client: Client
) -> None:
    other = make.item("Foil blanket", needs_date=False)

    page = client.get(PATH, {"item": other.pk})

    assert proposed(page) == f"shelf:{world.shelf.pk}"


def test_what_is_good_goes_where_the_thing_lies_already(world: make.World, client: Client) -> None:
    blanket = make.item("Foil blanket", needs_date=False)
    make.some(blanket, world.upper, 2)

    assert proposed(client.get(PATH, {"item": blanket.pk})) == f"shelf:{world.upper.pk}"


def test_what_will_do_instead_of_a_wanted_thing_is_proposed_to_stay(
    world: make.World, client: Client
) -> None:
    other = make.item("Pressure dressing")
    catalogue.put_substitute(make.act(), world.tablets, other)

    assert proposed(client.get(PATH, {"item": other.pk})) == "keep:pouch"


def test_enter_in_a_field_writes_nothing_and_asks_where_it_goes(
    world: make.World, client: Client
) -> None:
    page = client.get(PATH, {"item": world.dressing.pk}).content.decode()
    form = page.split('name="item"')[1]
    first = present(re.search(r'<button[^>]* name="goes" value="([^"]*)"', form))[1]

    answer = line(client, world.dressing, first, 4)

    assert first == ""
    assert "Tap where the item goes." in text_of(answer)
    assert not Entry.objects.filter(kind="strip").exists()


def test_a_batchs_own_label_brings_the_batch(world: make.World, client: Client) -> None:
    label = scanned.label(world.dressings, world)

    page = client.get(PATH, {"text": scanned.shown(label)}).content.decode()

    assert re.search('name="number"[^>]* value="D1"', page)


def test_a_photo_of_a_label_is_read(world: make.World, client: Client, settings: Settings) -> None:
    settings.PUBLIC_URL = scanned.ADDRESS
    label = scanned.label(world.dressings, world)
    picture = SimpleUploadedFile("label.png", scanned.png_of(label))

    page = post(client, PATH, image=picture).content.decode()

    assert re.search('name="number"[^>]* value="D1"', page)


@pytest.mark.parametrize("text", ["helicopter", f"(01){GTIN}"])
def test_what_nobody_knows_may_be_entered_as_a_new_thing(
    world: make.World, client: Client, text: str
) -> None:
    page = client.get(PATH, {"text": text})

    assert "Add a new item" in text_of(page) or "New here" in text_of(page)
    said = {"name": "Foil blanket", "base_unit": "blanket", "kind": "consumable"}
    if text.startswith("("):
        said |= {"gtin": GTIN, "holds": "2", "text": text}
    answer = post(client, f"{PATH}new/", **said)

    made = Item.objects.get(name="Foil blanket")
    assert (made.base_unit, made.needs_date) == ("blanket", False)
    text_after = client.get(answer["Location"]).content.decode()
    assert f'name="item" value="{made.pk}"' in text_after
    if text.startswith("("):
        assert PackCode.objects.get(gtin=GTIN).units_per_pack == 2


def test_a_new_thing_without_a_kind_is_asked_for_it(world: make.World, client: Client) -> None:
    answer = post(client, f"{PATH}new/", name="Foil blanket", base_unit="blanket")

    assert answer.status_code == 400
    assert "Choose the kind of item" in text_of(answer)
    assert 'value="Foil blanket"' in answer.content.decode()


def test_nothing_to_read_says_what_to_do(world: make.World, client: Client) -> None:
    answer = post(client, PATH)

    assert answer.status_code == 400
    assert "Scan the item’s code or type its name" in text_of(answer)


# ---------------------------------------------------------------------------------- where it goes
def test_each_thing_goes_where_it_was_tapped_and_says_why(
    world: make.World, client: Client
) -> None:
    line(client, world.dressing, "keep:main", 4)
    assert went(world.dressing) == {(PlaceKind.SECTION, 4)}
    line(client, world.dressing, f"shelf:{world.upper.pk}", 2, reason="more than we carry")
    assert went(world.dressing) == {(PlaceKind.SHELF, 2)}
    line(client, world.tablets, "dispose:pharmacy", 16, reason="not on our list")
    assert went(world.tablets) == {(PlaceKind.PHARMACY, 16)}
    line(client, world.shears, "training", number="")
    assert went(world.shears) == {(PlaceKind.TRAINING, 1)}

    page = text_of(client.get(PATH))
    assert re.search(r"2 × Wound dressing 10 × 12 batch B1 shelf C3 – more than we carry", page)
    assert "disposed of: pharmacy – not on our list" in page
    assert "stays in the kit: Main" in page
    assert "for training" in page
    box = room_place(world.store, PlaceKind.TRAINING)
    assert Holding.objects.get(place=box).units == 1


def test_what_is_judged_by_eye_stays_by_a_tap(world: make.World, client: Client) -> None:
    page = client.get(PATH, {"item": world.plasters.pk}).content.decode()
    assert 'value="level:main:full"' in page
    assert "level:pouch" not in page

    assert proposed(client.get(PATH, {"item": world.plasters.pk})) == "level:main:full"

    line(client, world.plasters, "level:main:full", units="")

    fact = LevelFact.objects.latest("id")
    assert (fact.item, fact.section, fact.level) == (
        world.plasters,
        make.section(world.day_02),
        "full",
    )
    assert "stays in the kit: Main, full" in text_of(client.get(PATH))


@pytest.mark.parametrize(
    ("more", "status", "says"),
    [
        ({"units": "some"}, 400, "How many: “some” is not valid"),
        ({"goes": "elsewhere"}, 400, "Tap where the item goes"),
        ({"goes": "dispose:river"}, 400, "Tap how to dispose of"),
        ({"goes": "keep:lid"}, 400, "DAY-02 has no section “lid”"),
        ({"goes": "shelf:0"}, 404, "There is no shelf 0"),
        ({"goes": "level:main:full"}, 400, "Tap “full” or “low”"),
        ({"expiry": "05/06/2027"}, 400, "05/06/2027"),
        ({"expiry": ""}, 409, "has no expiry date on record"),
        ({"expiry": "01/2024"}, 409, "went out of date"),
        ({"whole_price": "cheap", "currency": "GBP"}, 400, "“cheap” is not a price"),
        ({"whole_price": "40"}, 400, "its currency (three letters"),
    ],
)
def test_what_cannot_be_is_said_and_what_was_typed_is_kept(
    world: make.World, client: Client, more: dict[str, str], status: int, says: str
) -> None:
    typed: dict[str, Any] = {name: value for name, value in more.items() if name != "goes"}

    answer = line(client, world.dressing, more.get("goes", "keep:main"), **{"units": 3} | typed)

    assert answer.status_code == status
    assert says in text_of(answer)
    page = answer.content.decode()
    assert re.search('name="number"[^>]* value="B1"', page)
    for name, value in typed.items():
        assert f'value="{value}"' in page, name
    assert not Entry.objects.filter(kind="strip").exists()


def test_a_sharp_thing_is_offered_no_bin(world: make.World, client: Client) -> None:
    needle = make.item("Needle", needs_date=False, disposal="sharps")

    assert "dispose:bin" not in client.get(PATH, {"item": needle.pk}).content.decode()
    answer = line(client, needle, "dispose:bin")
    assert answer.status_code == 409
    assert "“bin” is not the right way" in text_of(answer)


def test_a_kit_that_is_out_is_handed_back_first(world: make.World, client: Client) -> None:
    custody.check_out(
        make.act(world.keeper),
        world.day_02,
        person=world.guide,
        emergency=True,
    )

    assert "Gil has this kit: hand it back first." in text_of(client.get(PATH))
    assert line(client, world.dressing, "keep:main").status_code == 409


def test_the_same_tap_sent_twice_is_one_line(world: make.World, client: Client) -> None:
    key = uuid.uuid4()

    for _ in range(2):
        line(client, world.dressing, "keep:main", 4, key=key)

    assert Entry.objects.filter(kind="strip").count() == 1


def test_a_slip_is_undone_alone(world: make.World, client: Client) -> None:
    line(client, world.dressing, "keep:main", 4)
    line(client, world.shears, "training", number="")
    entry = Entry.objects.filter(kind="strip").latest("id")

    post(client, f"/undo/{entry.pk}/", to=PATH)

    page = text_of(client.get(PATH))
    assert "4 × Wound dressing" in page
    assert "1 × Shears batch" not in page
    assert "for training –" not in page
    assert "Nothing yet" not in page
    assert not Holding.objects.filter(place__kind=PlaceKind.TRAINING, units__gt=0).exists()
