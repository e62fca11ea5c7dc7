"""What a kit still lacks while another is stripped for it, and what that cost."""

import re
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from kits.services.custody import custody
from kits.services.stock import receiving
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, text_of
from tests.site.restocking.stripping import PATH, line

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world() -> make.World:
    return make.world()


@pytest.fixture
def client(world: make.World) -> Client:
    return browser(world.keeper)


def row_of(page: Any, thing: str) -> Any:
    """What the table of what remains says of a thing."""
    cells = re.findall(r"<tr>(.*?)</tr>", page.content.decode(), re.S)
    return next((text for text in cells if thing in text), "")


def test_what_remains_to_be_added_shrinks_line_by_line(world: make.World, client: Client) -> None:
    assert '<td class="n">6</td>' in row_of(client.get(PATH), "Wound dressing")
    assert "below the minimum" in row_of(client.get(PATH), "Wound dressing")

    line(client, world.dressing, "keep:main", 4)
    remains = row_of(client.get(PATH), "Wound dressing")
    assert '<td class="n">2</td>' in remains
    assert "below the minimum" not in remains
    line(client, world.dressing, "keep:main", 2)

    assert not row_of(client.get(PATH), "Wound dressing")


def test_the_cost_runs_along_with_what_remains_at_the_last_prices(
    world: make.World, client: Client
) -> None:
    receiving.receive(
        make.act(world.keeper),
        item=world.dressing,
        units=10,
        number="P",
        expiry=make.days(500),
        shelf=world.shelf,
        price=Decimal("15.00"),
        currency="GBP",
    )
    assert "no price entered" in text_of(client.get(PATH))

    line(client, world.dressing, "keep:main", 4, whole_price="40,00", currency="gbp", supplier="F")
    page = client.get(PATH)

    assert re.search(r"So far 40.00 GBP", text_of(page))
    # Two more dressings at 1.50; shears and tablets have no known price.
    assert re.search(r"Including what is still needed 43.00 GBP", text_of(page))
    assert "2 items without a known price are not included" in text_of(page)
    assert "Price of the whole bought kit" not in text_of(
        client.get(PATH, {"item": world.shears.pk})
    )


def test_prices_of_single_things_add_up_where_none_was_said_of_the_whole(
    world: make.World, client: Client
) -> None:
    line(client, world.dressing, "keep:main", 4, price="6.20", currency="GBP")
    line(client, world.shears, "keep:main", price="3.10", currency="GBP", number="")

    assert re.search(r"So far 9.30 GBP", text_of(client.get(PATH)))


def test_each_currency_that_was_paid_in_is_shown(world: make.World, client: Client) -> None:
    line(client, world.dressing, "keep:main", 4, whole_price="40", currency="GBP")
    line(client, world.shears, "keep:main", price="31", currency="EUR", number="")

    page = text_of(client.get(PATH))

    assert "So far 31.00 EUR + 40.00 GBP" in page
    assert "Including what is still needed 31.00 EUR + 40.00 GBP" in page
    assert "Units Item GBP" in page  # what remains is priced as the whole was


def test_what_came_before_the_kit_last_went_out_is_another_story(
    world: make.World, client: Client
) -> None:
    line(client, world.dressing, "keep:main", 4, whole_price="40", currency="GBP")
    custody.check_out(make.act(), world.day_02, person=world.guide, emergency=True)
    custody.check_in(make.act(), world.day_02)

    page = text_of(client.get(PATH))

    assert "Nothing yet" in page
    assert "no price entered" in page


def test_the_page_asks_as_much_for_many_lines_as_for_few(
    world: make.World, client: Client, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for n in range(6):
        line(client, world.dressing, f"shelf:{world.shelf.pk}", n + 1, number=f"N{n}")

    with django_assert_max_num_queries(34):
        page = client.get(PATH)

    assert "batch N5" in text_of(page)
