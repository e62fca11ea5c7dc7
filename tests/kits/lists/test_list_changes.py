"""A change made to several lists at once: with sources on both sides, in a draft of each list, at
no kit's cost, and looked at again when its day has come."""

from dataclasses import replace
from datetime import timedelta

import pytest
from django.utils import timezone
from pytest_django import Settings

from gearroom.core.acts import Invalid, NotAllowed, Refused
from gearroom.core.models import Person
from kits.models import Item, Kit, ListChange, ListChangeReview, PackingListVersion, Seal, What
from kits.rules.ledger.facts import Criticality, Word
from kits.rules.ledger.readiness import judge
from kits.rules.ledger.reasons import ReasonCode
from kits.rules.mail.plain_text import as_text
from kits.services.custody import use
from kits.services.kits import kits
from kits.services.ledger import audit, readiness
from kits.services.lists import (
    change_progress,
    drafts,
    list_changes,
    look_again,
    publishing,
    signatures,
)
from kits.services.lists.change_progress import Stand
from kits.services.lists.list_changes import Amount, ChangeDraft, SourceDraft
from kits.services.mail.digest import digest_data, digest_text
from kits.services.restocking import sealing, sorting
from tests.kits import factories as make
from tests.kits.factories import World, days

pytestmark = pytest.mark.django_db

FOR = SourceDraft(True, "It sticks less to a dry wound.", study="gentile-1992")
AGAINST = SourceDraft(False, "It soaks up less.", "Stated by the adviser", dated=days(-40))
BY_DAY, REVIEW = days(60), days(200)


@pytest.fixture
def w(settings: Settings) -> World:
    settings.PUBLIC_URL = "https://gear.example.org"
    return make.world()


@pytest.fixture
def new(w: World) -> Item:
    return make.item("Non-stick dressing 10 × 12", sterile=True)


def swap(w: World, new: Item, *versions: PackingListVersion) -> ChangeDraft:
    return ChangeDraft(
        What.SWAP,
        w.dressing,
        "It comes off without pain.",
        REVIEW,
        [each.packing_list for each in versions or (w.version,)],
        [FOR, AGAINST],
        instead=new,
        by_day=BY_DAY,
        anyway=True,
    )


def other_list(w: World) -> PackingListVersion:
    return make.kit_list(
        "Cave day", {"main": [(w.dressing, 3, 2, Criticality.ROUTINE)]}, signed_by=w.adviser
    )


def in_force(w: World, change: ListChange) -> None:
    """Publish and sign what a change wrote, and let every kit of the lists follow it."""
    for row in change.versions.select_related("version__packing_list"):
        version = publishing.publish(make.act(w.keeper), row.version)
        signatures.sign(make.act(w.adviser), version, until=days(300))
        for kit in Kit.objects.filter(list_version__packing_list=version.packing_list):
            kits.follow_list(make.act(w.keeper), kit, version)


def word(kit: Kit, through: int = 0) -> Word:
    state = readiness.states([kit.pk])[kit.pk]
    return judge(state, days(through), days(0)).word


def stand(w: World, change: ListChange, kit: Kit) -> Stand:
    (row,) = change_progress.followed(make.actor(w.keeper), [loaded(change)])
    return next(each.stand for each in row.kits if each.kit == kit)


def loaded(change: ListChange) -> ListChange:
    return list_changes.all_changes().get(pk=change.pk)


def letter(person: Person) -> str:
    row = Person.objects.select_related("home_room").get(pk=person.pk)
    return as_text(digest_text.letter(digest_data.gather([row], timezone.now())[person.pk]))


def test_every_list_that_it_concerns_gets_a_draft_with_the_reason_in_its_line(
    w: World, new: Item
) -> None:
    caves = other_list(w)
    assert set(list_changes.carrying(w.dressing)) == {w.version.packing_list, caves.packing_list}
    change = list_changes.make(make.act(w.keeper), swap(w, new, w.version, caves))
    for row, carry in zip(
        change.versions.order_by("version__packing_list__name"), (3, 6), strict=True
    ):
        line = drafts.draft_of(row.version).sections[0].lines[0]
        assert (line.item, line.carry) == (new, carry)
        assert "It comes off without pain." in line.reason
        assert row.version.published_at is None
    assert [source.supports for source in change.sources.all()] == [True, False]


