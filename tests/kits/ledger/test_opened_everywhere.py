"""An opened pack is good for its opened life, whatever is printed on it: everywhere the rule says
until when, and no page or query decides it anew."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from kits.models import Lot, Place
from kits.services.custody import use
from kits.services.kits import history
from kits.services.overview import phone_copy
from kits.services.restocking import building
from kits.services.stock import counting, disposing, reclassifying
from kits.services.stock.counting import CountLine
from kits.services.stock.order_levels import stock_levels
from kits.services.stock.tables import stock_table
from labels.rules.codes.texts import Expiry
from labels.rules.layout.contents import LotLabel
from labels.services.paper import paper
from tests.kits import factories as make
from tests.labels.scan import scanned
from tests.site.browsing import browser, text_of

pytestmark = pytest.mark.django_db
OPENED_AGO = 40
LIFE = 30


@pytest.fixture
def w() -> make.World:
    """The small school with eye wash, opened so long ago that it is not good any more although its
    printed date is: 2 of 5 in DAY-01, 1 of 5 on shelf C2."""
    w = make.world()
    long_ago = timezone.now() - timedelta(days=OPENED_AGO)
    w.wash = make.item("Eye wash", sterile=True, opened_life_days=LIFE)
    w.closed = make.some(w.wash, w.shelf, 10, "W1", make.days(500))
    make.put_in(w.day_01, w.closed, w.shelf, 5)
    main = make.section(w.day_01)

    def opened(place: Place, units: int) -> Lot:
        act = make.act(claimed_at=long_ago)
        return reclassifying.open_pack(act, place=place, lot=w.closed, units=units).lot

    w.inside = opened(main, 2)
    w.on_shelf = opened(w.shelf, 1)
    return w


def test_it_is_not_stock(w: make.World) -> None:
    found = stock_levels.on_shelves([w.store.pk])[0][w.store.pk]
    usable = {row.item: row for row in stock_table.items_in_stock(make.actor(w.keeper), [w.store])}
    assert sum(x.count for x in found if x.batch.thing.id == w.wash.pk) == 5
    (here,) = [on_hand for on_hand in usable[w.wash].rooms if on_hand.room == w.store]
    assert (here.units, here.usable) == (5, 4)


def test_it_is_thrown_out_by_the_day_it_was_good_until(w: make.World) -> None:
    (row,) = [r for r in disposing.out_of_date(w.store) if r.lot.item == w.wash]
    assert row.good_until == make.days(LIFE - OPENED_AGO)
    page = text_of(browser(w.keeper).get("/stock/out-of-date/"))
    assert "2 × Eye wash" in page or "1 × Eye wash" in page
    assert str(make.days(500).year) not in page.split("Eye wash")[1][:60]


def test_it_is_what_goes_first_when_nobody_says_which(w: make.World) -> None:
    done = use.log_use(make.act(), w.day_01, [use.UseLine(w.wash, 1)])
    assert [line.lot for line in done.lines] == [w.inside]


def test_it_is_what_is_missing_when_a_thing_is_counted(w: make.World) -> None:
    main = make.section(w.day_01)
    (missing,) = counting.differences([main], [CountLine(main, 4, item=w.wash)])
    assert (missing.lot, missing.booked, missing.found) == (w.inside, 2, 1)


def test_it_is_out_of_date_on_the_kits_page(w: make.World) -> None:
    (line,) = [row for row in history.contents(w.day_01).lines if row.lot == w.inside]
    assert line.good_until == make.days(LIFE - OPENED_AGO)
    page = text_of(browser(w.keeper).get("/kits/DAY-01/"))
    assert re.search(r"Eye wash not on the list batch W1, [\w ]+ out of date – 2 ", page)


def test_programs_find_it_among_what_expires(w: make.World) -> None:
    call = make.caller(w.keeper)
    day = make.today().isoformat()
    lots = {row["id"] for row in call.get(f"lots/?expiring_before={day}").json()["results"]}
    held = call.get(f"stock/?expiring_before={day}").json()["results"]
    assert w.inside.pk in lots and w.closed.pk not in lots
    assert w.inside.pk in {row["lot"]["id"] for row in held}


def test_the_copy_on_a_phone_knows_it(w: make.World) -> None:
    copy = phone_copy.pocket_book(make.actor(w.keeper))
    assert copy["batches"][w.inside.pk]["until"] == make.days(LIFE - OPENED_AGO).isoformat()


def test_its_label_says_the_day_it_is_good_until(w: make.World) -> None:
    printed = paper.to_print(scanned.label(w.inside, w))
    assert isinstance(printed, LotLabel)
    assert printed.expiry == Expiry(make.days(LIFE - OPENED_AGO), needed=True)


def test_a_kit_wants_nothing_that_lies_on_a_shelf_already_and_is_good(w: make.World) -> None:
    wanted = {row.item: row for row in building.shortages(make.fresh(w.day_02), currency="")}
    assert (wanted[w.dressing].units, wanted[w.dressing].on_shelves) == (6, 6)
    long_ago = timezone.now() - timedelta(days=100)
    opened = make.act(claimed_at=long_ago)
    reclassifying.open_pack(opened, place=w.shelf, lot=w.lots["tablets"], units=38)
    wanted = {row.item: row for row in building.shortages(make.fresh(w.day_02), currency="")}
    assert (wanted[w.tablets].units, wanted[w.tablets].on_shelves) == (8, 2)
