"""Scans: what a text means, what is done with it, and what can be done next."""

import pytest

from gearroom.core.problems import Invalid, NotAllowed
from kits.models import AsFound, Checkout, Entry, Movement, PackCode, Seal
from kits.rules import codes
from kits.services import custody, find, labelling, reservations, turnaround
from labels.models import Scan
from labels.rules.scans import Intent, Means, typed_texts
from labels.services.meaning import meanings
from labels.services.outcomes import Ask, UsedSaid
from labels.services.scanning import scan
from tests.kits import factories as make
from tests.labels import scanned as at

pytestmark = pytest.mark.django_db

OUT, IN, RECEIVE, COUNT = Intent.CHECK_OUT, Intent.CHECK_IN, Intent.RECEIVE, Intent.COUNT


@pytest.fixture
def labels():
    return at.labelled()


def promised(labels, kit=None, person=None, **more):
    """A trip today that a kit is promised to."""
    trip = make.trip("Hill day", labels.world.store, **more)
    trip.departs_at += make.timedelta(hours=1)
    trip.returns_at += make.timedelta(hours=1)
    trip.save()
    reservations.reserve(make.act(), kit or labels.world.day_01, trip, person=person)
    return trip


# ------------------------------------------------------------------------------- identifying
def test_a_kit_tells_its_trip_its_guide_and_that_it_is_fit(labels):
    world = labels.world
    trip = promised(labels, person=world.guide)
    outcome = at.one(world.guide, at.shown(labels.kit))
    kit = outcome.thing
    assert (kit.name, kit.trip, kit.guide_name, kit.fit) == ("DAY-01", trip.pk, "Gil", True)
    assert kit.through == trip.last_day
    (out,) = [step for step in outcome.next if step.do == "check-out"]
    assert out.needs == []
    assert not Checkout.objects.exists()


def test_a_kit_that_is_out_tells_who_has_it_and_offers_to_take_it_back(labels):
    world = labels.world
    custody.check_out(make.act(world.guide), world.day_01, person=world.guide)
    outcome = at.one(world.keeper, labels.kit.code)
    assert outcome.thing.has_it == "Gil"
    assert [step.do for step in outcome.next] == ["check-in"] * 3 + ["pass"]


@pytest.mark.parametrize(
    ("which", "means"),
    [("pouch", "section"), ("lot", "lot"), ("shelf", "shelf"), ("tag", "person")],
)
def test_every_label_tells_what_it_is_on(labels, which, means):
    label = getattr(labels, which)
    outcome = at.one(labels.world.guide, label.code)
    assert (outcome.means, outcome.outcome) == (means, "identified")
    assert outcome.thing.name if means != "lot" else outcome.thing.item_name


def test_a_blank_label_asks_what_it_is_stuck_on(labels):
    outcome = at.one(labels.world.guide, labels.blank.code)
    assert outcome.means == Means.BLANK
    assert [(step.do, step.needs) for step in outcome.next] == [("bind", ("to",))]


def test_somebody_of_another_room_sees_what_a_passer_by_sees(labels):
    outcome = at.one(labels.world.stranger, labels.kit.code)
    assert outcome.means == Means.ELSEWHERE
    assert outcome.thing.what == "First aid kit DAY-01"
    assert "Bring it to the Main store." in outcome.says
    assert [step.do for step in outcome.next] == ["check-in"]


def test_every_reading_is_written_down_with_what_came_of_it(labels):
    world = labels.world
    answer = at.scanned(world.guide, labels.kit.code, "https://example.org/", intent=OUT)
    rows = list(Scan.objects.filter(key=answer.scan_id).order_by("id"))
    assert [(row.means, row.outcome) for row in rows] == [
        ("kit", "who-takes-it"),
        ("link", "not-ours"),
    ]
    assert rows[0].label == labels.kit
    assert rows[0].person == world.guide


@pytest.mark.parametrize("slash", ["/", "-", "&"])
def test_a_text_from_a_scanner_set_for_another_country_resolves(labels, slash):
    mangled = f"HTTPSÖ{slash}{slash}GEAR.UMBERFELL.EXAMPLE{slash}L{slash}{labels.kit.code}"
    assert at.one(labels.world.guide, mangled).label == labels.kit
    shifted = labels.kit.code.translate(str.maketrans("23456789", "é\"'(-è_ç"))
    french = f"HTTPSM!!GEQR:U;BERFELL:EXQ;PLE!L!{shifted}"
    assert at.one(labels.world.guide, french).label == labels.kit