def test_an_open_draft_gets_it_too_and_keeps_what_else_it_says(w: World, new: Item) -> None:
    draft = drafts.new_draft(make.act(w.keeper), w.version.packing_list)
    drafts.edit_draft(make.act(w.keeper), draft, replace(drafts.draft_of(draft), note="Mine."))
    change = list_changes.make(make.act(w.keeper), swap(w, new))
    assert change.versions.get().version == draft
    assert drafts.draft_of(change.versions.get().version).note == "Mine."


def test_no_kit_is_less_ready_for_it_and_no_seal_is_broken(w: World, new: Item) -> None:
    sealing.reseal(make.act(w.keeper), w.day_01, "S-1", anyway=True)
    before = {kit: word(kit) for kit in (w.day_01, w.day_02)}
    in_force(w, change := list_changes.make(make.act(w.keeper), swap(w, new)))
    assert {kit: word(kit) for kit in (w.day_01, w.day_02)} == before
    assert Seal.objects.unbroken().filter(kit=w.day_01).exists()
    assert stand(w, change, w.day_01) is Stand.STILL_OLD
    assert stand(w, change, w.day_02) is Stand.LACKS_NEW
    assert list(audit.findings()) == []


def test_it_is_published_only_once_kits_follow(w: World, new: Item) -> None:
    change = list_changes.make(make.act(w.keeper), swap(w, new))
    assert stand(w, change, w.day_01) is Stand.NOT_PUBLISHED
    publishing.publish(make.act(w.keeper), change.versions.get().version)
    assert stand(w, change, w.day_01) is Stand.OTHER_VERSION


def test_what_is_used_comes_back_as_the_new_item_and_the_rest_is_used_up(
    w: World, new: Item
) -> None:
    in_force(w, change := list_changes.make(make.act(w.keeper), swap(w, new)))
    lot = make.some(new, w.shelf, 20, "N1", days(700))
    use.log_use(make.act(w.keeper), w.day_01, [use.line_of(w.day_01, 2, item=w.dressing)])
    sorting.restock(make.act(w.keeper), w.day_01)
    main = make.section(w.day_01)
    assert (make.units(w.dressings, main), make.units(lot, main)) == (4, 2)
    assert word(w.day_01) is Word.READY
    sorting.restock(make.act(w.keeper), w.day_01, through=days(61))
    assert (make.units(w.dressings, main), make.units(lot, main)) == (0, 6)
    assert stand(w, change, w.day_01) is Stand.DONE


def test_after_its_day_a_kit_with_the_old_only_is_low_and_named(w: World, new: Item) -> None:
    in_force(w, list_changes.make(make.act(w.keeper), swap(w, new)))
    state = readiness.states([w.day_01.pk])[w.day_01.pk]
    verdict = judge(state, days(61), days(61))
    assert verdict.word is Word.LOW
    assert ReasonCode.REPLACED_INSIDE in [reason.code for reason in verdict.reasons]
    assert make.fresh(w.day_01).ready_until == BY_DAY


def test_a_replacement_that_is_replaced_leaves_no_kit_behind(w: World, new: Item) -> None:
    in_force(w, list_changes.make(make.act(w.keeper), swap(w, new)))
    newest = make.item("Silicone dressing 10 × 12", sterile=True)
    again = replace(swap(w, newest), item=new)
    in_force(w, list_changes.make(make.act(w.keeper), again))
    assert word(w.day_01) is Word.READY


def test_an_old_medicine_counts_and_goes_in_where_the_new_is_not_there(w: World) -> None:
    other = make.item("Other pain tablets", make.Kind.MEDICINE)
    in_force(w, list_changes.make(make.act(w.keeper), replace(swap(w, other), item=w.tablets)))
    use.log_use(make.act(w.keeper), w.day_01, [use.line_of(w.day_01, 3, item=w.tablets)])
    sorting.restock(make.act(w.keeper), w.day_01)
    assert make.units(w.lots["tablets"], make.section(w.day_01, "pouch")) == 8


def test_loose_for_loose_counts_by_the_level_on_record(w: World) -> None:
    other = make.item("Long plasters", by_eye=True, needs_date=False)
    in_force(w, list_changes.make(make.act(w.keeper), replace(swap(w, other), item=w.plasters)))
    assert word(w.day_01) is Word.READY


