"""Filled kits on the pages: pasted, compared, bought and broken down in one go."""

import re
import uuid
from typing import Any

import pytest
from django.test import Client

from kits.models import Entry, EntryKind, FilledKit, Receipt
from kits.models.details import StripDetail
from kits.rules.buying.bought_kit import Fate
from kits.services.restocking import building
from kits.services.restocking.building import BoughtItem
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, text_of

pytestmark = PAGES_ON_SQLITE

PASTED = "4 x Wound dressing\nTiny tape - 2\n1 x Shears"
KIT = {"name": "Day kit, filled", "price": "12.00", "currency": "gbp", "supplier": "North"}


@pytest.fixture
def world() -> make.World:
    return make.world()


@pytest.fixture
def client(world: make.World) -> Client:
    return browser(world.keeper)


def inputs(page: Any) -> dict[str, str]:
    """What the inputs and selects of a page hold."""
    html = page.content.decode()
    found = {
        name: value
        for tag in re.findall(r"<input[^>]*>", html)
        for name in re.findall(r'name="([a-z_]+-[0-9]+)"', tag)
        for value in [*re.findall(r'value="([^"]*)"', tag), ""][:1]
    }
    for name, body in re.findall(r'<select name="([a-z]+-[0-9]+)">(.*?)</select>', html, re.S):
        chosen = re.findall(r'value="([^"]*)" selected', body) or re.findall(
            r'value="([^"]*)"', body
        )
        found[name] = chosen[0]
    return found


def send(client: Client, path: str, fields: dict[str, str] | None = None) -> Any:
    """Send a form, under a key of its own; the page after it."""
    return client.post(path, {"key": str(uuid.uuid4()), **(fields or {})}, follow=True)


def added(client: Client, **more: str) -> FilledKit:
    """A filled kit, as somebody adds one: paste, look, keep."""
    asked = {**KIT, "text": PASTED, "find": "1"}
    seen = inputs(client.post("/bought-kits/add/", asked))
    send(client, "/bought-kits/add/", {**KIT, "text": PASTED, "keep": "1", **seen, **more})
    return FilledKit.objects.latest("id")


def test_pasting_shows_the_items_and_keeps_nothing(client: Client) -> None:
    page = client.post("/bought-kits/add/", {**KIT, "text": PASTED, "find": "1"})
    seen = inputs(page)
    assert (seen["units-0"], seen["units-1"], seen["item-1"]) == ("4", "2", "out")
    assert "1 line does not match any item on record" in text_of(page)
    assert not FilledKit.objects.exists()


def test_a_makers_code_is_read_with_its_date(world: make.World, client: Client) -> None:
    from kits.services.stock import catalogue

    catalogue.put_pack_code(make.act(), world.dressing, gtin="09501101530003", units_per_pack=6)
    text = "(01)09501101530003(17)350531(10)L7"
    seen = inputs(client.post("/bought-kits/add/", {**KIT, "text": text, "find": "1"}))
    assert (seen["units-0"], seen["item-0"], seen["expiry-0"]) == (
        "6", str(world.dressing.pk), "2035-05-31",
    )  # fmt: skip


def test_what_is_kept_is_compared_with_building_from_parts(client: Client) -> None:
    filled = added(client, **{"expiry-0": "2035-05"})
    assert (str(filled.price), filled.currency) == ("12.00", "GBP")
    text = text_of(client.get("/bought-kits/"))
    assert "7 items: keep 5, extras 0, teaching 0, throw away 2." in text
    assert "2.40 GBP for each item kept" in text
    assert "Build from parts" in text
    for kits in ("0", "61", "many"):
        assert "How many kits" in text_of(client.get(f"/bought-kits/?kits={kits}"))


def test_wrong_lines_are_refused_with_what_to_do_and_everything_stays_typed(
    client: Client,
) -> None:
    seen = inputs(client.post("/bought-kits/add/", {**KIT, "text": PASTED, "find": "1"}))
    for wrong, says in (
        ({"price": "cheap"}, "is not a price"),
        ({"name": " "}, "Enter a name"),
        ({"currency": "pounds"}, "three letters"),
        ({"units-0": "none"}, "Wound dressing, how many"),
        ({"expiry-0": "soon"}, "soon"),
    ):
        sent = {**KIT, "text": PASTED, "keep": "1", **seen, **wrong}
        page = client.post("/bought-kits/add/", sent)
        assert page.status_code == 400, wrong
        assert says in text_of(page)
        assert "Tiny tape - 2" in page.content.decode()
    assert not FilledKit.objects.exists()


def test_a_bought_kit_is_broken_down_in_one_go_with_the_guess_filled_in(
    world: make.World, client: Client
) -> None:
    for _ in range(2):
        thing = BoughtItem(world.shears, 1, Fate.DISPOSE, reason="narrow")
        building.strip(make.act(world.keeper), world.day_01, [thing])
    filled = added(client, **{"expiry-0": "2035-05"})
    assert "DAY-02" in text_of(client.get(f"/bought-kits/{filled.pk}/buy/"))
    path = f"/kits/DAY-02/strip/{filled.pk}/"
    page = client.get(path)
    seen = inputs(page)
    assert seen["goes-0"].startswith("keep:")
    assert seen["goes-1"].startswith("dispose:")
    assert seen["reason-1"] == "too narrow"
    assert "thrown away 2 times before: too narrow" in text_of(page)
    assert "2 × Tiny tape" in text_of(page)
    said = text_of(send(client, path, {**seen, "minutes": "4"}))
    assert "2 lines of Day kit, filled have been recorded." in said
    detail = Entry.objects.filter(kind=EntryKind.STRIP).latest("id").detail_as(StripDetail)
    assert (detail["minutes"], detail["filled"], detail["price"]) == (4, filled.pk, "12.00")
    assert detail["supplier"] == "North"
    assert [thing["reason"] for thing in detail["things"]] == ["", "narrow"]
    assert Receipt.objects.latest("id").supplier == "North"
    assert "took 4 minutes last time" in text_of(client.get("/bought-kits/"))
    assert "2 lines of a bought kit are already recorded" in text_of(client.get(path))


