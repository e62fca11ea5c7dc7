"""What rooms threw away and saved this season, from acts as people do them."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from gearroom.core import clock
from kits.models import EntryKind, Lot, Place
from kits.rules.buying.bought_kit import Fate
from kits.rules.buying.season_money import Cause, SeasonMoney, Worth
from kits.services.buying import season_money
from kits.services.ledger.undo import reversal
from kits.services.restocking import building, sorting
from kits.services.restocking.building import BoughtItem
from kits.services.stock import disposing, moving, receiving
from kits.services.stock.disposing import Outgoing
from kits.services.text.planning import season_money_texts
from tests.kits import factories as make
from tests.kits.factories import World, act

pytestmark = pytest.mark.django_db

DAY = date(2031, 8, 20)


@pytest.fixture
def w(db: None) -> Iterator[World]:
    with clock.pretending(datetime(2030, 6, 1, 9, tzinfo=UTC)):
        made = make.make_world()  # not one that other tests have kept
    with clock.pretending(at(DAY)):
        yield made


def at(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC)


def bought(w: World, units: int, price: str | None, expiry: date, currency: str = "GBP") -> Place:
    receiving.receive(
        act(w.keeper), item=w.dressing, shelf=w.shelf, units=units, expiry=expiry, number="B1",
        price=None if price is None else Decimal(price), currency=currency if price else "",
    )  # fmt: skip
    return w.shelf


def thrown(w: World, units: int, expiry: date, reason: str = "") -> None:
    lot = make.batch(w.dressing, "B1", expiry)
    who = replace(act(w.keeper), reason=reason)
    disposing.dispose_all(who, w.store, [Outgoing(w.shelf, lot, units)])


def money(w: World, today: date = DAY) -> SeasonMoney:
    return season_money.of_rooms([w.store, w.hut], today)[w.store.pk]


def test_what_is_thrown_away_counts_by_cause_at_the_last_price_paid(w: World) -> None:
    with clock.pretending(at(date(2031, 5, 1))):
        bought(w, 20, "10.00", date(2031, 7, 31))
    bought(w, 10, "6.00", date(2034, 1, 31))
    thrown(w, 5, date(2031, 7, 31))
    thrown(w, 2, date(2034, 1, 31), reason="wet")
    found = money(w)
    assert found.wasted == {
        Cause.OUT_OF_DATE: Worth(5, {"GBP": Decimal("3.00")}),
        Cause.OTHER: Worth(2, {"GBP": Decimal("1.20")}),
    }
    assert (found.bought.less, found.bought.units) == ({"GBP": Decimal("-1.00")}, 10)
    assert season_money_texts.line(found, DAY) == (
        "Jul – Sep 2031: Thrown away unused: 4.20 GBP (out of date 3.00 GBP, for other reasons "
        "1.20 GBP); in the same weeks a year ago: nothing. 10 units were bought for 1.00 GBP more "
        "than at the previous prices."
    )
    assert season_money.of_rooms([w.hut], DAY)[w.hut.pk].all_wasted == Worth()


def test_what_was_undone_or_was_before_the_season_does_not_count(w: World) -> None:
    with clock.pretending(at(date(2031, 5, 1))):
        bought(w, 20, "10.00", date(2034, 1, 31))
        thrown(w, 4, date(2034, 1, 31), reason="before the season")
    thrown(w, 5, date(2034, 1, 31), reason="a slip")
    entry = w.shelf.movements_out.latest("id").entry
    reversal.reverse(act(w.keeper), entry.pk)
    assert money(w).all_wasted == Worth()
    assert season_money_texts.line(money(w), DAY) == ""


def test_units_without_a_price_are_said_and_a_year_without_records_is_not(w: World) -> None:
    bought(w, 20, None, date(2034, 1, 31))
    thrown(w, 3, date(2034, 1, 31), reason="wet")
    assert "3 units without a price (for other reasons 3 units without a price)" in (
        season_money_texts.line(money(w), DAY)
    )
    year_on = money(w)
    assert year_on.year_before == Worth()  # the room was there, and threw nothing away
    began = clock.today("UTC").replace(year=2026)
    early = season_money.of_rooms([w.store], began)[w.store.pk]
    assert early.year_before is None


def test_the_same_weeks_a_year_ago_stand_beside_it(w: World) -> None:
    with clock.pretending(at(DAY - timedelta(days=364))):
        bought(w, 20, "10.00", date(2034, 1, 31))
        thrown(w, 6, date(2034, 1, 31), reason="wet")
    assert money(w).year_before == Worth(6, {"GBP": Decimal("3.00")})
    assert "Nothing was thrown away unused; in the same weeks a year ago: 3.00 GBP." in (
        season_money_texts.line(money(w), DAY)
    )


def test_extras_of_a_bought_kit_save_what_they_would_cost_once_they_go_into_a_kit(
    w: World,
) -> None:
    with clock.pretending(at(date(2031, 5, 1))):
        bought(w, 10, "5.00", date(2034, 1, 31))
    expiry = date(2033, 3, 31)
    things = [
        BoughtItem(w.dressing, 4, Fate.SHELF, number="K7", expiry=expiry, shelf=w.shelf),
        BoughtItem(w.shears, 2, Fate.DISPOSE, reason="one is enough"),
    ]
    building.strip(act(w.keeper), w.day_02, things, price=Decimal(9), currency="GBP")
    found = money(w)
    assert found.extras == Worth()
    assert found.wasted == {Cause.BOUGHT_KIT: Worth(2, {}, 2)}
    into_kit(w, make.batch(w.dressing, "K7", expiry), 3)
    assert money(w).extras == Worth(3, {"GBP": Decimal("1.50")})
    says = season_money_texts.line(money(w), DAY)
    assert "3 extras from bought kits went into kits: they would have cost 1.50 GBP." in says
    assert w.day_02.entries.filter(kind=EntryKind.STRIP).exists()


def test_an_extra_counts_once_whatever_season_it_goes_into_a_kit_again(w: World) -> None:
    expiry = date(2033, 3, 31)
    with clock.pretending(at(date(2031, 5, 1))):  # the season before
        things = [BoughtItem(w.dressing, 4, Fate.SHELF, number="K7", expiry=expiry, shelf=w.shelf)]
        building.strip(act(w.keeper), w.day_02, things, price=Decimal(9), currency="GBP")
        lot = make.batch(w.dressing, "K7", expiry)
        into_kit(w, lot, 3)
        assert money(w, clock.today("UTC")).extras.units == 3
        section = make.section(w.day_02)
        moving.move(act(w.keeper), lot=lot, units=3, source=section, target=w.shelf)
    into_kit(w, lot, 4)
    assert money(w).extras.units == 1


def into_kit(w: World, lot: Lot, units: int) -> None:
    row = sorting.PutIn(lot, w.shelf, make.section(w.day_02), units)
    sorting.restock(act(w.keeper), w.day_02, extra=[row], as_listed=False, levels=())


def test_extras_that_were_never_bought_by_themselves_have_no_price(w: World) -> None:
    expiry = date(2033, 3, 31)
    things = [BoughtItem(w.dressing, 4, Fate.SHELF, number="K7", expiry=expiry, shelf=w.shelf)]
    building.strip(act(w.keeper), w.day_02, things, price=Decimal(9), currency="GBP")
    into_kit(w, make.batch(w.dressing, "K7", expiry), 3)
    assert money(w).extras == Worth(3, {}, 3)
    assert season_money_texts.line(money(w), DAY) == (
        "Jul – Sep 2031: 3 extras from bought kits went into kits; no price for them is on record."
    )


def test_currencies_are_never_added_up(w: World) -> None:
    bought(w, 10, "5.00", date(2034, 1, 31))
    thrown(w, 2, date(2034, 1, 31), reason="wet")
    receiving.receive(
        act(w.keeper), item=w.shears, shelf=w.shelf, units=2, price=Decimal(8), currency="EUR"
    )
    lot = make.batch(w.shears)
    disposing.dispose_all(
        replace(act(w.keeper), reason="bent"), w.store, [Outgoing(w.shelf, lot, 1)]
    )
    assert money(w).all_wasted.amounts == {"EUR": Decimal("4.00"), "GBP": Decimal("1.00")}


def test_it_asks_as_much_for_many_rooms_as_for_one(
    w: World, django_assert_max_num_queries: object
) -> None:
    bought(w, 10, "5.00", date(2034, 1, 31))
    thrown(w, 2, date(2034, 1, 31), reason="wet")
    with django_assert_max_num_queries(7):  # type: ignore[operator]  # a fixture of pytest-django
        season_money.of_rooms([w.store, w.hut], DAY)