def test_a_kit_has_a_change_once_it_holds_what_its_list_then_says(w: World, new: Item) -> None:
    plain = replace(swap(w, new), instead=None, by_day=None)
    more = replace(plain, what=What.AMOUNT, amount=Amount(9, 5))
    in_force(w, change := list_changes.make(make.act(w.keeper), more))
    assert stand(w, change, w.day_01) is Stand.LACKS_NEW
    sorting.restock(make.act(w.keeper), w.day_01)
    assert stand(w, change, w.day_01) is Stand.DONE
    gone = replace(plain, what=What.REMOVE, item=w.shears)
    in_force(w, change := list_changes.make(make.act(w.keeper), gone))
    assert stand(w, change, w.day_01) is Stand.STILL_OLD
    assert stand(w, change, w.day_02) is Stand.DONE


def test_add_another_amount_and_leaving_out(w: World, new: Item) -> None:
    plain = replace(swap(w, new), instead=None, by_day=None)
    amount = Amount(9, 5, Criticality.MUST_HAVE)
    list_changes.make(make.act(w.keeper), replace(plain, what=What.AMOUNT, amount=amount))
    list_changes.make(make.act(w.keeper), replace(plain, what=What.ADD, item=new, amount=amount))
    gone = replace(plain, what=What.REMOVE, item=w.shears)
    change = list_changes.make(make.act(w.keeper), gone)
    draft = drafts.draft_of(change.versions.get().version)
    lines = {line.item: (line.carry, line.never_below) for line in draft.sections[0].lines}
    assert lines == {w.dressing: (9, 5), new: (9, 5), w.plasters: (1, 0)}
    assert [(line.item, line.words) for line in draft.not_carried] == [(w.shears, plain.claim)]


@pytest.mark.parametrize(
    "lowers",
    [
        {},
        {"what": What.REMOVE, "instead": None, "by_day": None},
        *(
            {"what": What.AMOUNT, "instead": None, "by_day": None, "amount": amount}
            for amount in (Amount(6, 3), Amount(6, 4, Criticality.IMPORTANT))
        ),
    ],
)
def test_a_must_have_goes_or_is_lowered_only_once_that_is_confirmed(
    w: World, new: Item, lowers: dict[str, object]
) -> None:
    caves = other_list(w)
    change = replace(swap(w, new, caves, w.version), **lowers)  # type: ignore[arg-type]  # of any field
    with pytest.raises(Refused, match="must-have on Day walk") as refused:
        list_changes.make(make.act(w.keeper), replace(change, anyway=False))
    assert (refused.value.code, refused.value.facts["lists"]) == ("must-have-lowered", ["Day walk"])
    assert not ListChange.objects.exists()
    list_changes.make(make.act(w.keeper), change)


def test_nothing_is_asked_where_no_must_have_is_lowered(w: World, new: Item) -> None:
    caves = other_list(w)
    unasked = replace(swap(w, new, caves), anyway=False)
    list_changes.make(make.act(w.keeper), unasked)
    more = replace(unasked, what=What.AMOUNT, instead=None, by_day=None, amount=Amount(8, 4))
    more = replace(more, lists=[w.version.packing_list])
    change = list_changes.make(make.act(w.keeper), more)
    line = drafts.draft_of(change.versions.get().version).sections[0].lines[0]
    assert (line.carry, line.criticality) == (8, Criticality.MUST_HAVE)
    added = replace(more, what=What.ADD, item=new, amount=Amount(2))
    assert list_changes.make(make.act(w.keeper), added).criticality == Criticality.ROUTINE


def test_a_draft_keeps_a_withdrawn_change_until_it_is_edited(w: World, new: Item) -> None:
    before = drafts.draft_of(w.version)
    plain = replace(swap(w, new), instead=None, by_day=None)
    for draft in (
        swap(w, new),
        replace(plain, what=What.REMOVE, item=w.shears),
        replace(plain, what=What.AMOUNT, item=w.tablets, amount=Amount(9, 5)),
    ):
        change = list_changes.make(make.act(w.keeper), draft)
        version = change.versions.get().version
        assert change_progress.drafts_with(loaded(change)) == [version]
        drafts.edit_draft(make.act(w.keeper), version, before)
        assert change_progress.drafts_with(loaded(change)) == []


