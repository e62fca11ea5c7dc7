"""A maker recalls a batch: who has it certainly, who maybe, who was told, what they found."""

from typing import Any

import pytest

from gearroom.core.acts import Invalid, NotAllowed, NotFound, Refused
from gearroom.core.models import Person
from kits.models import (
    AsFound,
    EntryKind,
    Kit,
    Lot,
    Notice,
    PlaceKind,
    Recall,
    RecallPlace,
    Trip,
    WithheldKind,
    Withholding,
)
from kits.services.custody import custody, use
from kits.services.ledger import audit, verdicts
from kits.services.ledger.book import room_place
from kits.services.recalls import recalls, status
from kits.services.recalls.recalls import Answer
from kits.services.stock import counting, moving, receiving
from kits.services.stock.counting import CountLine
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def start(
    w: make.World, scope: str = "number", number: str = "D1", who: Person | None = None, **more: str
) -> Recall:
    return recalls.start(
        make.act(who or w.keeper), item=w.dressing, scope=scope, number=number, **more
    )


def rows(recall: Recall) -> dict[Any, Any]:
    return {
        row.place.kit.name if row.place.kit else row.place.name: row
        for row in RecallPlace.objects.filter(recall=recall).select_related("place__kit", "person")
    }


def summed_up(recall: Recall) -> dict[Any, Any]:
    return {
        name: (row.certainty, row.units_min, row.units_max, row.quarantined)
        for name, row in rows(recall).items()
    }


def codes(kit: Kit) -> set[Any]:
    reasons = verdicts.verdict(make.fresh(kit), make.today()).reasons
    return {(r.code, str(r.facts.get("cause", r.facts.get("reason", "")))) for r in reasons}


@pytest.fixture
def mixed(w: make.World) -> Trip:
    """DAY-01 holds 6 of D1 and 2 of D2; two were used and nobody looked which."""
    make.put_in(w.day_01, w.lots["d2"], w.upper, 2)
    trip = make.trip("Crag day", w.store)
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide, trip=trip, short_reason="ok")
    custody.check_in(
        make.act(w.guide),
        w.day_01,
        as_found=AsFound.OPENED,
        used=[use.UseLine(w.dressing, 2)],
    )
    return trip


# ---------------------------------------------------------------------------------------- starting
def test_what_is_on_shelves_goes_to_quarantine_in_the_recalls_own_entry(w: make.World) -> None:
    recall = start(w)
    assert make.units(w.dressings, w.shelf) == 0
    assert make.units(w.dressings, room_place(w.store, PlaceKind.QUARANTINE)) == 12
    assert recall.entry.kind == EntryKind.RECALL
    assert recall.entry.movements.count() == 1


def test_stock_set_aside_and_on_its_way_goes_to_the_quarantine_of_its_room(w: make.World) -> None:
    moving.send(make.act(w.keeper), lot=w.dressings, units=3, source=w.shelf, room=w.hut)
    box = room_place(w.store, PlaceKind.TRAINING)
    moving.move(make.act(w.keeper), lot=w.dressings, units=2, source=w.shelf, target=box)
    start(w)
    assert make.units(w.dressings, room_place(w.store, PlaceKind.QUARANTINE)) == 9
    assert make.units(w.dressings, room_place(w.hut, PlaceKind.QUARANTINE)) == 3


def test_it_lists_the_places_that_certainly_held_it(w: make.World) -> None:
    assert summed_up(start(w)) == {
        "C2": ("certain", 12, 12, 12),
        "DAY-01": ("certain", 6, 6, 0),
    }


def test_a_kit_that_holds_it_does_not_go_until_it_is_out(w: make.World) -> None:
    assert verdicts.verdict(w.day_01, make.today()).fit
    start(w)
    assert ("take-out", "recalled") in codes(w.day_01)
    assert make.fresh(w.day_01).may_go_until is None


