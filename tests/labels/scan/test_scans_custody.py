"""Kits scanned: taken out and handed back, by whom, and what stands against it."""

import pytest

from gearroom.core import clock
from gearroom.core.acts import Invalid, NotAllowed
from gearroom.core.models import Person
from kits.models import AsFound, Checkout, Entry, Kit, Movement, Reservation, Seal, Trip
from kits.services.custody import custody
from kits.services.lookup import find
from kits.services.restocking import sealing, sorting
from kits.services.trips import reservations
from labels.rules.codes.scans import Intent
from labels.services.scan.results import UsedUnits
from tests.kits import factories as make
from tests.labels.scan import scanned as at

pytestmark = pytest.mark.django_db

OUT, IN = Intent.CHECK_OUT, Intent.CHECK_IN


@pytest.fixture
def labels() -> at.Labelled:
    return at.labelled()


# -------------------------------------------------------------------------------- taking out
def test_a_kit_reserved_for_a_trip_goes_to_its_guide_by_itself(labels: at.Labelled) -> None:
    world = labels.world
    trip = at.promised(labels, person=world.guide)
    outcome = at.one(world.keeper, labels.kit.code, OUT)
    assert outcome.outcome == "taken-out"
    checkout = Checkout.objects.get()
    assert (checkout.person, checkout.trip) == (world.guide, trip)
    assert outcome.entry == checkout.opened_by
    assert [step.do for step in outcome.next] == ["undo"]


def test_a_guides_tag_read_along_with_the_kit_says_who_takes_it(labels: at.Labelled) -> None:
    world = labels.world
    answer = at.scanned(world.keeper, labels.kit.code, labels.tag.code, intent=OUT)
    assert [each.outcome for each in answer.outcomes] == ["taken-out", "holder"]
    assert Checkout.objects.get().person == world.guide


def test_a_tag_alone_asks_for_the_kit_and_then_two_scans_are_enough(labels: at.Labelled) -> None:
    world = labels.world
    outcome = at.one(world.keeper, labels.tag.code, OUT)
    assert outcome.outcome == "holder"
    (step,) = outcome.next
    assert (step.needs, step.fields["holder"]) == (("text",), str(world.guide.pk))
    at.one(world.keeper, labels.kit.code, OUT, holder=world.guide)
    assert Checkout.objects.get().person == world.guide


def test_a_kit_for_nobody_asks_who_takes_it(labels: at.Labelled) -> None:
    outcome = at.one(labels.world.keeper, labels.kit.code, OUT)
    assert outcome.outcome == "who-takes-it"
    assert [step.needs for step in outcome.next] == [("holder",)]
    assert not Checkout.objects.exists()


def test_two_tags_with_a_kit_ask_which_person(labels: at.Labelled) -> None:
    world = labels.world
    other = at.label(world.instructor, world)
    answer = at.scanned(world.keeper, labels.kit.code, labels.tag.code, other.code, intent=OUT)
    assert answer.outcomes[0].outcome == "which-person"
    assert not Checkout.objects.exists()


def test_a_kit_that_somebody_has_says_who_since_when_and_how_to_go_on(labels: at.Labelled) -> None:
    world = labels.world
    sealing.reseal(make.act(), world.day_01, "4417")
    custody.check_out(make.act(), world.day_01, person=world.guide)
    outcome = at.one(world.keeper, labels.kit.code, OUT, holder=world.instructor)
    assert (outcome.outcome, outcome.problem.status) == ("kit-is-out", 409)
    assert outcome.problem.facts["person_name"] == "Gil"
    assert outcome.problem.facts["since"]
    back, sort, then = outcome.next
    assert (back.do, sort.do, then.do) == ("check-in", "check-in", "check-out")
    at.one(world.keeper, back.fields["text"], IN, as_found=AsFound(back.fields["as_found"]))
    assert at.one(world.keeper, labels.kit.code, OUT, holder=world.instructor).entry