def test_a_kits_name_may_be_typed_instead_of_its_code(labels):
    assert at.one(labels.world.guide, " day-01 ").thing.name == "DAY-01"
    outcome = at.one(labels.world.stranger, "DAY-01")
    assert (outcome.means, outcome.thing) == (Means.OTHER, None)
    make.kit("Höhle 7", labels.world.version, labels.world.store)
    assert at.one(labels.world.guide, "Höhle 7").thing.name == "Höhle 7"


# -------------------------------------------------------------------------------- taking out
def test_a_kit_reserved_for_a_trip_goes_to_its_guide_by_itself(labels):
    world = labels.world
    trip = promised(labels, person=world.guide)
    outcome = at.one(world.keeper, labels.kit.code, OUT)
    assert outcome.outcome == "taken-out"
    checkout = Checkout.objects.get()
    assert (checkout.person, checkout.trip) == (world.guide, trip)
    assert outcome.entry == checkout.opened_by
    assert [step.do for step in outcome.next] == ["undo"]


def test_a_guides_tag_read_along_with_the_kit_says_who_takes_it(labels):
    world = labels.world
    answer = at.scanned(world.keeper, labels.kit.code, labels.tag.code, intent=OUT)
    assert [each.outcome for each in answer.outcomes] == ["taken-out", "holder"]
    assert Checkout.objects.get().person == world.guide


def test_a_tag_alone_asks_for_the_kit_and_then_two_scans_are_enough(labels):
    world = labels.world
    outcome = at.one(world.keeper, labels.tag.code, OUT)
    assert outcome.outcome == "holder"
    (step,) = outcome.next
    assert (step.needs, step.fields["holder"]) == (("text",), str(world.guide.pk))
    at.one(world.keeper, labels.kit.code, OUT, holder=world.guide)
    assert Checkout.objects.get().person == world.guide


def test_a_kit_for_nobody_asks_who_takes_it(labels):
    outcome = at.one(labels.world.keeper, labels.kit.code, OUT)
    assert outcome.outcome == "who-takes-it"
    assert [step.needs for step in outcome.next] == [("holder",)]
    assert not Checkout.objects.exists()


def test_two_tags_with_a_kit_ask_which_person(labels):
    world = labels.world
    other = at.label(world.instructor, world)
    answer = at.scanned(world.keeper, labels.kit.code, labels.tag.code, other.code, intent=OUT)
    assert answer.outcomes[0].outcome == "which-person"
    assert not Checkout.objects.exists()


def test_a_kit_that_somebody_has_says_who_since_when_and_how_to_go_on(labels):
    world = labels.world
    turnaround.reseal(make.act(), world.day_01, "4417")
    custody.check_out(make.act(), world.day_01, person=world.guide)
    outcome = at.one(world.keeper, labels.kit.code, OUT, holder=world.instructor)
    assert (outcome.outcome, outcome.problem.status) == ("kit-is-out", 409)
    assert outcome.problem.facts["person_name"] == "Gil"
    assert outcome.problem.facts["since"]
    back, sort, then = outcome.next
    assert (back.do, sort.do, then.do) == ("check-in", "check-in", "check-out")
    at.one(world.keeper, back.fields["text"], IN, as_found=AsFound(back.fields["as_found"]))
    assert at.one(world.keeper, labels.kit.code, OUT, holder=world.instructor).entry


def test_nine_kits_go_and_the_tenth_is_named_with_its_reason(labels):
    world = labels.world
    kits = [at.filled(f"DAY-{number:02}", world) for number in range(11, 19)]
    codes_ = [labels.kit.code, *(at.label(kit).code for kit in kits), at.label(world.day_02).code]
    answer = at.scanned(world.keeper, *codes_, intent=OUT, holder=world.guide)
    assert [each.outcome for each in answer.outcomes] == ["taken-out"] * 9 + ["not-fit"]
    assert "DAY-02" in answer.outcomes[9].says
    assert Checkout.objects.filter(person=world.guide, in_at=None).count() == 9
    keys = list(Entry.objects.filter(kind="check-out").values_list("key", flat=True))
    assert len(set(keys)) == 9


def test_an_empty_kit_stays_and_a_rescue_takes_it_all_the_same(labels):
    world = labels.world
    code = at.label(world.day_02).code
    outcome = at.one(world.guide, code, OUT, holder=world.guide)
    assert outcome.outcome == "not-fit"
    assert outcome.problem.facts["reasons"]
    rescue = outcome.next[-1]
    assert rescue.fields["emergency"] is True
    assert at.one(world.guide, code, OUT, holder=world.guide, emergency=True).entry
    assert Checkout.objects.get().emergency


