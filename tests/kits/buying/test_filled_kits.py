"""Filled kits that might be bought: stated once, and judged against a kit list."""

from dataclasses import replace
from decimal import Decimal

import pytest
from django.utils import translation

from gearroom.core.acts import Invalid, NotAllowed, NotFound
from kits.models import FilledKit
from kits.rules.buying.bought_kit import Fate, Why
from kits.services.buying import bought_kits, filled_kits
from kits.services.buying.bought_kits import Content
from kits.services.restocking import building
from kits.services.restocking.building import BoughtItem
from kits.services.stock import receiving
from kits.services.text import buying_texts
from tests.kits import factories as make
from tests.kits.buying.test_bought_kits import empty_shelves
from tests.kits.factories import World, act, actor

pytestmark = pytest.mark.django_db


@pytest.fixture
def w(db: None) -> World:
    return make.world()


def contents(w: World) -> list[Content]:
    return [
        Content("Wound dressing", w.dressing, 4, make.days(800)),
        Content("Tiny tape", None, 2),
    ]


def stated(w: World, price: str = "12.00", currency: str = "GBP") -> FilledKit:
    return filled_kits.add(
        act(w.keeper),
        w.store,
        name=" Day  kit, filled ",
        price=Decimal(price),
        currency=currency,
        contents=contents(w),
        supplier="North Medical",
    )


def test_it_is_kept_as_its_seller_lists_it(w: World) -> None:
    filled = filled_kits.filled_kit(actor(w.keeper), stated(w).pk)
    assert (filled.name, filled.price, str(filled.supplier)) == (
        "Day kit, filled", Decimal(12), "North Medical",
    )  # fmt: skip
    assert [(row.name, row.item, row.units) for row in filled.lines.all()] == [
        ("Wound dressing", w.dressing, 4),
        ("Tiny tape", None, 2),
    ]


def test_only_whoever_may_strip_kits_in_its_room_knows_of_it(w: World) -> None:
    filled = stated(w)
    with pytest.raises(NotFound):
        filled_kits.filled_kit(actor(w.guide), filled.pk)
    with pytest.raises(NotAllowed):
        filled_kits.close(act(w.guide), filled)


def test_each_line_has_its_likely_fate_and_those_of_other_currencies_stay_apart(w: World) -> None:
    pounds, euros = stated(w), stated(w, currency="EUR")
    parts = filled_kits.likely(actor(w.keeper), pounds, w.version)
    assert [(part.units, part.fate, part.why) for part in parts] == [
        (4, Fate.KEEP, Why.LISTED),
        (2, Fate.DISPOSE, Why.UNKNOWN),
    ]
    found = filled_kits.choice(actor(w.keeper), w.store, w.version, [pounds, euros], 3)
    assert {code: len(each.compared.ways) for code, each in found.items()} == {"GBP": 2, "EUR": 2}


def test_what_is_closed_is_no_longer_in_question(w: World) -> None:
    filled = stated(w)
    for _ in range(2):
        filled_kits.close(act(w.keeper), filled)
    assert not filled_kits.in_question(actor(w.keeper), w.store).exists()


@pytest.mark.parametrize(
    "wrong",
    [{"name": " "}, {"price": Decimal("-1")}, {"currency": "pounds"}, {"contents": []}],
)
def test_what_cannot_be_is_refused(w: World, wrong: dict[str, object]) -> None:
    given = {
        "name": "Day kit",
        "price": Decimal(12),
        "currency": "GBP",
        "contents": contents(w),
        **wrong,
    }
    with pytest.raises(Invalid):
        filled_kits.add(act(w.keeper), w.store, **given)  # type: ignore[arg-type]  # as given
    assert not FilledKit.objects.exists()


def test_what_lies_on_a_shelf_as_an_extra_is_not_bought_again(w: World) -> None:
    empty_shelves(w)
    (before,) = bought_kits.compare(
        actor(w.keeper), w.store, w.version, [], kits=1, currency="GBP"
    ).ways
    receiving.receive(
        act(w.keeper), shelf=w.shelf, item=w.dressing, units=50, expiry=make.days(900)
    )
    (after,) = bought_kits.compare(
        actor(w.keeper), w.store, w.version, [], kits=1, currency="GBP"
    ).ways
    assert (before.off_shelves, after.off_shelves) == (0, 6)  # as many as the list wants
    assert w.dressing.pk in before.parts.unpriced
    assert w.dressing.pk not in after.parts.unpriced


def strip(w: World, reason: str, minutes: int | None = None) -> None:
    thing = BoughtItem(w.dressing, 1, Fate.DISPOSE, reason=reason, expiry=make.days(500))
    building.strip(act(w.keeper), w.day_02, [thing], minutes=minutes)


def test_a_reason_is_kept_as_its_code_whatever_the_language_and_others_in_their_words(
    w: World,
) -> None:
    strip(w, "Too  narrow")
    with translation.override("de"):
        strip(w, str(buying_texts.REASONS["narrow"]))
    strip(w, "smells of oil")
    reasons = [each["things"][0]["reason"] for each in bought_kits.stripped()]
    assert reasons == ["narrow", "narrow", "smells of oil"]
    past = bought_kits.habits(bought_kits.stripped())[w.dressing.pk]
    assert (past.times, past.reason) == (3, "narrow")
    part = filled_kits.likely(actor(w.keeper), stated(w), w.version)[0]
    assert buying_texts.why(part) == "thrown away 3 times before: too narrow"


def test_how_long_it_took_last_time_is_known(w: World) -> None:
    strip(w, "", 25)
    strip(w, "")
    found = bought_kits.compare(actor(w.keeper), w.store, w.version, [], kits=1, currency="GBP")
    assert found.minutes == 25
    assert buying_texts.time_taken(found.minutes).endswith("25 minutes last time.")
    for wrong in (0, 1441):
        with pytest.raises(Invalid):
            strip(w, "", wrong)


def test_it_says_in_a_sentence_what_a_filled_kit_comes_to(w: World) -> None:
    way = next(
        way
        for way in filled_kits.choice(actor(w.keeper), w.store, w.version, [stated(w)], 1)[
            "GBP"
        ].compared.ways
        if way.bought
    )
    assert way.bought is not None
    assert buying_texts.comes_to(way.bought) == (
        "6 items: keep 4, extras 0, teaching 0, throw away 2."
    )
    assert buying_texts.price_each(way, Decimal("0.60")) == (
        "3.00 GBP for each item kept, compared with 0.60 GBP if bought separately."
    )
    assert "no price of their own" in buying_texts.price_each(way, None)
    nothing = replace(way, each_kept=None)
    assert buying_texts.price_each(nothing, None) == "Nothing from this kit would be kept."
    assert "For 3 kits or more" in buying_texts.parts_win(3, priced=True, most=60)
    assert "even for one kit" in buying_texts.parts_win(1, priced=True, most=60)
    assert buying_texts.parts_win(None, priced=False, most=60) == ""
