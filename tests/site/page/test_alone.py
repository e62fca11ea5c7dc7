"""Somebody who works alone is shown what one person needs, and everything again with a second."""

import re
from decimal import Decimal

import pypdfium2
import pytest
from django.test import Client

from gearroom.core.models import Membership, Person, Room
from gearroom.core.rules.roles import Role
from gearroom.core.services.accounts import shared_devices
from kits.models import Entry, EntryKind, Holding, Item, Kit, Lot, Place, PlaceKind, Trip
from kits.rules.ledger.facts import Criticality
from kits.services.buying import drafting
from kits.services.custody import use
from kits.services.labelling import labelling
from kits.services.ledger.book import Book, Leg, room_place
from kits.services.restocking import sealing
from kits.services.stock import offers
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of
from tests.site.every_page import NO_PAGES, PAGES

pytestmark = PAGES_ON_SQLITE

HIDDEN = ("Take out", "Pass on", "Shared devices", "Access tokens", "Gear rooms", "PIN", "Deputy")


@pytest.fixture
def room() -> Room:
    return make.room()


@pytest.fixture
def alone(room: Room) -> Person:
    """The only person there is, with every role that they need."""
    me = make.person("Robin", Role.ADMINISTRATOR)
    for role in (Role.ADVISER, Role.KEEPER):
        Membership.objects.create(person=me, role=role.value, room=room)
    return me


@pytest.fixture
def kit(alone: Person, room: Room) -> Kit:
    """Their kit, filled with what goes out of date in 40 days."""
    gauze, shelf = make.item("gauze"), make.shelf(room, "A1")
    lines: make.Lines = {"main": [(gauze, 4, 1, Criticality.MUST_HAVE)]}
    made = make.kit("DAY-01", make.kit_list("Day walk", lines, signed_by=alone), room)
    make.put_in(made, make.some(gauze, shelf, 20, "L1", make.days(40)), shelf, 4)
    return make.fresh(made)


