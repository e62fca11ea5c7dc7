"""Prices on the pages: one by hand, a list pasted or uploaded, a supplier's terms and names."""

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from kits.models import Item, Offer, Supplier
from kits.services.stock import receiving
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, text_of

pytestmark = PAGES_ON_SQLITE
PATH = "/stock/prices/"


@pytest.fixture
def world() -> make.World:
    return make.world()


@pytest.fixture
def client(world: make.World) -> Client:
    return browser(world.keeper)


def send(client: Client, path: str, **fields: Any) -> Any:
    """Send a form, under a key of its own; the page after it."""
    sent = {name.replace("__", "-"): value for name, value in fields.items()}
    return client.post(path, {"key": str(uuid.uuid4()), **sent}, follow=True)


def dressing() -> str:
    """What the wound dressing is called in full."""
    return Item.objects.get(name__startswith="Wound dressing").name


def one_price(client: Client, **more: Any) -> Any:
    return send(
        client,
        PATH,
        **{"item": dressing(), "supplier": "North", "units": "10", "price": "4,50",
           "currency": "gbp", **more},
    )  # fmt: skip


def test_a_price_by_hand_with_tax_and_a_lower_one_for_more(client: Client) -> None:
    page = one_price(client, tax_percent="20", packs__0="5", each__0="4.00")
    offer = Offer.objects.get()
    assert [(p.packs, p.each) for p in offer.prices.all()] == [
        (1, Decimal("4.50")),
        (5, Decimal(4)),
    ]
    text = text_of(page)
    assert "4.50 GBP" in text
    assert "from 5 packs" in text
    assert "0.54 GBP" in text


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"item": ""}, "Choose an item"),
        ({"price": "a lot"}, "is not a price"),
        ({"units": "0"}, "Units in a pack"),
        ({"currency": "pounds"}, "three letters"),
        ({"packs__0": "5"}, "Enter both"),
        ({"tax_percent": "200"}, "from 0 to 100"),
        ({"supplier": " "}, "supplier"),
    ],
)
def test_what_cannot_be_is_refused_and_stays_typed(
    client: Client, wrong: dict[str, str], says: str
) -> None:
    page = one_price(client, **wrong)
    assert page.status_code == 400
    assert says in text_of(page)
    assert not Offer.objects.exists()


LIST = "Wound dressing, pack of 10, £4.50\nTeapot, pack of 2, £9.00\nShears £3.00\nWound dressing?"


def test_a_pasted_list_is_seen_whole_before_anything_is_kept(client: Client) -> None:
    fields = {"supplier": "North", "currency": "GBP", "text": LIST}
    page = client.post(f"{PATH}paste/", {**fields, "find": "1"})
    text = text_of(page)
    for says in (
        "no item of this name",
        "how many are in a pack?",
        "no price",
        "1 line is complete",
    ):
        assert says in text
    assert not Offer.objects.exists()
    done = text_of(send(client, f"{PATH}paste/", **fields, keep="1", units__2="1"))
    assert "2 prices from North have been saved." in done
    assert "2 lines were not saved: Teapot, pack of 2" in done
    assert Offer.objects.count() == 2


def test_a_file_is_read_like_a_pasted_list_whatever_its_encoding(client: Client) -> None:
    content = "Wound dressing;10;£4.50\n".encode("cp1252")
    page = client.post(
        f"{PATH}paste/",
        {
            "supplier": "North",
            "currency": "GBP",
            "find": "1",
            "file": SimpleUploadedFile("list.csv", content, "text/csv"),
        },
    )
    assert "1 line is complete" in text_of(page)
    large = SimpleUploadedFile("list.csv", b"x" * 200_001, "text/csv")
    page = client.post(f"{PATH}paste/", {"supplier": "North", "currency": "GBP", "file": large})
    assert "too large" in text_of(page)


def test_an_amount_in_another_currency_is_not_kept(client: Client) -> None:
    fields = {"supplier": "North", "currency": "EUR", "text": LIST}
    assert "in GBP" in text_of(client.post(f"{PATH}paste/", {**fields, "find": "1"}))
    send(client, f"{PATH}paste/", **fields, keep="1")
    assert not Offer.objects.exists()


def test_a_new_name_may_mean_a_supplier_that_is_known(client: Client) -> None:
    one_price(client)
    north = Supplier.objects.get()
    fields = {"supplier": "North Ltd", "currency": "GBP", "text": LIST}
    assert "is not on record as a supplier yet" in text_of(
        client.post(f"{PATH}paste/", {**fields, "find": "1"})
    )
    send(client, f"{PATH}paste/", **fields, same_as=str(north.pk), keep="1")
    assert Supplier.objects.count() == 1
    page = client.post(f"{PATH}paste/", {**fields, "find": "1"})
    assert "is not on record as a supplier yet" not in text_of(page)


def test_a_suppliers_terms_and_other_names(client: Client) -> None:
    one_price(client)
    path = f"{PATH}suppliers/{Supplier.objects.get().pk}/"
    assert "deliveries count as free" in text_of(client.get(path))
    page = send(client, path, currency="GBP", delivery="4.95", free_from="50", least_order="")
    assert (
        "A delivery costs 4.95 GBP. Delivery is free for orders of 50.00 GBP or more."
        in text_of(page)
    )
    assert "“North Ltd” means North" in text_of(send(client, path, name=" North  Ltd"))
    assert send(client, path, name="").status_code == 400
    assert send(client, path, currency="GBP", delivery="dear").status_code == 400


def test_what_is_no_longer_offered_is_gone_and_a_guide_only_reads(
    world: make.World, client: Client
) -> None:
    one_price(client)
    end = f"{PATH}{Offer.objects.get().pk}/end/"
    guide = browser(world.guide)
    assert "4.50 GBP" in text_of(guide.get(PATH))
    assert send(guide, end).status_code == 403
    assert "No price is on record" in text_of(send(client, end))


def test_what_deliveries_taught_stands_beside_the_price(
    world: make.World, client: Client, django_assert_max_num_queries: Any
) -> None:
    one_price(client)
    receiving.receive(
        make.act(world.keeper),
        shelf=world.shelf,
        item=world.dressing,
        units=10,
        expiry=make.days(500),
        supplier="NORTH",
        price=Decimal(4),
        currency="GBP",
    )
    text = text_of(client.get(PATH))
    assert "500 days (from 1 delivery)" in text
    receive = client.get(f"/stock/receive/?item={world.dressing.pk}").content.decode()
    assert 'value="NORTH"' in receive
    assert 'value="GBP"' in receive
    with django_assert_max_num_queries(30):
        client.get(PATH)