def test_a_guide_without_the_role_is_told_so(labels):
    world = labels.world
    with pytest.raises(NotAllowed):
        at.one(world.adviser, labels.kit.code, OUT, holder=world.guide)


def test_another_rooms_kit_does_not_go_but_a_rescue_does(labels):
    world = labels.world
    outcome = at.one(world.stranger, labels.kit.code, OUT, holder=world.stranger)
    assert (outcome.problem.status, outcome.thing.what) == (404, "First aid kit DAY-01")
    assert not Checkout.objects.exists()
    taken = at.one(world.stranger, labels.kit.code, OUT, holder=world.stranger, emergency=True)
    assert taken.outcome == "taken-out"
    assert taken.thing.what == "First aid kit DAY-01"


def test_another_kit_in_the_hand_is_offered_as_a_swap(labels):
    world = labels.world
    trip = promised(labels, person=world.guide)
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
    assert not reservations.open_reservations().filter(kit=world.day_01).exists()


def test_a_kit_that_is_not_the_trips_is_offered_as_a_swap(labels):
    world = labels.world
    trip = promised(labels, person=world.guide)
    spare = at.filled("DAY-11", world)
    outcome = at.one(world.keeper, at.label(spare).code, OUT, trip=trip)
    assert outcome.outcome == "another-kit-is-reserved"
    done = at.one(world.keeper, at.label(spare).code, OUT, trip=trip, swap=True)
    assert done.outcome == "taken-out"
    assert Checkout.objects.get().person == world.guide


def test_a_pouch_goes_alone_only_under_a_seal_of_its_own(labels):
    world = labels.world
    outcome = at.one(world.guide, labels.pouch.code, OUT, holder=world.guide)
    assert outcome.outcome == "not-a-kit"
    assert outcome.next[0].fields["text"] == "DAY-01"
    turnaround.reseal(
        make.act(world.guide), world.day_01, "P-7", section=make.section(world.day_01, "pouch")
    )
    assert at.one(world.guide, labels.pouch.code, OUT, holder=world.guide).entry
    assert Checkout.objects.get().section == make.section(world.day_01, "pouch")
    assert at.one(world.guide, labels.pouch.code, IN).outcome == "handed-back"


@pytest.mark.parametrize("which", ["lot", "shelf"])
@pytest.mark.parametrize("intent", [OUT, IN])
def test_a_label_of_something_else_where_a_kit_is_wanted_says_so(labels, which, intent):
    outcome = at.one(labels.world.guide, getattr(labels, which).code, intent)
    assert outcome.outcome == "not-a-kit"
    assert f"{find.on_what(outcome.means)}, not on a kit" in outcome.says


# ------------------------------------------------------------------------------ handing back
def test_a_kit_handed_back_without_a_word_waits_to_be_sorted(labels):
    world = labels.world
    custody.check_out(make.act(), world.day_01, person=world.guide)
    outcome = at.one(world.guide, labels.kit.code, IN)
    assert outcome.outcome == "handed-back"
    assert Checkout.objects.get().as_found == AsFound.SORT_LATER
    assert {step.do for step in outcome.next} == {"log-use", "look-inside", "restock", "undo"}


def test_sealed_and_dry_with_the_seal_on_record_is_done(labels):
    world = labels.world
    turnaround.look_inside(make.act(), world.day_01)
    turnaround.reseal(make.act(), world.day_01, "4417")
    custody.check_out(make.act(), world.day_01, person=world.guide)
    outcome = at.one(world.guide, labels.kit.code, IN, as_found=AsFound.SEALED, seal_seen="417")
    assert Checkout.objects.get().as_found == AsFound.SEALED
    assert Seal.objects.get().broken is None
    assert [step.do for step in outcome.next] == ["undo"]


def test_use_is_named_by_a_lots_label_or_by_a_tap_that_does_not_say_which(labels):
    world = labels.world
    custody.check_out(make.act(), world.day_01, person=world.guide)
    used = [UsedSaid(2, lot=world.dressings), UsedSaid(1, item=world.tablets)]
    outcome = at.one(world.guide, labels.kit.code, IN, as_found=AsFound.OPENED, used=used)
    moved = Movement.objects.filter(to_place__kind="used")
    assert {(m.lot_id, m.units, m.lot_assumed) for m in moved} == {
        (world.dressings.pk, 2, False),
        (world.lots["tablets"].pk, 1, True),
    }
    assert "2 × Wound dressing" in outcome.says


