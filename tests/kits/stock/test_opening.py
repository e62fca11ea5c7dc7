"""An opened pack with a shortened life is a batch of its own, good for the shorter time."""

from typing import Any

import pytest

from gearroom.core.acts import Invalid, Refused
from kits.models import EntryKind, Lot, LotFact, Place
from kits.rules.ledger.expiry import good_through
from kits.services.ledger import audit, readiness
from kits.services.stock import reclassifying
from tests.kits import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def open_tablets(
    w: make.World, units: Any = 4, place: Place | None = None
) -> reclassifying.OpenedPack:
    return reclassifying.open_pack(
        make.act(w.guide),
        place=place or make.section(w.day_01, "pouch"),
        lot=w.lots["tablets"],
        units=units,
    )


def test_opened_units_become_a_batch_of_their_own(w: make.World) -> None:
    done = open_tablets(w)
    pouch = make.section(w.day_01, "pouch")
    assert (make.units(w.lots["tablets"], pouch), make.units(done.lot, pouch)) == (4, 4)
    assert (done.lot.number, done.lot.opened_on) == ("T1", make.today())
    assert done.entry.kind == EntryKind.OPEN


def test_they_are_good_for_the_shorter_of_their_two_dates(w: make.World) -> None:
    lot = Lot.objects.select_related("item").get(pk=open_tablets(w).lot.pk)
    assert good_through(readiness.batches([lot])[lot.pk]) == make.days(90)


def test_the_kit_that_holds_them_is_judged_again(w: make.World) -> None:
    before = make.fresh(w.day_01).fit_until
    open_tablets(w, units=8)
    assert before == make.days(300)
    assert make.fresh(w.day_01).fit_until == make.days(90)


def test_units_opened_on_one_day_are_one_batch(w: make.World) -> None:
    assert open_tablets(w, units=2).lot == open_tablets(w, units=2).lot


def test_its_facts_are_written_with_the_entry_that_opened_it(w: make.World) -> None:
    done = open_tablets(w)
    fact = LotFact.objects.get(lot=done.lot)
    assert (fact.entry, fact.number, fact.expiry) == (done.entry, "T1", make.days(300))


def test_it_refuses_what_keeps_as_long_once_opened(w: make.World) -> None:
    with pytest.raises(Refused) as problem:
        reclassifying.open_pack(make.act(w.guide), place=w.shelf, lot=w.dressings, units=1)
    assert problem.value.code == "no-opened-life"


def test_it_refuses_to_open_what_is_open(w: make.World) -> None:
    opened = open_tablets(w).lot
    with pytest.raises(Refused) as problem:
        reclassifying.open_pack(
            make.act(w.guide), place=make.section(w.day_01, "pouch"), lot=opened, units=1
        )
    assert problem.value.code == "opened-already"


def test_it_opens_no_more_than_there_is(w: make.World) -> None:
    with pytest.raises(Refused) as problem:
        open_tablets(w, units=9)
    assert problem.value.code == "not-enough"
    assert not Lot.objects.filter(opened_on__isnull=False).exists()


@pytest.mark.parametrize("units", [0, -1, 0.5, "1", True])
def test_it_refuses_numbers_that_are_none(w: make.World, units: Any) -> None:
    with pytest.raises(Invalid):
        open_tablets(w, units=units)


def test_the_book_is_in_balance_afterwards(w: make.World) -> None:
    open_tablets(w)
    open_tablets(w, units=3, place=w.shelf)
    assert list(audit.findings()) == []
