"""Scans: what a text means, what is not right with it, and what can be received or counted."""

import pytest
from pytest_django import DjangoAssertNumQueries

from gearroom.core.acts import NotAllowed
from kits.models import Checkout, Entry, Label, PackCode
from kits.rules.lookup import label_codes
from kits.services.custody import custody
from kits.services.labelling import labelling
from labels.models import Scan
from labels.rules.codes.scans import Intent, Means, typed_texts
from labels.services.scan.resolve import meanings
from labels.services.scan.results import ScannedLot, ScanRequest
from labels.services.scan.scanning import scan
from tests.kits import factories as make
from tests.labels.scan import scanned as at
from tests.present import present

pytestmark = pytest.mark.django_db

OUT, IN, RECEIVE, COUNT = Intent.CHECK_OUT, Intent.CHECK_IN, Intent.RECEIVE, Intent.COUNT


@pytest.fixture
def labels() -> at.Labelled:
    return at.labelled()


# ------------------------------------------------------------------------------- identifying
def test_a_kit_tells_its_trip_its_guide_and_that_it_is_fit(labels: at.Labelled) -> None:
    world = labels.world
    trip = at.promised(labels, person=world.guide)
    outcome = at.one(world.guide, at.shown(labels.kit))
    kit = outcome.thing
    assert (kit.name, kit.trip, kit.guide_name, kit.fit) == ("DAY-01", trip.pk, "Gil", True)
    assert kit.through == trip.last_day
    (out,) = [step for step in outcome.next if step.do == "check-out"]
    assert out.needs == []
    assert not Checkout.objects.exists()


def test_a_kit_that_is_out_tells_who_has_it_and_offers_to_take_it_back(labels: at.Labelled) -> None:
    world = labels.world
    custody.check_out(make.act(world.guide), world.day_01, person=world.guide)
    outcome = at.one(world.keeper, labels.kit.code)
    assert outcome.thing.has_it == "Gil"
    assert [step.do for step in outcome.next] == ["check-in"] * 3 + ["pass"]


@pytest.mark.parametrize(
    ("which", "means"),
    [("pouch", "section"), ("lot", "lot"), ("shelf", "shelf"), ("tag", "person")],
)
def test_every_label_tells_what_it_is_on(labels: at.Labelled, which: str, means: str) -> None:
    label = getattr(labels, which)
    outcome = at.one(labels.world.guide, label.code)
    assert (outcome.means, outcome.outcome) == (means, "identified")
    assert outcome.thing.name if means != "lot" else outcome.thing.item_name


def test_a_blank_label_asks_what_it_is_stuck_on(labels: at.Labelled) -> None:
    outcome = at.one(labels.world.guide, labels.blank.code)
    assert outcome.means == Means.BLANK
    assert [(step.do, step.needs) for step in outcome.next] == [("bind", ("to",))]


def test_somebody_of_another_room_sees_what_a_passer_by_sees(labels: at.Labelled) -> None:
    outcome = at.one(labels.world.stranger, labels.kit.code)
    assert outcome.means == Means.ELSEWHERE
    assert outcome.thing.what == "First aid kit DAY-01"
    assert "Bring it to the Main store." in outcome.says
    assert [step.do for step in outcome.next] == ["check-in"]


def test_every_reading_is_written_down_with_what_came_of_it(labels: at.Labelled) -> None:
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
def test_a_text_from_a_scanner_set_for_another_country_resolves(
    labels: at.Labelled, slash: str
) -> None:
    mangled = f"HTTPSÖ{slash}{slash}GEAR.UMBERFELL.EXAMPLE{slash}L{slash}{labels.kit.code}"
    assert at.one(labels.world.guide, mangled).label == labels.kit
    shifted = labels.kit.code.translate(str.maketrans("23456789", "é\"'(-è_ç"))
    french = f"HTTPSM!!GEQR:U;BERFELL:EXQ;PLE!L!{shifted}"
    assert at.one(labels.world.guide, french).label == labels.kit


