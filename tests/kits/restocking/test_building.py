"""Building a kit from the shelf: as listed or as told, and never with what may not go in."""

from datetime import datetime
from typing import Any

import pytest

from gearroom.core.acts import Invalid, NotAllowed, Refused
from kits.models import AsFound, EntryKind, Holding, Lot, Place, PlaceKind, Seal, Withholding
from kits.rules.buying.bought_kit import Fate
from kits.rules.ledger.facts import Kind, Level
from kits.services.custody import custody
from kits.services.ledger import audit, kit_state, verdicts
from kits.services.ledger.book import Book, room_place
from kits.services.ledger.levels import LooseLevel
from kits.services.ledger.undo import reversal
from kits.services.recalls import recalls
from kits.services.restocking import building, sealing
from kits.services.restocking.sorting import PutIn
from kits.services.stock import counting, instruments, moving
from kits.services.stock.counting import CountLine
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def line(
    w: make.World, lot: Lot, units: Any, shelf: Place | None = None, key: str = "main"
) -> PutIn:
    return PutIn(lot, shelf or w.shelf, make.section(w.day_02, key), units)


def refused(w: make.World, *lines: PutIn) -> Refused:
    """Build with these lines; returns the refusal, after seeing that nothing was moved."""
    before = list(Holding.objects.order_by("pk").values())
    with pytest.raises(Refused) as problem:
        building.build(make.act(w.keeper), w.day_02, lines=lines)
    assert list(Holding.objects.order_by("pk").values()) == before
    assert not make.fresh(w.day_02).entries.filter(kind=EntryKind.BUILD).exists()
    return problem.value


def test_it_fills_a_kit_as_its_list_says_first_expired_first(w: make.World) -> None:
    done = building.build(make.act(w.keeper), w.day_02)
    assert make.units(w.lots["d1"], make.section(w.day_02)) == 6
    assert make.units(w.lots["tablets"], make.section(w.day_02, "pouch")) == 8
    assert done.wanted == []
    assert done.entry.kind == EntryKind.BUILD


def test_a_built_kit_is_fit_without_another_look(w: make.World) -> None:
    building.build(make.act(w.keeper), w.day_02)
    assert verdicts.verdict(make.fresh(w.day_02), make.today()).fit
    assert make.fresh(w.day_02).looked_inside_by == w.keeper


def test_a_kit_that_came_back_before_it_was_filled_is_sorted_by_filling_it(w: make.World) -> None:
    custody.check_out(make.act(w.keeper), w.day_02, person=w.guide, trip=None, already_gone=True)
    custody.check_in(make.act(w.guide), w.day_02, as_found=AsFound.SORT_LATER)
    assert make.fresh(w.day_02).to_sort_since is not None

    building.build(make.act(w.keeper), w.day_02)

    assert make.fresh(w.day_02).to_sort_since is None
    assert verdicts.verdict(make.fresh(w.day_02), make.today()).fit
    assert list(audit.findings()) == []


def test_it_says_what_is_not_in_stock(w: make.World) -> None:
    lines = [line(w, w.lots["d1"], 3), line(w, w.lots["shears"], 1)]
    done = building.build(make.act(w.keeper), w.day_02, lines=lines)
    wanted = {row.item: (row.units, row.below_minimum) for row in done.wanted}
    assert wanted == {w.dressing: (3, True), w.tablets: (8, True)}


def test_it_leaves_what_is_judged_by_eye_as_told(w: make.World) -> None:
    eye = [LooseLevel(make.section(w.day_02), w.plasters, Level.LOW)]
    building.build(make.act(w.keeper), w.day_02, lines=[line(w, w.lots["d1"], 6)], levels=eye)
    codes = {r.code for r in verdicts.verdict(make.fresh(w.day_02), make.today()).reasons}
    assert "low-by-eye" in codes


def test_it_refuses_what_went_out_of_date_yesterday(w: make.World) -> None:
    old = make.batch(w.dressing, "OLD", make.days(-1))
    counting.count(make.act(w.keeper), [w.upper], [CountLine(w.upper, 2, lot=old)], complete=False)
    problem = refused(w, line(w, old, 2, w.upper))
    assert problem.code == "expired"
    assert "OLD" in problem.detail