def test_nine_kits_go_and_the_tenth_is_named_with_its_reason(labels: at.Labelled) -> None:
    world = labels.world
    kits = [at.filled(f"DAY-{number:02}", world) for number in range(11, 19)]
    codes_ = [labels.kit.code, *(at.label(kit).code for kit in kits), at.label(world.day_02).code]
    answer = at.scanned(world.keeper, *codes_, intent=OUT, holder=world.guide)
    assert [each.outcome for each in answer.outcomes] == ["taken-out"] * 9 + ["not-fit"]
    assert "DAY-02" in answer.outcomes[9].says
    assert Checkout.objects.filter(person=world.guide, in_at=None).count() == 9
    keys = list(Entry.objects.filter(kind="check-out").values_list("key", flat=True))
    assert len(set(keys)) == 9


def test_an_empty_kit_stays_and_a_rescue_takes_it_all_the_same(labels: at.Labelled) -> None:
    world = labels.world
    code = at.label(world.day_02).code
    outcome = at.one(world.guide, code, OUT, holder=world.guide)
    assert outcome.outcome == "not-fit"
    assert outcome.problem.facts["reasons"]
    rescue = outcome.next[-1]
    assert rescue.fields["emergency"] is True
    assert at.one(world.guide, code, OUT, holder=world.guide, emergency=True).entry
    assert Checkout.objects.get().emergency


def test_a_guide_without_the_role_is_told_so(labels: at.Labelled) -> None:
    world = labels.world
    with pytest.raises(NotAllowed):
        at.one(world.adviser, labels.kit.code, OUT, holder=world.guide)


def test_another_rooms_kit_does_not_go_but_a_rescue_does(labels: at.Labelled) -> None:
    world = labels.world
    outcome = at.one(world.stranger, labels.kit.code, OUT, holder=world.stranger)
    assert (outcome.problem.status, outcome.thing.what) == (404, "First aid kit DAY-01")
    assert not Checkout.objects.exists()
    taken = at.one(world.stranger, labels.kit.code, OUT, holder=world.stranger, emergency=True)
    assert taken.outcome == "taken-out"
    assert taken.thing.what == "First aid kit DAY-01"


def test_another_kit_in_the_hand_is_offered_as_a_swap(labels: at.Labelled) -> None:
    world = labels.world
    trip = at.promised(labels, person=world.guide)
    spare = at.filled("DAY-11", world)
    code = at.label(spare).code
    outcome = at.one(world.keeper, code, OUT, holder=world.guide)
    assert outcome.outcome == "another-kit-is-reserved"
    assert outcome.problem.facts["reserved"] == "DAY-01"
    assert not Checkout.objects.exists()
    (step,) = outcome.next
    assert step.fields["swap"] is True
    done = at.one(world.keeper, code, OUT, holder=world.guide, swap=True)
    checkout = Checkout.objects.get()
    assert done.outcome == "taken-out"
    assert (checkout.kit, checkout.trip, checkout.person) == (spare, trip, world.guide)
    assert not Reservation.objects.promised().filter(kit=world.day_01).exists()


def test_a_kit_that_is_not_the_trips_is_offered_as_a_swap(labels: at.Labelled) -> None:
    world = labels.world
    trip = at.promised(labels, person=world.guide)
    spare = at.filled("DAY-11", world)
    outcome = at.one(world.keeper, at.label(spare).code, OUT, trip=trip)
    assert outcome.outcome == "another-kit-is-reserved"
    done = at.one(world.keeper, at.label(spare).code, OUT, trip=trip, swap=True)
    assert done.outcome == "taken-out"
    assert Checkout.objects.get().person == world.guide


def test_a_pouch_goes_alone_only_under_a_seal_of_its_own(labels: at.Labelled) -> None:
    world = labels.world
    outcome = at.one(world.guide, labels.pouch.code, OUT, holder=world.guide)
    assert outcome.outcome == "not-a-kit"
    assert outcome.next[0].fields["text"] == "DAY-01"
    sealing.reseal(
        make.act(world.guide), world.day_01, "P-7", section=make.section(world.day_01, "pouch")
    )
    assert at.one(world.guide, labels.pouch.code, OUT, holder=world.guide).entry
    assert Checkout.objects.get().section == make.section(world.day_01, "pouch")
    assert at.one(world.guide, labels.pouch.code, IN).outcome == "handed-back"