def words_of(client: Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, (path, answer.status_code)
    return text_of(answer)


def test_the_front_page_has_each_kit_one_tap_from_the_four_acts(kit: Kit, alone: Person) -> None:
    page = browser(alone).get("/").content.decode()
    for act in ("used/", "checked/", "sort/"):
        assert page.count(f'href="/kits/DAY-01/{act}"') == 1
    assert f'href="#expiring-{kit.pk}"' in page and f'id="expiring-{kit.pk}"' in page
    assert "Expiring: 1" in page
    words = words_of(browser(alone), "/")
    assert all(act in words for act in ("Used", "Checked", "Restocked", "gauze", "On shelves"))
    assert "Out now" not in words


def test_reasons_are_announced_only_where_a_kit_is_not_ready(kit: Kit, alone: Person) -> None:
    reasons = "The reasons why a kit is not ready are shown with the kit."
    ready = words_of(browser(alone), "/")
    gauze = Item.objects.get(name="gauze")
    use.log_use(make.act(alone), kit, [use.UseLine(gauze, 4)])
    empty = words_of(browser(alone), "/")

    assert reasons not in ready and "All your kits are ready." in ready
    assert reasons in empty and "All your kits are ready." not in empty


@pytest.mark.parametrize(
    "path", ["/", "/kits/DAY-01/", "/kits/DAY-01/keeping/", "/scan/?text=DAY-01", "/settings/",
             "/signed-in/"]
)  # fmt: skip
def test_pages_leave_out_what_takes_several(path: str, kit: Kit, alone: Person) -> None:
    words = words_of(browser(alone), path).replace("PINs, deputies, access tokens, taking out", "")
    assert not [each for each in HIDDEN if each in words]


@pytest.fixture
def stocked(kit: Kit, room: Room) -> Kit:
    """Their room has a name that no page needs to say."""
    Room.objects.filter(pk=room.pk).update(name="Umber barn")
    make.trip("Hill day", room, 3, 3)
    gauze = Item.objects.get(name="gauze")
    use.log_use(make.act(), kit, [use.UseLine(gauze, 1)])
    for kind in (PlaceKind.QUARANTINE, PlaceKind.TRAINING, PlaceKind.TRANSIT):
        other = make.some(gauze, make.shelf(room, f"for {kind}"), 2, f"L-{kind}", make.days(400))
        with Book(make.act()) as book:
            shelf = other.holdings.get().place
            book.post(EntryKind.MOVE, [Leg(other, shelf, room_place(room, kind), 2)])
    return kit


NAMES_THE_ROOM = ("labels-pdf", "lid-card", "order-sheet", "sign-out-sheet", "wall-calendar")
"""Papers that say whose they are where there are several rooms or people, by their address."""


@pytest.fixture
def papers(stocked: Kit, alone: Person, room: Room) -> list[tuple[str, str, dict[str, str]]]:
    """Every PDF: its address by name and path, and what a form sends there."""
    act, shelf, lot = make.act(alone), Place.objects.get(name="A1"), Lot.objects.earliest("pk")
    labels = labelling.labels_for(act, [stocked, make.section(stocked), shelf, lot, alone], room)
    codes = ".".join(label.code for label in labels)
    sealing.reseal(make.act(alone), make.fresh(stocked), "0417", anyway=True)
    offer = offers.offer_of_supplier(
        make.act(alone), "North Medical", item=lot.item, units=16,
        prices=[offers.PackPrice(1, Decimal(4))], currency="GBP",
    )  # fmt: skip
    (of,) = drafting.draft(
        make.act(alone), room, packs={offer.pk: 2}, through=make.days(180), currency="GBP"
    )
    sheet = f"/stock/order/{of.order.pk}/order.pdf"
    read = {
        "kit-tag": ["/kits/DAY-01/tag/?preview=1"],
        "lid-card": [f"/kits/DAY-01/card/?preview=1&size={size}" for size in ("a5", "a4-folded")],
        "sign-out-sheet": ["/rooms/main-store/sign-out-sheet/?preview=1"],
        "patient-note": ["/patient-note/"],
        "test-page": ["/labels/printer/test-page/"],
        "order-sheet": [sheet, f"{sheet}?why=1"],
        "season": ["/season/?print=1"],
        "wall-calendar": [
            f"/rooms/main-store/wall-calendar/?paper={paper}" for paper in ("a3", "a4", "letter")
        ],
    }
    sent = [
        ("labels-pdf", "/labels/print/pdf/", {"codes": codes, "sheet": key, "preview": "1"})
        for key in ("letter-2x5", "roll-62x29")
    ]
    return [(name, path, {}) for name, paths in read.items() for path in paths] + sent


def words_on(client: Client, path: str, sent: dict[str, str]) -> str:
    """The words of a PDF, with those of its title."""
    answer = post(client, path, **sent) if sent else client.get(path)
    assert answer["Content-Type"] == "application/pdf", (path, answer.content[:300])
    file = pypdfium2.PdfDocument(answer.content)
    pages = [page.get_textpage().get_text_range() for page in file]
    return " ".join([*pages, *file.get_metadata_dict().values()])


def test_no_paper_names_the_only_room(
    papers: list[tuple[str, str, dict[str, str]]], alone: Person
) -> None:
    all_pdfs = {name for name, what in NO_PAGES.items() if what == "a PDF"}
    assert all_pdfs <= {name for name, _path, _sent in papers}
    client = browser(alone)
    named = {path for _name, path, sent in papers if "Umber barn" in words_on(client, path, sent)}
    assert not named


def test_with_a_second_person_papers_name_the_room(
    papers: list[tuple[str, str, dict[str, str]]], alone: Person
) -> None:
    make.person("Sam")
    client = browser(alone)
    for name, path, sent in papers:
        assert ("Umber barn" in words_on(client, path, sent)) is (name in NAMES_THE_ROOM), path


OF_ROOMS = ("/devices/", "/rooms/", "/rooms/main-store/")
"""Pages of what takes several, which nothing of theirs leads to."""

BOTH_WAYS = (
    "/",
    "/kits/",
    "/kits/DAY-01/",
    "/kits/DAY-01/as-of/",
    "/people/",
    "/people/{person}/",
    "/stock/",
    "/stock/{item}/",
    "/stock/order/",
    "/stock/receive/",
    "/strip/",
    "/trips/{trip}/",
)


def test_no_page_names_the_only_room(stocked: Kit, alone: Person) -> None:
    client = browser(alone)
    gauze, trip = Item.objects.get(name="gauze"), Trip.objects.get()
    more = [f"/stock/{gauze.pk}/", f"/trips/{trip.pk}/", f"/people/{alone.pk}/"]
    more += [f"/stock/at/{held.place_id}/{held.lot_id}/" for held in Holding.objects.on_hand()]
    walked = 0
    for page in {*(re.sub(r"DAY-0\d", "DAY-01", page) for page in PAGES), *more} - {*OF_ROOMS}:
        answer = client.get(page)  # what is not there, or has a brace, says so
        if answer.status_code == 200 and "text/html" in answer["Content-Type"]:
            walked += 1
            words = text_of(answer)
            assert "Umber barn" not in words and "in your gear rooms" not in words, page
    assert walked > 70


@pytest.mark.parametrize("path", BOTH_WAYS)
def test_with_a_second_person_the_room_is_named_again(
    path: str, stocked: Kit, alone: Person
) -> None:
    make.person("Sam")
    of = {"item": Item.objects.get(name="gauze").pk, "trip": Trip.objects.get().pk}
    assert "Umber barn" in words_of(browser(alone), path.format(**of, person=alone.pk))


@pytest.mark.parametrize("path", ["/kits/DAY-02/", "/first-day/kits/DAY-02/"])
def test_a_list_that_is_not_decided_is_for_them_to_decide(
    path: str, undecided: Kit, alone: Person
) -> None:
    decide = "You have not decided on the kit list yet: compare it with your sources, then sign it."
    assert decide in words_of(browser(alone), path)
    assert (
        "medical adviser" not in words_of(browser(alone), path).partition("What a kit contains")[0]
    )


def test_an_administrator_alone_can_take_on_signing_until_others_come(
    undecided: Kit, alone: Person
) -> None:
    Membership.objects.filter(person=alone, role=Role.ADVISER.value).delete()
    client, at = browser(alone), f"/people/{alone.pk}/"
    for path in (
        "/first-day/kits/DAY-02/",
        f"/lists/{undecided.list_version.packing_list_id}/1/",
    ):
        page = client.get(path)
        assert "Carry only what you are trained to use." in text_of(page)
        assert f'href="{at}#roles"' in page.content.decode()

    assert post(client, f"{at}role/", role="adviser", room="").status_code == 302

    assert Membership.objects.filter(person=alone, role=Role.ADVISER.value).exists()
    assert "compare it with a protocol, a course or an adviser" in words_of(
        client, "/first-day/kits/DAY-02/"
    )
    Membership.objects.filter(person=alone, role=Role.ADVISER.value).delete()
    gone = make.person("Sam")
    Person.objects.filter(pk=gone.pk).update(left_on=make.days(-1))
    post(client, f"{at}role/", role="adviser", room="")
    assert not Membership.objects.filter(person=alone, role=Role.ADVISER.value).exists()


def test_addresses_that_are_left_out_still_answer(kit: Kit, alone: Person) -> None:
    client = browser(alone)
    for path in ("/devices/", "/tokens/", "/rooms/", "/people/", "/settings/advice/"):
        assert client.get(path).status_code == 200
    post(client, "/scan/", intent="check-out", text="DAY-01", holder=str(alone.pk))
    assert Entry.objects.filter(kind=EntryKind.CHECK_OUT).exists()
    assert "/kits/DAY-01/hand-back/" in client.get("/").content.decode()


def test_a_second_person_shows_everything_again_and_it_is_said_once(
    kit: Kit, alone: Person
) -> None:
    client = browser(alone)
    words_of(client, "/")
    make.person("Sam")
    said = words_of(client, "/kits/DAY-01/")
    assert "no longer the only person" in said and "Take out" in said
    assert "no longer the only person" not in words_of(client, "/")
    assert "Off, because there are other people here" in words_of(client, "/settings/")


@pytest.fixture
def undecided(kit: Kit, room: Room) -> Kit:
    """A second kit, whose list nobody has signed."""
    tape, shelf = make.item("tape"), make.shelf(room, "A2")
    lines: make.Lines = {"main": [(tape, 1, 0, Criticality.ROUTINE)]}
    made = make.kit("DAY-02", make.kit_list("Tape", lines), room)
    make.put_in(made, make.some(tape, shelf, 2, "T1", make.days(400)), shelf, 1)
    return make.fresh(made)


def test_that_nothing_is_wrong_is_said(kit: Kit, alone: Person) -> None:
    page = words_of(browser(alone), "/")
    assert "All your kits are ready." in page and "The reasons why a kit is not ready" not in page


def test_that_something_is_wrong_is_said_with_the_kit(undecided: Kit, alone: Person) -> None:
    page = words_of(browser(alone), "/")
    assert "The reasons why a kit is not ready" in page and "All your kits are ready." not in page


def test_a_kit_whose_list_is_not_decided_leads_to_the_list(undecided: Kit, alone: Person) -> None:
    version = undecided.list_version
    path = f"/lists/{version.packing_list_id}/{version.number}/"
    page = browser(alone).get("/kits/DAY-02/").content.decode()
    assert "View the kit list" in page and page.count(f'href="{path}"') > 1


def test_help_opens_with_what_they_do_most(kit: Kit, alone: Person) -> None:
    Membership.objects.filter(person=alone, role=Role.KEEPER.value).delete()
    assert "Help For keepers" in words_of(browser(alone), "/help/")
    make.person("Sam")
    assert "Help For administrators" in words_of(browser(alone), "/help/")
    sage = make.person("Sage", Role.ADVISER, kit.home_room)
    assert "Help For medical advisers" in words_of(browser(sage), "/help/")


def test_a_second_room_shows_everything_again(kit: Kit, alone: Person) -> None:
    client = browser(alone)
    words_of(client, "/")
    make.room("Cave hut")
    assert "no longer the only person here with one gear room" in words_of(client, "/")
    assert "several gear rooms" in words_of(client, "/settings/")


def test_whoever_left_and_a_shared_device_are_no_company(
    kit: Kit, alone: Person, room: Room
) -> None:
    gone = make.person("Sam")
    Person.objects.filter(pk=gone.pk).update(left_on=make.days(-1))
    shared_devices.add(make.act(alone), room, "Hatch")
    assert "Restocked" in words_of(browser(alone), "/")


def test_a_shared_device_is_never_alone(kit: Kit, alone: Person, room: Room) -> None:
    device = shared_devices.add(make.act(alone), room, "Hatch")
    assert "Restocked" not in words_of(browser(device.user.person), "/")


def test_they_may_see_everything_and_change_their_mind(kit: Kit, alone: Person) -> None:
    client = browser(alone)
    key = form_with(client.get("/settings/"), "Show everything")["key"]
    for _press in range(2):
        post(client, "/settings/alone/", key=key, shows_all="1")
        assert "Take out" in words_of(client, "/kits/DAY-01/")
    post(client, "/settings/alone/", shows_all="")
    assert "Take out" not in words_of(client, "/kits/DAY-01/")


def test_a_list_reads_as_decided_by_them(kit: Kit, alone: Person) -> None:
    version = kit.list_version
    path = f"/lists/{version.packing_list_id}/{version.number}/"
    assert "without naming a source" in words_of(browser(alone), path)
    until = make.days(300).isoformat()
    post(browser(alone), f"{path}sign/", until=until, note="Course of May 2026")
    words = words_of(browser(alone), path)
    assert "Decided by me on" in words and "based on these sources: Course of May 2026" in words
    make.person("Sam")
    assert "by Robin on" in words_of(browser(alone), path)