def test_it_puts_in_what_is_good_through_today_only(w: make.World) -> None:
    last_day = make.some(w.dressing, w.shelf, 5, "TODAY", make.today())
    done = building.build(make.act(w.keeper), w.day_02, lines=[line(w, last_day, 1)])
    assert done.put_in[0].lot == last_day


def test_it_refuses_what_its_maker_recalls(w: make.World) -> None:
    recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="D2")
    quarantine = room_place(w.store, PlaceKind.QUARANTINE)
    counting.count(make.act(w.keeper), [w.upper], [CountLine(w.upper, 1, lot=w.lots["d2"])])
    assert make.units(w.lots["d2"], quarantine) == 10
    assert refused(w, line(w, w.lots["d2"], 1, w.upper)).code == "recalled"


def test_it_refuses_an_instrument_that_failed_its_check(w: make.World) -> None:
    instruments.check(make.act(w.keeper), w.lots["gauge"], passed=False)
    assert refused(w, line(w, w.lots["gauge"], 1)).code == "failed-check"


def test_it_refuses_a_batch_that_is_kept_back(w: make.World) -> None:
    entry = present(make.fresh(w.day_01).entries.first())
    Withholding.objects.create(lot=w.lots["d2"], kind="something-wrong", since=entry)
    assert refused(w, line(w, w.lots["d2"], 1, w.upper)).code == "withheld"


@pytest.mark.parametrize("what", ["sterile", "medicine"])
def test_it_refuses_what_must_have_a_date_and_has_none(w: make.World, what: str) -> None:
    thing = w.dressing if what == "sterile" else w.tablets
    undated = make.some(thing, w.shelf, 5, "NO-DATE")
    assert refused(w, line(w, undated, 1)).code == "undated"


def test_it_takes_a_thing_without_a_date_that_needs_none(w: make.World) -> None:
    building.build(make.act(w.keeper), w.day_02, lines=[line(w, w.lots["shears"], 1)])
    assert make.units(w.lots["shears"], make.section(w.day_02)) == 1


def test_it_refuses_a_medicine_that_its_list_does_not_ask_for(w: make.World) -> None:
    other = make.item("Sickness tablets", Kind.MEDICINE, base_unit="tablet")
    lot = make.some(other, w.shelf, 10, "S1", make.days(90))
    assert refused(w, line(w, lot, 1)).code == "unsigned-medicine"


@pytest.mark.parametrize("signed_until", [None, -1])
def test_it_refuses_a_medicine_where_the_list_is_not_signed_today(
    w: make.World, signed_until: int | None
) -> None:
    w.version.signed_until = make.days(signed_until) if signed_until else None
    if signed_until is None:
        w.version.signed_by = w.version.signed_on = None
    else:
        w.version.signed_on = make.days(-30)
    w.version.save()
    assert refused(w, line(w, w.lots["tablets"], 1, key="pouch")).code == "unsigned-medicine"


def test_it_takes_a_medicine_that_will_do_instead_of_a_listed_one(w: make.World) -> None:
    instead = make.item("Other pain tablets", Kind.MEDICINE, base_unit="tablet")
    w.tablets.substitutes.create(instead=instead)
    lot = make.some(instead, w.shelf, 10, "O1", make.days(90))
    building.build(make.act(w.keeper), w.day_02, lines=[line(w, lot, 4, key="pouch")])
    assert make.units(lot, make.section(w.day_02, "pouch")) == 4


def test_it_refuses_training_stock_except_in_a_training_kit(w: make.World) -> None:
    box = room_place(w.store, PlaceKind.TRAINING)
    moving.move(make.act(w.keeper), lot=w.lots["d1"], units=2, source=w.shelf, target=box)
    assert refused(w, line(w, w.lots["d1"], 1, box)).code == "training-stock"
    drill = make.kit("DRILL-01", w.version, w.store, training=True)
    row = PutIn(w.lots["d1"], box, make.section(drill), 2)
    building.build(make.act(w.keeper), drill, lines=[row])
    assert make.units(w.lots["d1"], make.section(drill)) == 2


def test_it_names_every_fault_at_once_the_gravest_first(w: make.World) -> None:
    undated = make.some(w.dressing, w.shelf, 5, "NO-DATE")
    instruments.check(make.act(w.keeper), w.lots["gauge"], passed=False)
    problem = refused(w, line(w, undated, 1), line(w, w.lots["gauge"], 1))
    assert [f["code"] for f in problem.facts["faults"]] == ["failed-check", "undated"]
    assert "G-1" in problem.detail
    assert "NO-DATE" in problem.detail


