"""Ordering by the pages, from what to order to what came."""

import re
from datetime import timedelta
from decimal import Decimal

import pypdfium2 as pdfium
import pytest
from django.test import Client

from gearroom.core import clock
from kits.models import Offer, Order, RoomOrderLevel
from kits.services.buying import drafting, ordering
from kits.services.orders import orders
from kits.services.stock import offers
from kits.services.stock.offers import PackPrice
from tests.kits import factories as make
from tests.kits.factories import World, act
from tests.site.browsing import browser, post, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(db: None) -> World:
    return make.world()


@pytest.fixture
def offer(world: World) -> Offer:
    return offers.state_offer(
        act(), item=world.tablets, supplier=offers.add_supplier(act(), "North Medical"), units=16,
        prices=[PackPrice(1, Decimal("2.00"))], currency="GBP",
    )  # fmt: skip


def drafted(client: Client, offer: Offer, packs: int = 2, **more: str) -> Order:
    sent = {
        "room": "main-store", "through": str(make.days(180)), "currency": "GBP",
        f"packs-{offer.pk}": str(packs), **more,
    }  # fmt: skip
    assert post(client, "/stock/order/draft/", **sent).status_code == 302
    return Order.objects.latest("id")


def test_a_season_is_worked_out_with_reasons_drafted_and_ordered(
    world: World, offer: Offer
) -> None:
    client = browser(world.keeper)
    assert "Order" in text_of(client.get("/stock/"))
    page = client.get("/stock/order/?weeks=52")
    shown = text_of(page)
    assert "for kits that will be short by" in shown
    assert "North Medical" in shown
    assert f'name="packs-{offer.pk}"' in page.content.decode()

    order = drafted(client, offer)
    address = f"/stock/order/{order.pk}/"
    assert "Nothing has been ordered yet" in text_of(client.get(address))
    sent = {"revision": str(order.revision), f"packs-{offer.pk}": "3"}
    post(client, f"{address}lines/", **sent)
    refused = post(client, f"{address}lines/", **{**sent, f"packs-{offer.pk}": "1"})
    assert refused.status_code == 412  # somebody else's tab
    order.refresh_from_db()
    assert order.lines.get().packs == 3

    post(client, f"{address}place/", revision=str(order.revision))
    assert "Ordered" in text_of(client.get(address))
    order.refresh_from_db()
    assert post(client, f"{address}place/", revision=str(order.revision)).status_code == 409
    assert "48 on order from North Medical" in text_of(client.get(f"/stock/{world.tablets.pk}/"))


def test_without_prices_the_page_says_so_and_leads_to_where_they_are_entered(world: World) -> None:
    page = browser(world.keeper).get("/stock/order/")
    assert "No prices are on record yet" in text_of(page)
    assert "Work it out" not in text_of(page)
    for address in ("/stock/prices/", "/stock/prices/paste/"):
        assert f'href="{address}"' in page.content.decode()


def test_half_comes_then_too_much_and_the_rest_is_cancelled(world: World, offer: Offer) -> None:
    client = browser(world.keeper)
    order = drafted(client, offer)
    ordering.place(act(world.keeper), order)
    page = client.get(f"/stock/receive/?item={world.tablets.pk}")
    assert "32 of 32 still to come" in text_of(page)

    def came(units: int, of: str = "") -> str:
        post(
            client, "/stock/receive/", item=str(world.tablets.pk), packs=str(units), number="T9",
            expiry_printed="2035-05", shelf=str(world.shelf.pk), order=of or str(order.pk),
        )  # fmt: skip
        return text_of(client.get(f"/stock/order/{order.pk}/"))

    assert "10 of 32 have arrived, 22 still to come" in came(10)
    assert "10 of 32 have arrived" in came(5, "none")
    post(client, f"/stock/order/{order.pk}/rest/", do="cancel")
    assert "22 cancelled" in text_of(client.get(f"/stock/order/{order.pk}/"))
    post(client, f"/stock/order/{order.pk}/rest/", do="await")
    assert "2 more than ordered" in came(24)
    (line,) = orders.fresh(order).lines
    entry = line.arrivals[-1].receipt.entry_id
    client.post(f"/undo/{entry}/", {"key": str(act().key)})
    assert "10 of 32 have arrived, 22 still to come" in text_of(
        client.get(f"/stock/order/{order.pk}/")
    )


