"""Throwing out: each thing its own way, and never a needle into the bin."""

import pytest

from gearroom.core.problems import Invalid, NotAllowed, Refused
from kits.models import Disposal, EntryKind, Holding, Movement, PlaceKind
from kits.services import disposing, fitness
from kits.services.ledger import room_place
from tests.kits import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def w():
    return make.world()


def dispose(w, lot, units, place=None, why="torn open", **more):
    return disposing.dispose(
        make.act(w.keeper, reason=why), place=place or w.shelf, lot=lot, units=units, **more
    )


def went(entry):
    return Movement.objects.get(entry=entry).to_place.kind


def test_each_thing_goes_its_own_way_unless_told_otherwise(w):
    needle = make.some(make.item("Needle", needs_date=False, disposal="sharps"), w.shelf, 5)
    assert went(dispose(w, w.dressings, 1)) == PlaceKind.BIN
    assert went(dispose(w, w.lots["tablets"], 1)) == PlaceKind.PHARMACY
    assert went(dispose(w, needle, 1)) == PlaceKind.SHARPS
    assert went(dispose(w, w.dressings, 1, disposal=Disposal.RETURNED)) == PlaceKind.RETURNED


@pytest.mark.parametrize("wrong", ["bin", "clinical", "pharmacy"])
def test_it_refuses_sharps_in_a_wrong_bin_and_says_the_right_one(w, wrong):
    needle = make.some(make.item("Needle", needs_date=False, disposal="sharps"), w.shelf, 5)
    with pytest.raises(Refused, match="sharps tub") as problem:
        dispose(w, needle, 1, disposal=Disposal(wrong))
    assert problem.value.code == "wrong-bin"
    assert make.units(needle, w.shelf) == 5


@pytest.mark.parametrize("wrong", ["bin", "sharps", "clinical"])
def test_it_refuses_medicines_in_a_wrong_bin(w, wrong):
    with pytest.raises(Refused, match="pharmacy"):
        dispose(w, w.lots["tablets"], 1, disposal=Disposal(wrong))


def test_what_is_still_good_needs_a_reason(w):
    with pytest.raises(Invalid) as problem:
        dispose(w, w.dressings, 1, why="")
    assert "reason" in problem.value.facts["errors"]


def test_what_is_out_of_date_says_so_itself(w):
    old = make.some(w.dressing, w.shelf, 4, "OLD", make.days(-1))
    entry = dispose(w, old, 4, room_place(w.store, PlaceKind.QUARANTINE), why="")
    assert (entry.kind, entry.reason) == (EntryKind.DISPOSE, "expired")


def test_throwing_out_of_a_kit_judges_it_again(w):
    dispose(w, w.dressings, 6, make.section(w.day_01))
    assert not fitness.verdict(make.fresh(w.day_01), make.TODAY).may_go
    assert make.fresh(w.day_01).may_go_until is None


def test_it_throws_out_no_more_than_there_is(w):
    with pytest.raises(Refused) as problem:
        dispose(w, w.dressings, 13)
    assert problem.value.code == "not-enough"


@pytest.mark.parametrize("units", [0, -1, 0.5, "1", False, 1_000_001])
def test_it_refuses_numbers_that_are_none(w, units):
    before = list(Holding.objects.values("lot", "place", "units"))
    with pytest.raises(Invalid):
        dispose(w, w.dressings, units)
    assert list(Holding.objects.values("lot", "place", "units")) == before


def test_only_keepers_throw_out(w):
    with pytest.raises(NotAllowed):
        disposing.dispose(make.act(w.guide, reason="torn"), place=w.shelf, lot=w.dressings, units=1)