def test_a_kits_name_may_be_typed_instead_of_its_code(labels: at.Labelled) -> None:
    assert at.one(labels.world.guide, " day-01 ").thing.name == "DAY-01"
    outcome = at.one(labels.world.stranger, "DAY-01")
    assert (outcome.means, outcome.thing) == (Means.OTHER, None)
    make.kit("Höhle 7", labels.world.version, labels.world.store)
    assert at.one(labels.world.guide, "Höhle 7").thing.name == "Höhle 7"


# -------------------------------------------------------------------------- what is not right
def test_a_wrong_character_is_refused_and_the_one_near_label_offered_never_taken(
    labels: at.Labelled,
) -> None:
    world = labels.world
    outcome = at.one(world.keeper, at.wrong(labels.kit.code), OUT, holder=world.guide)
    assert (outcome.outcome, outcome.problem.status) == ("code-wrong", 422)
    assert "Check the code" in outcome.says
    assert [step.fields["text"] for step in outcome.next] == [at.shown(labels.kit)]
    assert not Checkout.objects.exists()


def test_a_near_label_of_another_room_is_not_offered(labels: at.Labelled) -> None:
    outcome = at.one(labels.world.stranger, at.wrong(labels.kit.code))
    assert (outcome.outcome, list(outcome.next)) == ("code-wrong", [])


def test_where_two_labels_are_near_none_is_offered(labels: at.Labelled) -> None:
    world = labels.world
    code = labels.kit.code
    twin = next(
        other
        for place in range(7)
        for character in label_codes.ALPHABET
        for other in label_codes.corrections(code[:place] + character + code[place + 1 :])
        if other != code and sum(a != b for a, b in zip(other, code, strict=True)) == 2
    )
    between = next(
        code[:place] + twin[place] + code[place + 1 :]
        for place in range(8)
        if code[place] != twin[place]
    )
    assert set(label_codes.corrections(between)) >= {code, twin}
    Label.objects.filter(pk=at.label(world.day_02).pk).update(code=twin)
    assert list(at.one(world.keeper, between).next) == []


def test_a_cancelled_label_says_so_and_leads_to_its_replacement(labels: at.Labelled) -> None:
    world = labels.world
    done = labelling.cancel(make.act(world.keeper), labels.kit.code, "torn", and_replace=True)
    outcome = at.one(world.keeper, labels.kit.code, OUT, holder=world.guide)
    assert (outcome.outcome, outcome.problem.status) == ("label-cancelled", 409)
    assert outcome.problem.facts["replaced_by"] == at.shown(present(done.replaced_by))
    (step,) = outcome.next
    assert at.one(world.keeper, step.fields["text"], OUT, holder=world.guide).entry


def test_a_code_that_nobody_made_is_not_found(labels: at.Labelled) -> None:
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
def test_what_is_not_ours_is_said_to_be_so_and_kept_as_read(
    labels: at.Labelled, text: str, means: str
) -> None:
    outcome = at.one(labels.world.guide, text)
    assert (outcome.means, outcome.outcome) == (means, "not-ours")
    assert outcome.problem.status == 422
    assert Scan.objects.get().means == means


# ------------------------------------------------------------------------ receiving, counting
BOX = "01095012345678911728103110D3\x1d21S1"


def test_a_makers_code_is_laid_out_ready_to_be_confirmed(labels: at.Labelled) -> None:
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


def test_a_shelf_read_along_says_where_it_goes(labels: at.Labelled) -> None:
    world = labels.world
    PackCode.objects.create(gtin="09501234567891", item=world.dressing)
    answer = at.scanned(world.keeper, labels.shelf.code, BOX, intent=RECEIVE)
    assert answer.outcomes[1].next[0].fields["shelf"] == str(world.shelf.pk)


