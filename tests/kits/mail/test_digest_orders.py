"""What the weekly email says of orders."""

from decimal import Decimal

import pytest
from django.utils import timezone

from kits.models import Episode
from kits.services.buying import drafting, ordering
from kits.services.mail import alarms
from kits.services.stock import offers
from kits.services.stock.offers import PackPrice
from tests.kits import factories
from tests.kits.factories import World, act
from tests.kits.mail.weeks import said, text_of

pytestmark = pytest.mark.django_db


def order(w: World, packs: int, *, expected_in: int = 300) -> None:
    """Order packs of ten tablets, by hand, a month ago; expected so many days after that."""
    offer = offers.offer_of_supplier(
        act(), "North Medical", item=w.tablets, units=10, prices=[PackPrice(1, Decimal(2))],
        currency="GBP",
    )  # fmt: skip
    (made,) = drafting.draft(
        act(w.keeper), w.store, packs={offer.pk: packs}, through=factories.days(90), currency="GBP"
    )
    on = factories.days(-700)
    ordering.place(
        act(w.keeper), made.order, ordered_on=on, expected_on=factories.days(-700 + expected_in)
    )


@pytest.fixture
def low(w: World) -> World:
    w.tablets.order_down_to = 50
    w.tablets.save()
    return w


def test_what_is_to_be_ordered_says_from_whom(low: World) -> None:
    offers.offer_of_supplier(
        act(), "North Medical", item=low.tablets, units=10, prices=[PackPrice(1, Decimal(2))],
        currency="GBP",
    )  # fmt: skip
    text = said(text_of(low))
    assert "60 × Pain tablets (40 left; order level 50), from North Medical" in text
    assert "/stock/order/?weeks=26&room=main-store" in text


def test_what_is_on_order_is_not_to_be_ordered_again_nor_an_alarm(low: World) -> None:
    order(low, 6, expected_in=720)
    assert "60 × Pain tablets" not in said(text_of(low))
    alarms.look_at_stock(timezone.now())
    assert not Episode.objects.filter(kind="low-stock").exists()


def test_what_is_long_overdue_is_said_and_ordered_again(low: World) -> None:
    order(low, 6)
    text = said(text_of(low))
    assert "ORDERED BUT NOT HERE" in text
    assert "60 × Pain tablets from North Medical, for Main store: ordered" in text
    assert "60 × Pain tablets (40 left; order level 50)" in text
    alarms.look_at_stock(timezone.now())
    assert Episode.objects.filter(kind="low-stock").exists()