@pytest.mark.parametrize(
    ("field", "wrong"),
    [
        ("claim", {"claim": " "}),
        ("lists", {"lists": []}),
        ("sources", {"sources": []}),
        ("sources", {"sources": [SourceDraft(True, "", "A book")]}),
        ("sources", {"sources": [SourceDraft(True, "It is so.")]}),
        ("sources", {"sources": [SourceDraft(True, "It is so.", study="nobody-1900")]}),
        ("review_on", {"review_on": days(0)}),
        ("by_day", {"by_day": days(0)}),
        ("by_day", {"by_day": None}),
        ("instead", {"instead": None}),
        ("carry", {"amount": Amount(3)}),
        ("carry", {"what": What.AMOUNT, "instead": None, "by_day": None}),
        ("instead", {"what": What.REMOVE}),
        *(
            ("never_below", {"what": what, "instead": None, "by_day": None, "amount": Amount(3, 4)})
            for what in (What.ADD, What.AMOUNT)
        ),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(
    w: World, new: Item, field: str, wrong: dict[str, object]
) -> None:
    with pytest.raises(Invalid) as refused:
        list_changes.make(make.act(w.keeper), replace(swap(w, new), **wrong))  # type: ignore[arg-type]  # of any field
    assert list(refused.value.facts["errors"]) == [field]
    assert not ListChange.objects.exists()
    assert w.version.packing_list.versions.count() == 1


def test_lists_that_cannot_have_it_are_named(w: World, new: Item) -> None:
    caves = other_list(w)
    for wrong in (
        replace(swap(w, new, w.version, caves), item=w.shears),
        replace(swap(w, w.shears, caves, w.version)),
        replace(swap(w, w.plasters)),
    ):
        with pytest.raises(Invalid):
            list_changes.make(make.act(w.keeper), wrong)
    assert PackingListVersion.objects.count() == 2


def test_only_who_edits_lists_makes_and_reviews_it(w: World, new: Item) -> None:
    with pytest.raises(NotAllowed):
        list_changes.make(make.act(w.guide), swap(w, new))
    change = list_changes.make(make.act(w.adviser), swap(w, new))
    with pytest.raises(NotAllowed):
        list_changes.review(make.act(w.guide), change, review_on=None)


def test_it_comes_up_on_its_day_and_is_quiet_once_reviewed(w: World, new: Item) -> None:
    change = list_changes.make(make.act(w.keeper), swap(w, new))
    assert look_again.changes_due(REVIEW - timedelta(days=1)) == []
    assert look_again.changes_due(REVIEW) == [change]
    list_changes.review(make.act(w.adviser), change, review_on=days(400), note="Nothing new.")
    assert look_again.changes_due(REVIEW) == []
    assert look_again.changes_due(days(400)) == [change]


def test_the_weekly_email_asks_who_signs_and_who_answers_for_a_kit(w: World, new: Item) -> None:
    change = list_changes.make(make.act(w.keeper), swap(w, new))
    for person in (w.adviser, w.instructor):
        assert "kit lists: due for review" not in letter(person)
    ListChangeReview.objects.create(
        change=change, review_on=days(-3), reviewed_at=timezone.now() - timedelta(days=200)
    )
    for person in (w.adviser, w.instructor):
        assert "Non-stick dressing 10 × 12 in place of Wound dressing" in letter(person)
        assert person in digest_data.readers()
    assert "Non-stick" not in letter(w.stranger)
    list_changes.review(make.act(w.adviser), change, review_on=None)
    assert "Non-stick" not in letter(w.adviser)


def test_withdrawn_nobody_waits_and_no_kit_is_worse_off(w: World, new: Item) -> None:
    in_force(w, change := list_changes.make(make.act(w.keeper), swap(w, new)))
    list_changes.review(make.act(w.adviser), change, review_on=None, note="Not so after all.")
    assert word(w.day_01, 100) is Word.READY
    assert make.fresh(w.day_01).ready_until != BY_DAY
    assert list(audit.findings()) == []
    with pytest.raises(Refused, match="already been withdrawn"):
        list_changes.review(make.act(w.adviser), change, review_on=days(9))