def test_an_unknown_gtin_opens_a_new_thing_with_what_is_known(labels: at.Labelled) -> None:
    outcome = at.one(labels.world.keeper, BOX, RECEIVE)
    thing, code, receive = outcome.next
    assert (thing.do, thing.needs) == ("add-item", ("name", "kind", "base_unit"))
    assert (code.do, code.fields) == ("add-pack-code", {"gtin": "09501234567891"})
    assert receive.fields["number"] == "D3"
    assert receive.needs == ["shelf", "packs"]


def test_the_same_box_again_asks_whether_there_is_more_of_the_lot(labels: at.Labelled) -> None:
    world = labels.world
    PackCode.objects.create(gtin="09501234567891", item=world.dressing)
    assert "More of" not in at.one(world.keeper, BOX, RECEIVE).says
    again = at.one(world.keeper, BOX, RECEIVE)
    assert "The same pack was scanned a moment ago. More of the same batch?" in again.says
    assert again.next[0].says == "More of the same batch?"
    assert "More of" not in at.one(world.keeper, BOX.replace("S1", "S2"), RECEIVE).says
    assert "More of" not in at.one(world.instructor, BOX, RECEIVE).says


def test_a_missing_separator_gives_candidates_to_choose_from(labels: at.Labelled) -> None:
    world = labels.world
    PackCode.objects.create(gtin="09501234567891", item=world.dressing)
    outcome = at.one(world.keeper, "010950123456789110D32117281031", RECEIVE)
    assert len(outcome.packs) > 1
    assert len(outcome.next) == len(outcome.packs)
    assert "Compare with the pack" in outcome.says


def test_our_own_lot_label_receives_more_of_the_same(labels: at.Labelled) -> None:
    world = labels.world
    outcome = at.one(world.keeper, labels.lot.code, RECEIVE, place=world.shelf)
    (step,) = outcome.next
    assert step.fields["number"] == "D1"
    assert step.needs == ["units"]


def test_counting_shows_no_number_from_the_book(labels: at.Labelled) -> None:
    world = labels.world
    answer = at.scanned(world.guide, labels.shelf.code, labels.lot.code, intent=COUNT)
    shelf, lot = answer.outcomes
    assert shelf.next[0].fields == {"shelf": str(world.shelf.pk)}
    assert isinstance(lot.thing, ScannedLot) and lot.thing.where == []
    (step,) = lot.next
    assert step.fields == {
        "found": [{"lot": str(world.dressings.pk)}],
        "complete": False,
        "shelf": str(world.shelf.pk),
    }
    assert step.needs == ["found.0.units"]


def test_only_a_keeper_receives(labels: at.Labelled) -> None:
    with pytest.raises(NotAllowed):
        at.one(labels.world.guide, BOX, RECEIVE)


def test_a_look_that_gave_nothing_says_what_to_do(labels: at.Labelled) -> None:
    answer = scan(make.act(labels.world.guide), typed_texts([]), ScanRequest())
    assert present(answer.refusal).outcome == "nothing-read"
    assert Scan.objects.get().means == "nothing"


def test_what_many_texts_mean_takes_as_many_queries_as_what_one_means(
    labels: at.Labelled, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    world = labels.world
    texts = [labels.kit.code, labels.lot.code, labels.tag.code, "DAY-02"]
    texts += [at.wrong(labels.shelf.code), BOX, "https://example.org/"]
    texts += ["D9", "Take two and call me"]
    seen = typed_texts(texts).seen
    actor = make.actor(world.guide)
    with django_assert_num_queries(4):
        found = meanings(actor, seen, today=make.today())
    assert [m.means for m in found] == [
        "kit", "lot", "person", "kit", "wrong-code", "maker", "link", "other",
        "other",
    ]  # fmt: skip


def test_two_labels_on_one_kit_are_one_kit(labels: at.Labelled) -> None:
    world = labels.world
    other = at.label(world.day_01)
    answer = at.scanned(world.guide, labels.kit.code, other.code, intent=OUT, holder=world.guide)
    assert [each.outcome for each in answer.outcomes] == ["taken-out"]