@pytest.mark.parametrize("which", ["lot", "shelf"])
@pytest.mark.parametrize("intent", [OUT, IN])
def test_a_label_of_something_else_where_a_kit_is_wanted_says_so(
    labels: at.Labelled, which: str, intent: Intent
) -> None:
    outcome = at.one(labels.world.guide, getattr(labels, which).code, intent)
    assert outcome.outcome == "not-a-kit"
    assert f"{find.on_what(outcome.means)}, not on a kit" in outcome.says


# ------------------------------------------------------------------------------ handing back
def test_a_kit_handed_back_without_a_word_waits_to_be_sorted(labels: at.Labelled) -> None:
    world = labels.world
    custody.check_out(make.act(), world.day_01, person=world.guide)
    outcome = at.one(world.guide, labels.kit.code, IN)
    assert outcome.outcome == "handed-back"
    assert Checkout.objects.get().as_found == AsFound.SORT_LATER
    assert {step.do for step in outcome.next} == {"log-use", "look-inside", "restock", "undo"}


def test_sealed_and_dry_with_the_seal_on_record_is_done(labels: at.Labelled) -> None:
    world = labels.world
    sorting.look_inside(make.act(), world.day_01)
    sealing.reseal(make.act(), world.day_01, "4417")
    custody.check_out(make.act(), world.day_01, person=world.guide)
    outcome = at.one(world.guide, labels.kit.code, IN, as_found=AsFound.SEALED, seal_seen="417")
    assert Checkout.objects.get().as_found == AsFound.SEALED
    assert Seal.objects.get().broken is None
    assert [step.do for step in outcome.next] == ["undo"]


def test_use_is_named_by_a_lots_label_or_by_a_tap_that_does_not_say_which(
    labels: at.Labelled,
) -> None:
    world = labels.world
    custody.check_out(make.act(), world.day_01, person=world.guide)
    used = [UsedUnits(2, lot=world.dressings), UsedUnits(1, item=world.tablets)]
    outcome = at.one(world.guide, labels.kit.code, IN, as_found=AsFound.OPENED, used=used)
    moved = Movement.objects.filter(to_place__kind="used")
    assert {(m.lot_id, m.units, m.lot_assumed) for m in moved} == {
        (world.dressings.pk, 2, False),
        (world.lots["tablets"].pk, 1, True),
    }
    assert "2 × Wound dressing" in outcome.says


def test_more_used_than_the_book_holds_is_written_and_said(labels: at.Labelled) -> None:
    world = labels.world
    used = [UsedUnits(9, lot=world.dressings)]
    outcome = at.one(world.guide, labels.kit.code, IN, as_found=AsFound.OPENED, used=used)
    assert "3 of these were not on record" in outcome.says


def test_anybody_hands_in_any_kit_and_sees_no_more_than_a_passer_by(labels: at.Labelled) -> None:
    world = labels.world
    custody.check_out(make.act(), world.day_01, person=world.guide)
    outcome = at.one(world.stranger, labels.kit.code, IN)
    assert outcome.outcome == "handed-back"
    assert outcome.thing.what == "First aid kit DAY-01"
    assert [step.do for step in outcome.next] == ["undo"]
    assert Checkout.objects.get().in_at is not None


def test_what_belongs_to_one_kit_is_not_said_of_two(labels: at.Labelled) -> None:
    other = at.label(labels.world.day_02).code
    with pytest.raises(Invalid, match="is about only one"):
        at.scanned(labels.world.guide, labels.kit.code, other, intent=IN, seal_seen="417")


# ------------------------------------------------------------------------- another guide's promise
def later(labels: at.Labelled, kit: Kit, guide: Person, first: int = 1) -> Trip:
    """A trip to come that a kit is promised to."""
    trip = make.trip(f"For {guide.name}", labels.world.store, first, first, leader=guide)
    reservations.reserve(make.act(), kit, trip)
    return trip