def test_more_used_than_the_book_holds_is_written_and_said(labels):
    world = labels.world
    used = [UsedSaid(9, lot=world.dressings)]
    outcome = at.one(world.guide, labels.kit.code, IN, as_found=AsFound.OPENED, used=used)
    assert "The book did not hold 3 of that" in outcome.says


def test_anybody_hands_in_any_kit_and_sees_no_more_than_a_passer_by(labels):
    world = labels.world
    custody.check_out(make.act(), world.day_01, person=world.guide)
    outcome = at.one(world.stranger, labels.kit.code, IN)
    assert outcome.outcome == "handed-back"
    assert outcome.thing.what == "First aid kit DAY-01"
    assert [step.do for step in outcome.next] == ["undo"]
    assert Checkout.objects.get().in_at is not None


def test_what_belongs_to_one_kit_is_not_said_of_two(labels):
    other = at.label(labels.world.day_02).code
    with pytest.raises(Invalid, match="belongs to one"):
        at.scanned(labels.world.guide, labels.kit.code, other, intent=IN, seal_seen="417")


# -------------------------------------------------------------------------- what is not right
def test_a_wrong_character_is_refused_and_the_one_near_label_offered_never_taken(labels):
    world = labels.world
    outcome = at.one(world.keeper, at.wrong(labels.kit.code), OUT, holder=world.guide)
    assert (outcome.outcome, outcome.problem.status) == ("code-wrong", 422)
    assert "Check the code" in outcome.says
    assert [step.fields["text"] for step in outcome.next] == [at.shown(labels.kit)]
    assert not Checkout.objects.exists()


def test_a_near_label_of_another_room_is_not_offered(labels):
    outcome = at.one(labels.world.stranger, at.wrong(labels.kit.code))
    assert (outcome.outcome, list(outcome.next)) == ("code-wrong", [])


def test_where_two_labels_are_near_none_is_offered(labels):
    world = labels.world
    code = labels.kit.code
    twin = next(
        other
        for place in range(7)
        for character in codes.ALPHABET
        for other in codes.corrections(code[:place] + character + code[place + 1 :])
        if other != code and sum(a != b for a, b in zip(other, code, strict=True)) == 2
    )
    between = next(
        code[:place] + twin[place] + code[place + 1 :]
        for place in range(8)
        if code[place] != twin[place]
    )
    assert set(codes.corrections(between)) >= {code, twin}
    labelling.Label.objects.filter(pk=at.label(world.day_02).pk).update(code=twin)
    assert list(at.one(world.keeper, between).next) == []


def test_a_cancelled_label_says_so_and_leads_to_its_replacement(labels):
    world = labels.world
    done = labelling.cancel(make.act(world.keeper), labels.kit.code, "torn", and_replace=True)
    outcome = at.one(world.keeper, labels.kit.code, OUT, holder=world.guide)
    assert (outcome.outcome, outcome.problem.status) == ("label-cancelled", 409)
    assert outcome.problem.facts["replaced_by"] == at.shown(done.replacement)
    (step,) = outcome.next
    assert at.one(world.keeper, step.fields["text"], OUT, holder=world.guide).entry


def test_a_code_that_nobody_made_is_not_found(labels):
    outcome = at.one(labels.world.guide, "6R4B-5KJ8")
    assert (outcome.means, outcome.problem.status) == (Means.UNKNOWN_LABEL, 404)


@pytest.mark.parametrize(
    ("text", "means"),
    [
        ("https://example.org/L/nothing", "link"),
        ("WIFI:T:WPA;S:Hut;P:secret;;", "wi-fi"),
        ("BEGIN:VCARD\r\nVERSION:3.0\r\nFN:Somebody\r\nEND:VCARD\r\n", "contact"),
        ("\x01\x02\x00\x7f\x03", "binary"),
        ("a shopping list", "other"),
        ("", "nothing"),
        ("   ", "nothing"),
    ],
)
def test_what_is_not_ours_is_said_to_be_so_and_kept_as_read(labels, text, means):
    outcome = at.one(labels.world.guide, text)
    assert (outcome.means, outcome.outcome) == (means, "not-ours")
    assert outcome.problem.status == 422
    assert Scan.objects.get().means == means


# ------------------------------------------------------------------------ receiving, counting
BOX = "01095012345678911728103110D3\x1d21S1"


