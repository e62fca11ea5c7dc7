"""Somebody alone with a box of stock in a van and a cupboard of it at home: no page of what they do
there speaks of rooms."""

import re

import pytest
from django.test import Client

from gearroom.core.models import Membership, Person, Room
from gearroom.core.rules.roles import Role
from kits.models import Item, Kit, Location, Lot, Place
from kits.rules.ledger.facts import Criticality
from kits.services.labelling import labelling
from kits.services.ledger import audit
from tests.kits import factories as make
from tests.kits.weather.cold import month
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE
ROOM = "/rooms/main-store/"
EXPLAINED = "/settings/"
"""Says what working alone leaves out, gear rooms among it."""


@pytest.fixture
def client() -> Client:
    """They added the shelves and locations on the pages that lead there."""
    room = make.room()
    me = make.person("Robin", Role.ADMINISTRATOR)
    for role in (Role.ADVISER, Role.KEEPER):
        Membership.objects.create(person=me, role=role.value, room=room)
    there = browser(me)
    for name in ("Van box", "Cupboard"):
        post(there, f"{ROOM}shelves/", name=name)
    for name in ("Van", "Home"):
        post(there, f"{ROOM}locations/", name=name, frost_months=[month()])
    for shelf, at in (("Van box", "Van"), ("Cupboard", "Home")):
        location = Location.objects.get(name=at).pk
        post(there, f"/shelves/{on(shelf).pk}/", do="place", location=location)
    return there


@pytest.fixture
def kit(client: Client) -> Kit:
    """Their kit, which wants two splints; splints lie in both places."""
    splint = make.item("splint", needs_date=False)
    lines: make.Lines = {"main": [(splint, 2, 1, Criticality.MUST_HAVE)]}
    version = make.kit_list("Day walk", lines, signed_by=Person.objects.get(name="Robin"))
    made = make.kit("DAY-01", version, Room.objects.get())
    for name, number in (("Van box", "L1"), ("Cupboard", "L2")):
        make.some(splint, on(name), 5, number)
    return made


def on(shelf: str) -> Place:
    return Place.objects.get(name=shelf)


def test_no_page_of_what_they_do_there_speaks_of_rooms(client: Client, kit: Kit) -> None:
    Item.objects.update(min_temp_c=5)
    van, lot, item = on("Van box"), Lot.objects.get(number="L1"), Item.objects.get()
    label = labelling.label_for(make.act(), van)
    at = f"/stock/at/{van.pk}/{lot.pk}/"
    pages = (
        "/", ROOM, f"{ROOM}locations/", f"{ROOM}weather/", f"{ROOM}wall-calendar/", "/stock/",
        "/stock/batches/", f"/stock/{item.pk}/", at, f"{at}leave/", "/stock/count/",
        f"/stock/count/{van.pk}/", f"/stock/count/{van.pk}/paper/", "/stock/receive/",
        f"/stock/receive/?item={item.pk}", "/stock/rotation/", "/stock/expiry/",
        "/stock/out-of-date/", "/stock/order/", "/kits/",
        "/stock/spare-kits/", "/kits/DAY-01/", "/kits/DAY-01/sort/", "/kits/DAY-01/swap/",
        "/kits/DAY-01/keeping/", "/kits/DAY-01/leave/", "/kits/DAY-01/papers/",
        "/search/?q=splint", "/search/?q=nothing", f"/scan/?text={label.code}", "/notices/weekly/",
    )  # fmt: skip
    for page in pages:
        answer = client.get(page, follow=True)
        text = text_of(answer)
        assert answer.status_code == 200, page
        assert not re.findall(r".{30}\b[Rr]ooms?\b.{30}", text), page


def test_each_page_that_asks_for_a_shelf_says_where_it_is(client: Client, kit: Kit) -> None:
    item = Item.objects.get()
    for page in (
        f"/stock/{item.pk}/",
        f"/stock/receive/?item={item.pk}",
        "/stock/count/",
        f"/stock/count/{on('Cupboard').pk}/",
        f"/stock/at/{on('Van box').pk}/{Lot.objects.get(number='L1').pk}/",
    ):
        assert "Cupboard (Home)" in text_of(client.get(page)), page


def test_stock_is_moved_and_put_into_the_kit_from_where_it_is_now(client: Client, kit: Kit) -> None:
    van, cupboard = on("Van box"), on("Cupboard")
    lot = Lot.objects.get(number="L1")
    moved = post(client, f"/stock/at/{van.pk}/{lot.pk}/", move=cupboard.pk, units="5")
    assert moved.status_code == 302
    assert (make.units(lot, van), make.units(lot, cupboard)) == (0, 5)
    again = post(client, f"/stock/at/{van.pk}/{lot.pk}/", move=cupboard.pk, units="5")
    assert again.status_code in (404, 409)
    sort = client.get("/kits/DAY-01/sort/")
    assert "Cupboard (Home)" in text_of(sort)
    assert "Van box" not in text_of(sort)
    post(client, "/kits/DAY-01/sort/", **form_with(sort, "All put in as listed"))
    assert make.units(lot, make.section(kit)) == 2
    assert list(audit.findings()) == []


def test_a_location_with_a_shelf_stays_and_says_what_is_there(client: Client) -> None:
    van = Location.objects.get(name="Van")
    refused = post(client, f"/locations/{van.pk}/", do="close")
    assert refused.status_code == 409
    assert "still at Van. Choose another location" in text_of(refused)
    post(client, f"/shelves/{on('Van box').pk}/", do="place", location="")
    assert post(client, f"/locations/{van.pk}/", do="close").status_code == 302
    late = post(client, f"/shelves/{on('Van box').pk}/", do="place", location=van.pk)
    assert late.status_code == 404
    assert on("Van box").location is None
    assert Room.objects.count() == 1