def test_other_batches_of_the_thing_stay_where_they_are(w: make.World) -> None:
    start(w)
    assert make.units(w.lots["d2"], w.upper) == 10
    assert Lot.objects.get(pk=w.lots["d2"].pk).recall is None


def test_all_of_a_thing_can_be_recalled(w: make.World) -> None:
    recall = start(w, scope="all", number="")
    assert make.units(w.lots["d2"], w.upper) == 0
    assert summed_up(recall)["DAY-01"] == ("certain", 6, 6, 0)


def test_while_no_number_is_known_every_batch_is_suspect_and_nothing_certain(w: make.World) -> None:
    recall = start(w, scope="not-known", number="")
    assert summed_up(recall)["DAY-01"] == ("maybe", 0, 6, 0)
    assert ("take-out", "recalled") in codes(w.day_01)


def test_a_batch_without_a_number_may_be_the_recalled_one(w: make.World) -> None:
    unknown = make.some(w.dressing, w.upper, 3, "", make.days(90))
    recall = start(w, number="ELSE")
    assert Lot.objects.get(pk=unknown.pk).recall == recall
    assert summed_up(recall) == {"C3": ("maybe", 0, 3, 3)}


def test_a_tap_that_did_not_say_which_leaves_a_kit_that_may_hold_it(
    w: make.World, mixed: Trip
) -> None:
    recall = start(w, number="D2")
    assert summed_up(recall)["DAY-01"] == ("maybe", 0, 2, 0)


def test_a_tap_that_did_not_say_which_widens_what_is_certain(w: make.World, mixed: Trip) -> None:
    assert summed_up(start(w))["DAY-01"] == ("certain", 4, 6, 0)


def test_a_kit_that_may_hold_more_than_the_book_names_is_kept_back_until_looked_at(
    w: make.World, mixed: Trip
) -> None:
    counting.count(
        make.act(w.keeper),
        [make.section(w.day_01)],
        [CountLine(make.section(w.day_01), 6, item=w.dressing)],
        complete=False,
    )
    start(w)
    assert ("withheld", "recall") in codes(w.day_01)


def test_a_count_that_named_every_batch_makes_it_certain_again(w: make.World, mixed: Trip) -> None:
    main = make.section(w.day_01)
    held = [
        CountLine(main, count, lot=lot)
        for lot in w.lots.values()
        if (count := make.units(lot, main))
    ]
    counting.count(make.act(w.keeper), [main], held)
    assert summed_up(start(w))["DAY-01"] == ("certain", 4, 4, 0)


def test_who_has_the_kit_now_is_who_is_asked(w: make.World) -> None:
    custody.check_out(
        make.act(w.keeper), w.day_01, person=w.guide, short_reason="the plasters are low"
    )
    assert rows(start(w))["DAY-01"].person == w.guide


def test_who_answers_for_a_kit_at_home_is_who_is_asked(w: make.World) -> None:
    assert rows(start(w))["DAY-01"].person == w.instructor


def test_everybody_concerned_is_told_once(w: make.World) -> None:
    custody.check_out(
        make.act(w.keeper), w.day_01, person=w.guide, short_reason="the plasters are low"
    )
    start(w, reference="FSN-0031", advice="Do not use.")
    told = Notice.objects.filter(kind="recall")
    assert {n.person for n in told} == {w.guide, w.instructor, w.keeper}
    assert told.count() == 3
    assert told.get(person=w.guide).facts["advice"] == "Do not use."
    (kit,) = told.get(person=w.guide).facts["kits"]
    assert (kit["name"], kit["certainty"]) == ("DAY-01", "certain")


def test_what_arrives_later_is_recalled_when_it_arrives(w: make.World) -> None:
    recall = start(w, number="LATER")
    done = receiving.receive(
        make.act(w.keeper), item=w.dressing, units=2, number="later", expiry=make.days(9),
        shelf=w.shelf,
    )  # fmt: skip
    assert done.lot.recall == recall
    assert done.place.kind == PlaceKind.QUARANTINE