def test_a_makers_code_is_laid_out_ready_to_be_confirmed(labels):
    world = labels.world
    PackCode.objects.create(gtin="09501234567891", item=world.dressing, units_per_pack=20)
    outcome = at.one(world.keeper, BOX, RECEIVE, place=world.shelf)
    (pack,) = outcome.packs
    assert (pack.item, pack.number, pack.units) == (world.dressing.pk, "D3", 20)
    (step,) = outcome.next
    assert (step.do, step.needs) == ("receive", [])
    assert step.fields == {
        "item": world.dressing.pk,
        "pack_code": "09501234567891",
        "number": "D3",
        "expiry": "2028-10-31",
        "units": 20,
        "shelf": str(world.shelf.pk),
    }
    assert not Entry.objects.filter(kind="receive", lot__number="D3").exists()


def test_a_shelf_read_along_says_where_it_goes(labels):
    world = labels.world
    PackCode.objects.create(gtin="09501234567891", item=world.dressing)
    answer = at.scanned(world.keeper, labels.shelf.code, BOX, intent=RECEIVE)
    assert answer.outcomes[1].next[0].fields["shelf"] == str(world.shelf.pk)


def test_an_unknown_gtin_opens_a_new_thing_with_what_is_known(labels):
    outcome = at.one(labels.world.keeper, BOX, RECEIVE)
    thing, code, receive = outcome.next
    assert (thing.do, thing.needs) == ("add-item", ("name", "kind", "base_unit"))
    assert (code.do, code.fields) == ("add-pack-code", {"gtin": "09501234567891"})
    assert receive.fields["number"] == "D3"
    assert receive.needs == ["shelf", "packs"]


def test_the_same_box_again_asks_whether_there_is_more_of_the_lot(labels):
    world = labels.world
    PackCode.objects.create(gtin="09501234567891", item=world.dressing)
    assert "More of" not in at.one(world.keeper, BOX, RECEIVE).says
    again = at.one(world.keeper, BOX, RECEIVE)
    assert "This very pack was scanned a moment ago. More of the same lot?" in again.says
    assert again.next[0].says == "More of the same lot?"
    assert "More of" not in at.one(world.keeper, BOX.replace("S1", "S2"), RECEIVE).says
    assert "More of" not in at.one(world.instructor, BOX, RECEIVE).says


def test_a_missing_separator_gives_candidates_to_choose_from(labels):
    world = labels.world
    PackCode.objects.create(gtin="09501234567891", item=world.dressing)
    outcome = at.one(world.keeper, "010950123456789110D32117281031", RECEIVE)
    assert len(outcome.packs) > 1
    assert len(outcome.next) == len(outcome.packs)
    assert "Compare with the pack" in outcome.says


def test_our_own_lot_label_receives_more_of_the_same(labels):
    world = labels.world
    outcome = at.one(world.keeper, labels.lot.code, RECEIVE, place=world.shelf)
    (step,) = outcome.next
    assert step.fields["number"] == "D1"
    assert step.needs == ["units"]


def test_counting_shows_no_number_from_the_book(labels):
    world = labels.world
    answer = at.scanned(world.guide, labels.shelf.code, labels.lot.code, intent=COUNT)
    shelf, lot = answer.outcomes
    assert shelf.next[0].fields == {"shelf": str(world.shelf.pk)}
    assert lot.thing.where == []
    (step,) = lot.next
    assert step.fields == {
        "found": [{"lot": str(world.dressings.pk)}],
        "complete": False,
        "shelf": str(world.shelf.pk),
    }
    assert step.needs == ["found.0.units"]


def test_only_a_keeper_receives(labels):
    with pytest.raises(NotAllowed):
        at.one(labels.world.guide, BOX, RECEIVE)


def test_a_look_that_gave_nothing_says_what_to_do(labels):
    answer = scan(make.act(labels.world.guide), typed_texts([]), Ask())
    assert answer.refusal.outcome == "nothing-read"
    assert Scan.objects.get().means == "nothing"


def test_what_many_texts_mean_takes_as_many_queries_as_what_one_means(
    labels, django_assert_num_queries
):
    world = labels.world
    texts = [labels.kit.code, labels.lot.code, labels.tag.code, "DAY-02"]
    texts += [at.wrong(labels.shelf.code), BOX, "https://example.org/"]
    seen = typed_texts(texts).seen
    actor = make.actor(world.guide)
    with django_assert_num_queries(3):
        found = meanings(actor, seen, today=make.TODAY)
    assert [m.means for m in found] == [
        "kit", "lot", "person", "kit", "wrong-code", "maker", "link",
    ]  # fmt: skip


def test_two_labels_on_one_kit_are_one_kit(labels):
    world = labels.world
    other = at.label(world.day_01)
    answer = at.scanned(world.guide, labels.kit.code, other.code, intent=OUT, holder=world.guide)
    assert [each.outcome for each in answer.outcomes] == ["taken-out"]
