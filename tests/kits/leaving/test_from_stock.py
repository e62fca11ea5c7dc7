"""Units of a batch sold or given away from a shelf: nobody's use, nobody's waste."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from gearroom.core.acts import Invalid, NotAllowed, Refused
from gearroom.core.models import Person
from kits.models import Entry, Lot, PlaceKind
from kits.services.leaving import from_stock
from kits.services.leaving.terms import Terms
from kits.services.ledger import audit
from kits.services.ledger.undo import reversal
from kits.services.planning.past_use import past_use
from kits.services.recalls import recalls, status
from kits.services.stock.order_levels import stock_use
from kits.services.stock.tables import item_use
from tests.kits import factories as make
from tests.kits.mail.weeks import text_of

pytestmark = pytest.mark.django_db
CLUB = Terms(PlaceKind.SOLD, "The ski club", Decimal("12.00"), "GBP")


@pytest.fixture
def w() -> make.World:
    return make.world()


def leave(
    w: make.World, terms: Terms = CLUB, units: int = 2, who: Person | None = None, **more: Any
) -> Entry:
    wanted = {"place": w.shelf, "lot": w.dressings, **more}
    act = make.act(who or w.keeper, reason=wanted.pop("reason", "too many"))
    return from_stock.leave(act, units=units, terms=terms, **wanted)


def refused(w: make.World, *args: Any, **more: Any) -> str:
    before = Entry.objects.count()
    with pytest.raises((Invalid, Refused)) as problem:
        leave(w, *args, **more)
    assert Entry.objects.count() == before
    errors = problem.value.facts.get("errors")
    return next(iter(errors)) if errors else problem.value.code


def test_it_says_to_whom_for_how_much_and_why_and_undo_brings_it_back(w: make.World) -> None:
    before = make.units(w.dressings, w.shelf)
    entry = leave(w)
    assert entry.detail == {
        "way": "sold", "to": "The ski club", "price": "12.00", "currency": "GBP"
    }  # fmt: skip
    assert entry.reason == "too many"
    assert make.units(w.dressings, w.shelf) == before - 2
    reversal.reverse(make.act(w.keeper), entry.pk)
    assert make.units(w.dressings, w.shelf) == before
    assert not list(audit.findings())


def test_it_counts_neither_as_used_nor_as_wasted(w: make.World) -> None:
    looks: list[Any] = [
        lambda: past_use(make.actor(w.keeper)).thrown_out,
        lambda: past_use(make.actor(w.keeper)).seasons,
        lambda: stock_use.uses({w.store.pk: w.store}, make.days(-365)),
        lambda: item_use.by_season(make.actor(w.keeper), w.dressing, make.days(0)),
    ]
    before = [look() for look in looks]
    leave(w)
    leave(w, Terms(PlaceKind.GIVEN, "The youth centre"))
    assert [look() for look in looks] == before
    assert "The ski club" not in text_of(w)


def test_somebody_gets_it_for_a_reason(w: make.World) -> None:
    assert refused(w, replace(CLUB, to=" ")) == "to"
    assert refused(w, replace(CLUB, to="x" * 121)) == "to"
    assert refused(w, reason=" ") == "reason"
    assert refused(w, replace(CLUB, way=PlaceKind.BIN)) == "way"
    assert refused(w, replace(CLUB, currency="")) == "currency"
    assert refused(w, replace(CLUB, way=PlaceKind.GIVEN)) == "price"
    assert refused(w, units=0) == "units"
    assert refused(w, units=10_000) == "not-enough"


def test_only_what_is_on_a_shelf_leaves_this_way(w: make.World) -> None:
    assert refused(w, place=make.section(w.day_01)) == "place"
    with pytest.raises(NotAllowed):
        leave(w, who=w.stranger)
    with pytest.raises(NotAllowed):
        leave(w, who=w.guide)


def test_what_is_recalled_goes_to_nobody_and_what_is_out_of_date_only_once_they_know(
    w: make.World,
) -> None:
    old = make.some(w.dressing, w.shelf, 3, "OLD", make.days(30))
    Lot.objects.filter(pk=old.pk).update(expiry=make.days(-2))
    assert refused(w, lot=old) == "confirm-expired"
    leave(w, replace(CLUB, expired=True), lot=old)
    recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="OLD")
    assert refused(w, replace(CLUB, expired=True), units=1, lot=old) == "recalled"


def test_a_recall_later_says_who_got_it_to_whom_it_belongs(w: make.World) -> None:
    leave(w)
    recall = recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="D1")
    (gone,) = status.of(recall).gone
    assert (gone.how, gone.to, gone.units) == ("sold", "The ski club", 2)
    assert status.of(recall, make.actor(w.stranger)).gone == []
