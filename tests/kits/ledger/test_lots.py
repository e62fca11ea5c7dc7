"""Batches: one for each identity, in every room; and their facts put right."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.utils import timezone

from gearroom.core.acts import Invalid, NotAllowed, Refused
from kits.models import EntryKind, Holding, Label, LabelKind, Lot, LotFact, PlaceKind
from kits.services.kits import history
from kits.services.ledger import audit, lots, verdicts
from kits.services.ledger.book import room_place
from kits.services.recalls import recalls
from kits.services.stock import corrections, moving, reclassifying
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def correct(
    w: make.World, lot: Lot, why: str = "read off the pack", **facts: Any
) -> corrections.Correction:
    return corrections.correct(make.act(w.keeper, reason=why), lot, **facts)


# ---------------------------------------------------------------------------------------- identity
@pytest.mark.parametrize("typed", ["d2", " D2 ", "\uff242", "D2\t"])
def test_a_number_is_the_same_however_it_is_typed(w: make.World, typed: str) -> None:
    assert lots.known(item=w.dressing, number=typed, expiry=make.days(800)) == w.lots["d2"]


def test_spaces_between_are_one_space() -> None:
    assert lots.normal(" ab  12\n3 ") == "AB 12 3"


@pytest.mark.parametrize("number", ["x" * 41, "AB\x001", "A\u202eB"])
def test_it_refuses_what_is_no_makers_number(w: make.World, number: str) -> None:
    with pytest.raises(Invalid):
        lots.known(item=w.dressing, number=number)


def test_no_date_is_one_identity_and_not_many(w: make.World) -> None:
    assert lots.known(item=w.dressing) == lots.known(item=w.dressing)
    assert lots.known(item=w.dressing) != lots.known(item=w.shears)


def test_an_instrument_is_known_by_its_serial_alone(w: make.World) -> None:
    assert lots.known(item=w.gauge, serial="g-1") == w.lots["gauge"]
    with pytest.raises(Refused) as problem:
        lots.known(item=w.gauge, serial="G-1", number="OTHER")
    assert problem.value.code == "serial-known-otherwise"


def test_its_first_fact_is_written_by_the_entry_that_first_moves_it(w: make.World) -> None:
    fact = LotFact.objects.get(lot=w.lots["d2"])
    assert fact.entry.kind == EntryKind.RECEIVE
    assert (fact.number, fact.expiry) == ("D2", make.days(800))


# -------------------------------------------------------------------------------------- correcting
def test_a_wrong_date_is_put_right_by_a_new_fact_and_the_old_is_kept(w: make.World) -> None:
    correct(w, w.lots["d2"], expiry=make.days(700))
    assert Lot.objects.get(pk=w.lots["d2"].pk).expiry == make.days(700)
    believed = [f.expiry for f in LotFact.objects.filter(lot=w.lots["d2"])]
    assert believed == [make.days(800), make.days(700)]


def test_every_kit_that_holds_it_is_judged_again(w: make.World) -> None:
    assert make.fresh(w.day_01).fit_until == make.days(300)
    correct(w, w.dressings, expiry=make.days(20))
    assert make.fresh(w.day_01).fit_until == make.days(20)


def test_a_date_put_right_to_the_past_stops_the_kit(w: make.World) -> None:
    correct(w, w.dressings, expiry=make.days(-1))
    reasons = verdicts.verdict(make.fresh(w.day_01), make.today()).reasons
    assert "take-out" in {r.code for r in reasons}


def test_a_date_can_turn_out_not_to_be_known(w: make.World) -> None:
    correct(w, w.dressings, expiry=None)
    assert verdicts.verdict(
        make.fresh(w.day_01), make.today()
    ).may_go  # set up today: a day of grace
    with time_machine.travel(timezone.now() + timedelta(days=2), tick=False):
        assert not verdicts.verdict(make.fresh(w.day_01), make.days(2)).may_go


def test_what_was_known_then_does_not_change(w: make.World) -> None:
    before = history.contents(w.day_01)
    correct(w, w.dressings, number="D1B", expiry=make.days(20))
    then = history.contents(w.day_01, on=before.on, known_by=before.known_by)
    now = history.contents(w.day_01, on=before.on)
    assert then == before
    assert {(c.number, c.expiry) for c in now.lines if c.lot.item == w.dressing} == {
        ("D1B", make.days(20))
    }


def test_where_the_right_identity_is_a_batch_already_all_units_are_booked_over(
    w: make.World,
) -> None:
    done = correct(w, w.lots["d2"], number="D1", expiry=make.days(400))
    assert done.booked_over
    assert done.lot == w.dressings
    assert make.units(w.dressings, w.upper) == 10
    assert make.units(w.lots["d2"], w.upper) == 0
    assert done.entry.movements.count() == 2
    assert list(audit.findings()) == []


def test_booking_over_reaches_into_kits_and_judges_them(w: make.World) -> None:
    wrong = make.some(w.dressing, w.shelf, 4, "D1", make.days(40))
    make.put_in(w.day_02, wrong, w.shelf, 4)
    correct(w, wrong, expiry=make.days(400))
    assert make.units(w.dressings, make.section(w.day_02)) == 4
    lines = history.contents(w.day_02).lines
    assert {c.expiry for c in lines if c.lot.item == w.dressing} == {make.days(400)}


def test_what_a_batch_was_before_it_was_booked_over_is_known_now(w: make.World) -> None:
    wrong = make.some(w.dressing, w.shelf, 4, "TYPO", make.days(40))
    make.put_in(w.day_02, wrong, w.shelf, 4)
    before = history.contents(w.day_02)
    correct(w, wrong, number="D1", expiry=make.days(400))
    now = history.contents(w.day_02, on=before.on)
    assert {(c.number, c.expiry) for c in now.lines if c.lot.item == w.dressing} == {
        ("D1", make.days(400))
    }
    then = history.contents(w.day_02, on=before.on, known_by=before.known_by)
    assert then == before


def test_a_batch_that_was_booked_over_can_be_received_as_itself(w: make.World) -> None:
    correct(w, w.lots["d2"], number="D1", expiry=make.days(400))
    again = make.some(w.dressing, w.upper, 3, "D2", make.days(800))
    assert again == w.lots["d2"]
    assert list(audit.findings()) == []


def test_labels_stay_on_what_they_are_stuck_on(w: make.World) -> None:
    label = Label.objects.create(
        code="2345678X", kind=LabelKind.LOT, lot=w.lots["d2"], made_at=make.timezone.now()
    )
    correct(w, w.lots["d2"], number="D1", expiry=make.days(400))
    label.refresh_from_db()
    assert label.lot == w.dressings


def test_opened_packs_are_put_right_with_the_closed_ones(w: make.World) -> None:
    pouch = make.section(w.day_01, "pouch")
    opened = reclassifying.open_pack(
        make.act(w.guide), place=pouch, lot=w.lots["tablets"], units=3
    ).lot
    correct(w, w.lots["tablets"], expiry=make.days(10))
    opened.refresh_from_db()
    assert (opened.expiry, opened.opened_on) == (make.days(10), make.today())


def test_a_number_that_turns_out_to_be_recalled_sends_what_is_here_to_quarantine(
    w: make.World,
) -> None:
    recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="BAD")
    correct(w, w.lots["d2"], number="BAD")
    assert make.units(w.lots["d2"], room_place(w.store, PlaceKind.QUARANTINE)) == 10
    assert present(Lot.objects.get(pk=w.lots["d2"].pk).recall).number == "BAD"


def test_a_number_read_off_the_pack_clears_a_suspect_batch(w: make.World) -> None:
    unknown = make.some(w.dressing, w.shelf, 3, "", make.days(90))
    recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="BAD")
    assert Lot.objects.get(pk=unknown.pk).recall is not None
    correct(w, unknown, number="GOOD")
    assert Lot.objects.get(pk=unknown.pk).recall is None
    quarantine = room_place(w.store, PlaceKind.QUARANTINE)
    moving.move(make.act(w.keeper), lot=unknown, units=3, source=quarantine, target=w.shelf)


def test_nothing_to_correct_is_refused(w: make.World) -> None:
    with pytest.raises(Refused) as problem:
        correct(w, w.lots["d2"], number="d2", expiry=make.days(800))
    assert problem.value.code == "nothing-to-correct"


def test_a_correction_needs_a_reason(w: make.World) -> None:
    with pytest.raises(Invalid) as problem:
        correct(w, w.lots["d2"], why="", number="D3")
    assert "reason" in problem.value.facts["errors"]


def test_a_misprint_is_refused_and_nothing_changes(w: make.World) -> None:
    before = list(Holding.objects.values("lot", "place", "units"))
    with pytest.raises(Invalid):
        correct(w, w.lots["d2"], expiry=make.days(366 * 60))
    assert list(Holding.objects.values("lot", "place", "units")) == before


def test_guides_do_not_correct_batches(w: make.World) -> None:
    with pytest.raises(NotAllowed):
        corrections.correct(make.act(w.guide, reason="I looked"), w.lots["d2"], number="D3")