def test_the_same_recall_is_started_once(w: make.World) -> None:
    first = start(w)
    with pytest.raises(Refused) as problem:
        start(w, number=" d1 ")
    assert problem.value.code == "recalled-already"
    assert problem.value.facts["recall"] == first.pk
    assert Recall.objects.count() == 1


@pytest.mark.parametrize(
    ("scope", "number"), [("number", ""), ("number", "  "), ("all", "D1"), ("not-known", "D1")]
)
def test_a_number_goes_with_the_scope_number_and_only_with_it(
    w: make.World, scope: str, number: str
) -> None:
    with pytest.raises(Invalid):
        start(w, scope=scope, number=number)
    assert not Recall.objects.exists()


def test_an_adviser_may_start_one_and_a_guide_may_not(w: make.World) -> None:
    start(w, who=w.adviser)
    with pytest.raises(NotAllowed):
        start(w, number="D2", who=w.guide)


# ---------------------------------------------------------------------------------------- answering
def answer(
    w: make.World,
    recall: Recall,
    said: Answer,
    kit: str = "DAY-01",
    who: Person | None = None,
    **more: Any,
) -> RecallPlace:
    return recalls.answer(make.act(who or w.guide), rows(recall)[kit], said, **more)


def test_what_was_taken_out_goes_to_quarantine_and_the_rest_is_judged(w: make.World) -> None:
    recall = start(w)
    row = answer(w, recall, Answer.TAKEN_OUT, removed=6)
    assert make.units(w.dressings, make.section(w.day_01)) == 0
    assert make.units(w.dressings, room_place(w.store, PlaceKind.QUARANTINE)) == 18
    assert (row.quarantined, row.answered_by, row.answer) == (6, w.guide, "taken-out")
    assert ("take-out", "recalled") not in codes(w.day_01)
    assert ("short", "missing") in codes(w.day_01)


def test_whoever_has_it_answers_even_from_another_room_and_nobody_else_there(w: make.World) -> None:
    recall = start(w)
    with pytest.raises(NotFound):
        answer(w, recall, Answer.TAKEN_OUT, removed=6, who=w.stranger)
    custody.check_out(make.act(w.keeper), w.day_01, person=w.stranger, already_gone=True)
    row = answer(w, recall, Answer.TAKEN_OUT, removed=6, who=w.stranger)
    assert row.answered is not None


def test_none_there_lets_a_kit_go_that_was_kept_back(w: make.World, mixed: Trip) -> None:
    recall = start(w, number="D2")
    counting.count(
        make.act(w.keeper),
        [make.section(w.day_01)],
        [CountLine(make.section(w.day_01), 0, lot=w.lots["d2"])],
        complete=False,
    )
    Withholding.objects.create(kit=w.day_01, kind=WithheldKind.RECALL, since=recall.entry)
    answer(w, recall, Answer.NONE_THERE)
    assert ("withheld", "recall") not in codes(w.day_01)


def test_will_look_is_no_answer_yet(w: make.World) -> None:
    recall = start(w)
    row = answer(w, recall, Answer.WILL_LOOK)
    assert (row.answer, row.answered) == ("will-look", None)


def test_none_there_where_the_book_has_some_is_irregular_and_keeps_the_kit_back(
    w: make.World,
) -> None:
    recall = start(w)
    row = answer(w, recall, Answer.NONE_THERE)
    assert present(row.answered).irregular == ["book-says-otherwise"]
    assert ("take-out", "recalled") in codes(w.day_01)


def test_units_found_beyond_the_books_were_booked_as_another_batch(w: make.World) -> None:
    make.put_in(w.day_01, w.lots["d2"], w.upper, 2)
    recall = start(w)
    answer(w, recall, Answer.TAKEN_OUT, removed=7)
    main = make.section(w.day_01)
    assert make.units(w.dressings, main) == 0
    assert make.units(w.lots["d2"], main) == 1
    assert make.units(w.dressings, room_place(w.store, PlaceKind.QUARANTINE)) == 19