def test_a_line_that_was_not_in_it_is_left_out_and_what_is_wrong_names_the_item(
    world: make.World, client: Client
) -> None:
    filled = added(client)
    path = f"/kits/DAY-02/strip/{filled.pk}/"
    seen = inputs(client.get(path))
    page = client.post(path, {**seen, "expiry-0": "soon"})
    assert page.status_code == 400
    assert f"{world.dressing.name}: " in text_of(page)
    assert inputs(page)["expiry-0"] == "soon"
    missing = text_of(client.post(path, seen))
    assert "These items would stay in DAY-02 without an expiry date: Wound" in missing
    send(client, path, {**seen, "units-0": "0"})
    (thing,) = (
        Entry.objects.filter(kind=EntryKind.STRIP).latest("id").detail_as(StripDetail)["things"]
    )
    assert thing["units"] == 1


def test_others_know_nothing_of_it_and_what_is_removed_is_no_longer_compared(
    world: make.World, client: Client
) -> None:
    filled = added(client)
    assert browser(world.guide).get("/bought-kits/").status_code == 403
    assert browser(world.stranger).get(f"/bought-kits/{filled.pk}/buy/").status_code in (403, 404)
    send(client, f"/bought-kits/{filled.pk}/close/")
    assert "Day kit, filled" not in text_of(client.get("/bought-kits/"))


def test_sixty_lines_need_no_more_queries_than_six(
    client: Client, django_assert_max_num_queries: Any, world: make.World
) -> None:
    def lines(count: int) -> FilledKit:
        text = "\n".join(f"1 x Invented thing {n:02}" for n in range(count))
        for n in range(count):
            name = f"Invented thing {n:02}"
            if not world.dressing.__class__.objects.filter(name=name).exists():
                make.item(name, needs_date=False)
        seen = inputs(client.post("/bought-kits/add/", {**KIT, "text": text, "find": "1"}))
        send(client, "/bought-kits/add/", {**KIT, "text": text, "keep": "1", **seen})
        return FilledKit.objects.latest("id")

    few, many = lines(6), lines(60)
    client.get(f"/kits/DAY-02/strip/{few.pk}/")
    with django_assert_max_num_queries(70) as counted:
        assert client.get(f"/kits/DAY-02/strip/{few.pk}/").status_code == 200
    with django_assert_max_num_queries(len(counted)):
        page = client.get(f"/kits/DAY-02/strip/{many.pk}/")
    assert len([name for name in inputs(page) if name.startswith("goes-")]) == 60


def test_whoever_has_bought_it_already_pastes_its_list_and_goes_on_to_its_lines(
    world: make.World, client: Client
) -> None:
    assert "/bought-kits/add/?then=strip" in client.get("/strip/").content.decode()
    assert "/bought-kits/add/?for=DAY-02" in client.get("/kits/DAY-02/strip/").content.decode()
    for more, to in (({"for": "DAY-02"}, "/kits/DAY-02/strip/"), ({"then": "strip"}, "/buy/")):
        page = client.get("/bought-kits/add/", more).content.decode()
        assert 'name="then" value="strip"' in page
        asked = {**KIT, "name": to, "text": PASTED, **more}
        seen = inputs(client.post("/bought-kits/add/", {**asked, "find": "1"}))
        after = send(client, "/bought-kits/add/", {**asked, "keep": "1", **seen})
        assert to in after.request["PATH_INFO"]


def test_a_new_kit_for_one_that_was_bought_leads_to_its_lines(
    world: make.World, client: Client
) -> None:
    filled = added(client)
    way = f"/add-kit/?then=strip&amp;filled={filled.pk}"
    assert way in client.get(f"/bought-kits/{filled.pk}/buy/").content.decode()
    assert (
        f'name="filled" value="{filled.pk}"'
        in client.get(way.replace("&amp;", "&")).content.decode()
    )
    sent = {"name": "DAY-09", "version": str(world.version.pk), "room": "main-store"}
    after = send(client, "/add-kit/", {**sent, "then": "strip", "filled": str(filled.pk)})
    assert after.request["PATH_INFO"] == f"/kits/DAY-09/strip/{filled.pk}/"


def test_an_instrument_asks_for_its_serial_number_without_opening_anything(
    world: make.World, client: Client
) -> None:
    asked = {**KIT, "text": world.gauge.name}
    seen = inputs(client.post("/bought-kits/add/", {**asked, "find": "1"}))
    send(client, "/bought-kits/add/", {**asked, "keep": "1", **seen})
    filled = FilledKit.objects.latest("id")
    page = client.get(f"/kits/DAY-02/strip/{filled.pk}/").content.decode()
    assert 0 < page.index('name="serial-0"') < page.index("<details", page.index("<fieldset"))