def test_a_kit_of_another_trip_is_replaced_by_a_free_one_by_itself_and_it_is_said(
    labels: at.Labelled,
) -> None:
    world = labels.world
    spare = at.filled("DAY-11", world)
    trip = later(labels, world.day_01, world.instructor)

    outcome = at.one(world.guide, labels.kit.code, OUT, holder=world.guide)

    assert outcome.outcome == "taken-out"
    assert "Swapped: Ines now has DAY-11." in outcome.says
    assert Checkout.objects.get().trip is None
    (promise,) = Reservation.objects.promised()
    assert (promise.kit, promise.trip, promise.person) == (spare, trip, None)


def test_the_kits_of_two_guides_change_places_by_themselves(labels: at.Labelled) -> None:
    world = labels.world
    other = at.filled("DAY-11", world)
    mine = at.promised(labels, kit=other, person=world.guide)
    theirs = later(labels, world.day_01, world.instructor, first=0)

    outcome = at.one(world.guide, labels.kit.code, OUT, holder=world.guide)

    assert "Swapped: Ines now has DAY-11." in outcome.says
    assert (Checkout.objects.get().kit, Checkout.objects.get().trip) == (world.day_01, mine)
    assert [r.kit for r in Reservation.objects.promised().filter(trip=theirs)] == [other]


def test_with_nothing_in_its_place_it_says_whose_it_is_and_asks_for_a_reason(
    labels: at.Labelled,
) -> None:
    world = labels.world
    trip = later(labels, world.day_01, world.instructor, first=4)
    due = trip.departs_at + make.timedelta(hours=1)
    said = {"holder": world.guide, "due_at": due}

    outcome = at.one(world.guide, labels.kit.code, OUT, **said)
    assert (outcome.outcome, outcome.problem.facts["swap"]) == ("reserved-for-another", None)
    assert [step.needs for step in outcome.next] == [("take_reason",)]
    assert not Checkout.objects.exists()

    done = at.one(world.guide, labels.kit.code, OUT, take_reason="a search", **said)
    assert done.outcome == "taken-out"


def test_within_48_hours_a_guide_takes_no_kit_from_another_and_a_keeper_may(
    labels: at.Labelled,
) -> None:
    world = labels.world
    trip = later(labels, world.day_01, world.instructor, first=1)
    said = {"holder": world.guide, "due_at": trip.returns_at, "take_reason": "a search"}

    outcome = at.one(world.guide, labels.kit.code, OUT, **said)
    assert outcome.outcome == "reserved-for-another"
    assert outcome.next == []
    assert at.one(world.keeper, labels.kit.code, OUT, **said).outcome == "taken-out"


def test_a_kit_reserved_for_this_guide_needs_no_tap(labels: at.Labelled) -> None:
    world = labels.world
    trip = at.promised(labels, person=world.guide)
    later(labels, world.day_01, world.instructor, first=2)
    at.one(world.guide, labels.kit.code, OUT, holder=world.guide)
    assert Checkout.objects.get().trip == trip


def test_a_scan_says_for_no_trip_and_when_it_really_was(labels: at.Labelled) -> None:
    world = labels.world
    at.promised(labels, person=world.guide)
    when = clock.now()
    call = make.caller(world.keeper)
    said = {"text": labels.kit.code, "holder": str(world.guide.pk), "already_gone": True}
    out = call.post(
        "scans/", {**said, "intent": "check-out", "trip": None, "occurred_at": when.isoformat()}
    )
    assert out.status_code == 201
    checkout = Checkout.objects.get()
    assert (checkout.trip, checkout.out_at) == (None, when)
    earlier = (when - make.timedelta(hours=1)).isoformat()
    back = call.post(
        "scans/", {"text": labels.kit.code, "intent": "check-in", "occurred_at": earlier}
    )
    assert back.json()["outcomes"][0]["entry"]["irregular"] == ["out-of-order"]
    checkout.refresh_from_db()
    assert checkout.in_at is None


def test_a_kit_that_nobody_has_set_up_goes_without_a_word(labels: at.Labelled) -> None:
    world = labels.world
    bare = make.kit("BARE-1", world.version, world.store, entered=False)
    outcome = at.one(world.guide, at.label(bare).code, OUT, holder=world.guide)
    assert outcome.outcome == "taken-out"