def test_an_order_is_a_table_and_a_sheet(world: World, offer: Offer) -> None:
    world.tablets.name = "=Tablets"
    world.tablets.save()
    client = browser(world.keeper)
    order = drafted(client, offer, through=str(make.days(365)))
    table = client.get(f"/stock/order/{order.pk}/order.csv").content.decode().splitlines()
    assert table[1].startswith(f"{order.pk},North Medical,Main store,'=Tablets,2,16,tablet,2.00,")
    sheet = client.get(f"/stock/order/{order.pk}/order.pdf")
    assert sheet.content.startswith(b"%PDF")
    assert table[0].endswith("cancelled,priority,short_without,lacking_without")
    assert table[1].endswith(",0,routine,16,0.0")
    (whole,) = texts_of(sheet.content)
    assert "Without this" not in whole
    (whole,) = texts_of(client.get(f"/stock/order/{order.pk}/order.pdf?why=1").content)
    assert "16 for kits" in whole
    assert "Without this: kits will be short of 16 by" in " ".join(whole.split())


def texts_of(pdf: bytes) -> list[str]:
    """The words of each page of a PDF."""
    return [page.get_textpage().get_text_range() for page in pdfium.PdfDocument(pdf)]


def test_each_line_says_what_it_costs_to_do_without(world: World, offer: Offer) -> None:
    client = browser(world.keeper)
    page = text_of(client.get("/stock/order/?weeks=52"))
    assert re.search(r"Without this: kits will be short of \d+ by", page)
    assert "is enough to keep kits full, at the usual rate of use" in page
    assert "How good the numbers are" in page
    order = drafted(client, offer, through=str(make.days(365)))
    assert "kits will be short of 16 by" in text_of(client.get(f"/stock/order/{order.pk}/"))


def test_a_draft_says_when_its_reasons_were_worked_out_and_works_them_out_again(
    world: World, offer: Offer
) -> None:
    client = browser(world.keeper)
    with clock.pretending(clock.now() - timedelta(days=2)):
        order = drafted(client, offer, through=str(make.days(365)))
    address = f"/stock/order/{order.pk}/"
    assert "16 for kits" in text_of(client.get(address))
    world.day_02.retired_on = make.today()
    world.day_02.save()
    before = text_of(client.get(address))
    assert re.search(r"as of \w+day \d\d:\d\d", before)
    assert "16 for kits" in before
    post(client, f"{address}lines/", revision=str(order.revision))
    after = text_of(client.get(address))
    assert "as of today" in after
    assert "8 for kits" in after
    (line,) = orders.fresh(order).lines
    assert (line.line.packs, line.line.for_kits) == (2, 8)


def test_a_draft_is_discarded_and_no_other_room_sees_it(world: World, offer: Offer) -> None:
    client = browser(world.keeper)
    order = drafted(client, offer)
    keeper = make.person("Hal", make.Role.KEEPER, world.hut)
    assert browser(keeper).get(f"/stock/order/{order.pk}/").status_code == 404
    assert browser(world.guide).get("/stock/order/").status_code == 403
    post(client, f"/stock/order/{order.pk}/discard/")
    assert "Drafts" not in text_of(client.get("/stock/order/"))
    assert post(client, f"/stock/order/{order.pk}/place/", revision="2").status_code in (409, 412)


def test_a_level_is_set_for_a_room_and_the_page_says_so(world: World) -> None:
    client = browser(world.keeper)
    address = f"/stock/{world.shears.pk}/"
    post(client, f"{address}level/", room="main-store", level="9")
    assert re.search(r"Order level 9 \(set by hand for this room\)", text_of(client.get(address)))
    post(client, f"{address}level/", room="main-store", level="")
    assert "set by hand for this room" not in text_of(client.get(address))
    assert post(client, f"{address}level/", room="main-store", level="few").status_code == 400
    assert RoomOrderLevel.objects.count() == 2


def test_the_page_asks_as_much_for_many_orders_as_for_few(
    world: World, offer: Offer, django_assert_max_num_queries: object
) -> None:
    client = browser(world.keeper)
    for _ in range(8):
        made = drafting.draft(
            act(world.keeper), world.store, packs={offer.pk: 1}, through=make.days(90),
            currency="GBP",
        )  # fmt: skip
        ordering.place(act(world.keeper), made[0].order)
    with django_assert_max_num_queries(20):  # type: ignore[operator]  # a fixture of pytest-django
        assert "On order" in text_of(client.get("/stock/order/"))
