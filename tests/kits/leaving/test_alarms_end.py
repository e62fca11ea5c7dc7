"""Nothing asks for a kit that has left: no notice, no calendar, no list, no plan; until undone."""

from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from kits.models import AsFound, Kit, Notice, PlaceKind
from kits.services.buying.season_order import season_order
from kits.services.custody import custody
from kits.services.leaving import missed, whole_kit
from kits.services.leaving.terms import Terms
from kits.services.ledger.undo import reversal
from kits.services.mail import alarms, calendar
from kits.services.overview import board, kits_overview, phone_copy
from kits.services.rotation import rotation
from kits.services.stock import offers
from kits.services.stock.offers import PackPrice
from kits.services.stock.tables import wall_calendar
from kits.services.weather import jobs
from tests.kits import factories as make
from tests.kits.factories import act, actor, fresh
from tests.kits.mail.weeks import text_of

pytestmark = pytest.mark.django_db
NAME = "DAY-02"


@pytest.fixture
def w() -> make.World:
    """DAY-02, of which Ines takes care, waits to be sorted, lacks tablets, and holds dressings
    that are soon out of date."""
    made = make.world()
    Kit.objects.filter(pk=made.day_02.pk).update(responsible=made.instructor)
    soon = make.some(made.dressing, made.shelf, 3, "SOON", make.days(20))
    make.put_in(made.day_02, soon, made.shelf, 3)
    custody.check_out(act(made.keeper), fresh(made.day_02), person=made.guide, already_gone=True)
    custody.check_in(act(made.keeper), fresh(made.day_02), as_found=AsFound.SORT_LATER)
    offers.state_offer(
        act(), item=made.tablets, supplier=offers.add_supplier(act(), "North Medical"), units=1,
        prices=[PackPrice(1, Decimal("2.00"))], currency="GBP",
    )  # fmt: skip
    return made


SAYS_SO = {
    "board", "calendar", "kits", "order", "phone", "spare kits", "wall calendar", "weekly email"
}  # fmt: skip


def surfaces(w: make.World) -> set[str]:
    """Where something of DAY-02 stands, or is done about it."""
    keeper = actor(w.keeper)
    order = season_order(keeper, w.store, through=make.days(365), currency="GBP", seconds=30)
    of_day_01 = 8
    found: dict[str, Any] = {
        "board": board.board(w.store),
        "calendar": calendar.of(w.instructor).decode(),
        "kits": kits_overview.listed(keeper),
        "order": NAME if sum(line.line.for_kits for line in order.lines) > of_day_01 else "",
        "phone": phone_copy.pocket_book(keeper),
        "rotation": rotation.of_room(keeper, w.store).work,
        "spare kits": missed.spare_kits(keeper, w.store),
        "wall calendar": wall_calendar.of_room(keeper, w.store),
        "weather": jobs.of_room(w.store, make.today()),
        "weekly email": text_of(w),
    }
    return {name for name, value in found.items() if NAME in str(value)}


def notices(w: make.World) -> int:
    now = timezone.now()
    alarms.look(now)
    alarms.look_at_stock(now)
    return Notice.objects.filter(kit=w.day_02).count()


def test_nothing_asks_for_a_kit_that_has_left_until_that_is_undone(w: make.World) -> None:
    assert surfaces(w) >= SAYS_SO
    before, known = surfaces(w), notices(w)
    terms = Terms(PlaceKind.GIVEN, "The youth centre")
    left = whole_kit.leave(act(w.keeper, reason="one too many"), fresh(w.day_02), terms)
    assert surfaces(w) == set()
    assert notices(w) == known
    reversal.reverse(act(w.keeper), left.entry.pk)
    assert surfaces(w) == before
