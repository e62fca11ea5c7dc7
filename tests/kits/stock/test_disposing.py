"""Throwing out: each thing its own way, and never a needle into the bin."""

from typing import Any

import pytest

from gearroom.core.acts import Invalid, NotAllowed, Refused
from kits.models import Disposal, Entry, EntryKind, Holding, Lot, Movement, Place, PlaceKind
from kits.services.ledger import verdicts
from kits.services.ledger.book import room_place
from kits.services.ledger.undo import reversal
from kits.services.stock import disposing
from tests.kits import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def dispose(
    w: make.World,
    lot: Lot,
    units: Any,
    place: Place | None = None,
    why: str = "torn open",
    **more: Disposal,
) -> Entry:
    return disposing.dispose(
        make.act(w.keeper, reason=why), place=place or w.shelf, lot=lot, units=units, **more
    )


def went(entry: Entry) -> str:
    return Movement.objects.get(entry=entry).to_place.kind


def test_each_thing_goes_its_own_way_unless_told_otherwise(w: make.World) -> None:
    needle = make.some(make.item("Needle", needs_date=False, disposal="sharps"), w.shelf, 5)
    assert went(dispose(w, w.dressings, 1)) == PlaceKind.BIN
    assert went(dispose(w, w.lots["tablets"], 1)) == PlaceKind.PHARMACY
    assert went(dispose(w, needle, 1)) == PlaceKind.SHARPS
    assert went(dispose(w, w.dressings, 1, disposal=Disposal.RETURNED)) == PlaceKind.RETURNED


@pytest.mark.parametrize("wrong", ["bin", "clinical", "pharmacy"])
def test_it_refuses_sharps_in_a_wrong_bin_and_says_the_right_one(w: make.World, wrong: str) -> None:
    needle = make.some(make.item("Needle", needs_date=False, disposal="sharps"), w.shelf, 5)
    with pytest.raises(Refused, match="sharps tub") as problem:
        dispose(w, needle, 1, disposal=Disposal(wrong))
    assert problem.value.code == "wrong-bin"
    assert make.units(needle, w.shelf) == 5


@pytest.mark.parametrize("wrong", ["bin", "sharps", "clinical"])
def test_it_refuses_medicines_in_a_wrong_bin(w: make.World, wrong: str) -> None:
    with pytest.raises(Refused, match="pharmacy"):
        dispose(w, w.lots["tablets"], 1, disposal=Disposal(wrong))


def test_what_is_still_good_needs_a_reason(w: make.World) -> None:
    with pytest.raises(Invalid) as problem:
        dispose(w, w.dressings, 1, why="")
    assert "reason" in problem.value.facts["errors"]


def test_what_is_out_of_date_says_so_itself(w: make.World) -> None:
    old = make.some(w.dressing, w.shelf, 4, "OLD", make.days(-1))
    entry = dispose(w, old, 4, room_place(w.store, PlaceKind.QUARANTINE), why="")
    assert (entry.kind, entry.reason) == (EntryKind.DISPOSE, "expired")


def test_throwing_out_of_a_kit_judges_it_again(w: make.World) -> None:
    dispose(w, w.dressings, 6, make.section(w.day_01))
    assert not verdicts.verdict(make.fresh(w.day_01), make.today()).may_go
    assert make.fresh(w.day_01).may_go_until is None


def test_it_throws_out_no_more_than_there_is(w: make.World) -> None:
    with pytest.raises(Refused) as problem:
        dispose(w, w.dressings, 13)
    assert problem.value.code == "not-enough"


@pytest.mark.parametrize("units", [0, -1, 0.5, "1", False, 1_000_001])
def test_it_refuses_numbers_that_are_none(w: make.World, units: Any) -> None:
    before = list(Holding.objects.values("lot", "place", "units"))
    with pytest.raises(Invalid):
        dispose(w, w.dressings, units)
    assert list(Holding.objects.values("lot", "place", "units")) == before


def test_only_keepers_throw_out(w: make.World) -> None:
    with pytest.raises(NotAllowed):
        disposing.dispose(make.act(w.guide, reason="torn"), place=w.shelf, lot=w.dressings, units=1)


# ------------------------------------------------------------------------------ many things at once
def test_all_that_is_out_of_date_stands_with_its_bin_and_nothing_else_does(w: make.World) -> None:
    old = make.some(w.dressing, w.upper, 4, "OLD", make.days(-1))
    pills = make.some(w.tablets, w.shelf, 6, "OLD-T", make.days(-30))
    make.some(w.dressing, w.hut_shelf, 2, "OLD-H", make.days(-5))
    make.some(w.dressing, w.shelf, 1, "TODAY", make.days(0))

    Lot.objects.filter(pk=w.lots["d2"].pk).update(expiry=make.days(-3))  # time went by

    rows = disposing.out_of_date(w.store)

    quarantine = room_place(w.store, PlaceKind.QUARANTINE)
    assert {(row.lot, row.place, row.units, row.disposal) for row in rows} == {
        (old, quarantine, 4, Disposal.BIN),
        (pills, quarantine, 6, Disposal.PHARMACY),
        (w.lots["d2"], w.upper, 10, Disposal.BIN),
    }


def test_they_go_in_one_act_that_is_undone_in_one(w: make.World) -> None:
    make.some(w.dressing, w.upper, 4, "OLD", make.days(-1))
    make.some(w.tablets, w.shelf, 6, "OLD-T", make.days(-30))
    before = list(Holding.objects.order_by("pk").values("lot", "place", "units"))

    entry = disposing.dispose_all(make.act(w.keeper), w.store, disposing.out_of_date(w.store))

    assert (entry.kind, entry.reason) == (EntryKind.DISPOSE, "expired")
    assert disposing.out_of_date(w.store) == []
    reversal.reverse(make.act(w.keeper), entry.pk)
    assert list(Holding.objects.order_by("pk").values("lot", "place", "units")) == before


def test_one_that_may_not_go_keeps_all_of_them(w: make.World) -> None:
    old = make.some(w.dressing, w.upper, 4, "OLD", make.days(-1))
    rows = [*disposing.out_of_date(w.store), disposing.Outgoing(w.shelf, w.dressings, 1)]

    with pytest.raises(Invalid, match="still good"):
        disposing.dispose_all(make.act(w.keeper), w.store, rows)

    assert make.units(old, room_place(w.store, PlaceKind.QUARANTINE)) == 4


def test_nothing_of_a_kit_or_another_room_goes_along(w: make.World) -> None:
    for place in (make.section(w.day_01), w.hut_shelf):
        rows = [disposing.Outgoing(place, w.dressings, 1)]
        with pytest.raises(Invalid, match="is not in Main store"):
            disposing.dispose_all(make.act(w.keeper, reason="wet"), w.store, rows)
    with pytest.raises(Invalid, match="Choose what"):
        disposing.dispose_all(make.act(w.keeper), w.store, [])
    with pytest.raises(NotAllowed):
        disposing.dispose_all(make.act(w.guide), w.store, [])