def test_units_found_that_no_book_had_are_written_as_found(w: make.World) -> None:
    recall = start(w)
    row = answer(w, recall, Answer.TAKEN_OUT, removed=8)
    assert present(row.answered).irregular == ["found-more-than-the-book-held"]
    assert make.units(w.dressings, room_place(w.store, PlaceKind.QUARANTINE)) == 20
    assert list(audit.findings()) == []


@pytest.mark.parametrize("removed", [0, -1, 1.5, "2", True, 1_000_001])
def test_taken_out_says_how_many(w: make.World, removed: Any) -> None:
    recall = start(w)
    with pytest.raises(Invalid):
        answer(w, recall, Answer.TAKEN_OUT, removed=removed)


def test_nothing_is_removed_by_another_answer(w: make.World) -> None:
    recall = start(w)
    with pytest.raises(Invalid):
        answer(w, recall, Answer.NONE_THERE, removed=1)


def test_it_is_on_record_who_was_told_by_phone(w: make.World) -> None:
    recall = start(w)
    recalls.mark_informed(make.act(w.keeper), rows(recall)["DAY-01"])
    (kit,) = [p for p in status.of(recall).places if p.place.kit]
    assert kit.told_at is not None


# ----------------------------------------------------------------------------------------- standing
def test_it_says_how_it_stands_place_by_place(w: make.World) -> None:
    recall = start(w)
    answer(w, recall, Answer.TAKEN_OUT, removed=6)
    stands = status.of(recall)
    assert {(p.place.name, p.booked) for p in stands.places} == {("C2", 0), ("Main", 0)}
    assert [(p.name, units) for p, units in stands.quarantine] == [("quarantine, Main store", 18)]
    assert [lot.number for lot in stands.lots] == ["D1"]


def test_somebody_is_told_when_the_notice_was_sent_and_not_before(w: make.World) -> None:
    recall = start(w)
    (kit,) = [p for p in status.of(recall).places if p.place.kit]
    assert kit.told_at is None
    Notice.objects.filter(person=w.instructor).update(
        sent_at=make.timezone.now(), message_id="<1@gear.example>"
    )
    (kit,) = [p for p in status.of(recall).places if p.place.kit]
    assert kit.told_at is not None


def test_it_names_the_trips_on_which_it_was_used_and_how_sure_that_is(
    w: make.World, mixed: Trip
) -> None:
    use.log_use(make.act(w.guide), w.day_01, [use.UseLine(w.dressing, 1, lot=w.dressings)])
    gone = status.of(start(w)).gone
    assert {(g.how, g.certainty, g.trip, g.kit, g.units) for g in gone} == {
        ("used", "maybe", mixed, w.day_01, 2),
        ("used", "certain", mixed, w.day_01, 1),
    }


def test_a_tap_booked_to_another_batch_may_have_been_of_this_one(
    w: make.World, mixed: Trip
) -> None:
    gone = status.of(start(w, number="D2")).gone
    assert [(g.certainty, g.units) for g in gone] == [("maybe", 2)]


def test_what_a_count_brings_into_a_kit_later_is_followed_too(w: make.World) -> None:
    recall = start(w, number="D2")
    main = make.section(w.day_02)
    counting.count(make.act(w.keeper), [main], [CountLine(main, 1, lot=w.lots["d2"])])
    (later,) = [p for p in status.of(recall).places if p.place == main]
    assert (later.row, later.booked) == (None, 1)


def test_the_book_is_in_balance_afterwards(w: make.World, mixed: Trip) -> None:
    recall = start(w)
    answer(w, recall, Answer.TAKEN_OUT, removed=5)
    start(w, scope="all", number="")
    assert list(audit.findings()) == []