def test_it_refuses_more_than_the_shelf_holds(w: make.World) -> None:
    problem = refused(w, line(w, w.lots["d1"], 13))
    assert problem.code == "not-enough"
    assert problem.facts["held"] == 12


@pytest.mark.parametrize("units", [0, -1, 1.5, 2.0, "3", True, 10**9])
def test_it_refuses_numbers_that_are_none(w: make.World, units: Any) -> None:
    with pytest.raises(Invalid):
        building.build(make.act(w.keeper), w.day_02, lines=[line(w, w.lots["d1"], units)])


def test_it_takes_from_shelves_of_the_kits_own_room_only(w: make.World) -> None:
    there = make.some(w.dressing, w.hut_shelf, 5, "H", make.days(90))
    with pytest.raises(Invalid, match="Main store"):
        building.build(make.act(w.keeper), w.day_02, lines=[line(w, there, 1, w.hut_shelf)])


def test_it_does_not_count_what_is_judged_by_eye(w: make.World) -> None:
    box = make.some(w.plasters, w.shelf, 20)
    with pytest.raises(Invalid, match="is loose"):
        building.build(make.act(w.keeper), w.day_02, lines=[line(w, box, 1)])


def test_it_does_not_build_a_kit_that_somebody_has(w: make.World) -> None:
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide)
    with pytest.raises(Refused) as problem:
        building.build(make.act(w.keeper), w.day_01)
    assert problem.value.code == "kit-is-out"
    assert problem.value.facts["person_name"] == "Gil"


def test_it_breaks_the_seal_of_what_it_opens(w: make.World) -> None:
    sealing.reseal(make.act(w.keeper), w.day_02, "417", anyway=True)
    building.build(make.act(w.keeper), w.day_02)
    assert present(Seal.objects.get(number="417").broken).kind == EntryKind.BUILD


def test_a_guide_does_not_build_kits(w: make.World) -> None:
    with pytest.raises(NotAllowed):
        building.build(make.act(w.guide), w.day_02)


def test_the_book_is_in_balance_afterwards(w: make.World) -> None:
    building.build(make.act(w.keeper), w.day_02)
    assert list(audit.findings()) == []


# ---------------------------------------------------------------------------------- needs sorting
def came_back(w: make.World) -> datetime | None:
    """DAY-02 handed back to be sorted later; since when it waits."""
    custody.check_in(make.act(w.guide), w.day_02, as_found=AsFound.SORT_LATER)
    return make.fresh(w.day_02).to_sort_since


def test_a_kit_whose_contents_were_just_entered_needs_no_sorting(w: make.World) -> None:
    came_back(w)

    building.build(make.act(w.keeper), w.day_02)

    assert make.fresh(w.day_02).to_sort_since is None
    assert verdicts.verdict(make.fresh(w.day_02), make.today()).fit
    assert list(audit.findings()) == []


def test_a_kit_whose_building_is_taken_back_waits_again(w: make.World) -> None:
    since = came_back(w)
    done = building.build(make.act(w.keeper), w.day_02)

    reversal.reverse(make.act(w.keeper), done.entry.pk)

    assert make.fresh(w.day_02).to_sort_since == since
    assert list(audit.findings()) == []


def test_a_building_of_an_earlier_edition_ended_no_sorting(w: make.World) -> None:
    """Its entry does not say so, and what is stored follows from the entries."""
    since = came_back(w)
    with Book(make.act(w.keeper)) as book:
        (kit,) = book.lock(w.day_02.pk)
        book.post(EntryKind.BUILD, kit=kit, detail={"looked_inside": True})
        kit_state.rewrite_looks(kit)

    assert kit_state.waiting(make.fresh(w.day_02)).to_sort_since == since
    assert list(audit.findings()) == []


def test_a_thing_that_came_in_a_bought_kit_is_not_all_of_it_and_ends_no_sorting(
    w: make.World,
) -> None:
    since = came_back(w)
    thing = building.BoughtItem(
        w.dressing, 2, Fate.KEEP, number="D9", expiry=make.days(90), section=make.section(w.day_02)
    )

    building.strip(make.act(w.keeper), w.day_02, [thing])

    assert make.fresh(w.day_02).to_sort_since == since
    assert list(audit.findings()) == []
