"""Labels: made, bound, cancelled, replaced."""

import random
import secrets

import pytest
from django.utils import timezone
from pytest_django import Settings

from gearroom.core.acts import Invalid, NotAllowed, NotFound, Refused
from kits.models import Entry, EntryKind, Kit, Label, PlaceKind
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from kits.services.ledger.book import room_place
from kits.services.lookup import find
from labels.services import passerby
from tests.kits import factories as make
from tests.labels.scan import scanned as at
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> make.World:
    return make.world()


def test_it_makes_a_valid_code_and_writes_who_made_it(world: make.World) -> None:
    label = labelling.label_for(make.act(world.keeper), world.day_01)
    assert label_codes.is_valid(label.code)
    assert (label.kind, label.kit_id, label.room_id) == ("kit", world.day_01.pk, world.store.pk)
    entry = Entry.objects.get(kind=EntryKind.LABEL)
    assert (entry.person_id, entry.kit_id) == (world.keeper.pk, world.day_01.pk)
    assert entry.detail["label"] == label.code


def test_it_never_draws_a_code_that_a_label_or_a_kit_has(
    world: make.World, monkeypatch: pytest.MonkeyPatch
) -> None:
    ahead = random.Random(5)
    of_a_label, of_a_kit, free = (label_codes.new_code(ahead.choice) for _ in range(3))
    Label.objects.create(code=of_a_label, made_at=timezone.now())
    Kit.objects.filter(pk=world.day_02.pk).update(name=label_codes.shown(of_a_kit).lower())
    monkeypatch.setattr(secrets, "choice", random.Random(5).choice)
    assert labelling.label_for(make.act(), world.day_01).code == free


def test_blanks_are_bound_to_what_they_are_stuck_on(world: make.World) -> None:
    blank, other = labelling.blanks(make.act(world.keeper), world.store, 2)
    bound = labelling.bind(make.act(world.guide), blank.code.lower(), world.shelf)
    assert (bound.kind, bound.place_id) == ("shelf", world.shelf.pk)
    assert Label.objects.get(pk=other.pk).kind == "blank"
    assert bound.bound_at is not None


def test_binding_twice_to_the_same_thing_changes_nothing(world: make.World) -> None:
    (blank,) = labelling.blanks(make.act(), world.store, 1)
    labelling.bind(make.act(world.guide), blank.code, world.day_01)
    before = Entry.objects.count()
    assert labelling.bind(make.act(world.guide), blank.code, world.day_01).kit == world.day_01
    assert Entry.objects.count() == before


def test_a_label_that_is_on_something_says_what_and_how_to_go_on(world: make.World) -> None:
    label = at.label(world.day_01)
    with pytest.raises(Refused) as refused:
        labelling.bind(make.act(world.guide), label.code, world.day_02)
    assert refused.value.code == "label-bound"
    assert refused.value.facts["bound_to"] == "kit DAY-01"
    assert "cancel it there" in refused.value.detail


def test_a_cancelled_label_leads_to_the_one_that_counts_now(world: make.World) -> None:
    first = at.label(world.day_01)
    second = labelling.cancel(make.act(world.keeper), first.code, "torn", and_replace=True)
    third = labelling.cancel(
        make.act(world.keeper), present(second.replaced_by).code, "wet", and_replace=True
    )
    old = Label.objects.get(pk=first.pk)
    assert labelling.successor(old) == third.replaced_by
    assert present(third.replaced_by).kit == world.day_01
    assert labelling.live(world.day_01) == third.replaced_by
    with pytest.raises(Refused) as refused:
        find.label(first.code)
    assert refused.value.code == "label-cancelled"


def test_a_label_is_cancelled_once(world: make.World) -> None:
    label = at.label(world.day_01)
    labelling.cancel(make.act(world.keeper), label.code, "torn")
    with pytest.raises(Refused, match="has been cancelled"):
        labelling.cancel(make.act(world.keeper), label.code, "torn")


def test_only_a_keeper_cancels_and_only_a_member_binds(world: make.World) -> None:
    label = at.label(world.day_01)
    (blank,) = labelling.blanks(make.act(), world.store, 1)
    with pytest.raises(NotAllowed):
        labelling.cancel(make.act(world.guide), label.code, "torn")
    with pytest.raises(NotFound):  # another room's blank is not there for them
        labelling.bind(make.act(world.stranger), blank.code, world.shelf)
    with pytest.raises(NotAllowed):
        labelling.bind(make.act(world.adviser), blank.code, world.shelf)


def test_a_quarantine_takes_no_label(world: make.World) -> None:
    with pytest.raises(Invalid, match="cannot have a label"):
        at.label(room_place(world.store, PlaceKind.QUARANTINE))


@pytest.mark.parametrize("count", [0, -1, 1001])
def test_blanks_come_in_sensible_numbers(world: make.World, count: int) -> None:
    with pytest.raises(Invalid):
        labelling.blanks(make.act(), world.store, count)


def test_labels_of_other_rooms_are_not_there(world: make.World) -> None:
    label = at.label(world.day_01)
    assert labelling.one_of(make.actor(world.guide), label.code) == label
    with pytest.raises(NotFound):
        labelling.one_of(make.actor(world.stranger), label.code)


# ------------------------------------------------------------------------------- passers-by
def test_a_passer_by_sees_what_it_is_whose_it_is_and_how_to_return_it(
    world: make.World, settings: Settings
) -> None:
    settings.ORGANISATION = "Umberfell Outdoor School"
    label = at.label(world.day_01)
    for who in (None, make.actor(world.stranger)):
        facts = passerby.facts_of(present(passerby.label_of(label.code)), who)
        assert facts.what == "First aid kit DAY-01"
        assert facts.whose == "Umberfell Outdoor School, Main store"
        assert facts.how_to_return == "Bring it to the Main store."
        assert not facts.yours
    assert passerby.facts_of(label, make.actor(world.guide)).yours


def test_a_passer_by_learns_no_name_from_a_tag_and_no_thing_from_a_batch(world: make.World) -> None:
    tag, lot = at.label(world.guide, world), at.label(world.dressings, world)
    assert "Gil" not in str(passerby.facts_of(tag, None))
    assert "dressing" not in str(passerby.facts_of(lot, None))


def test_nobody_is_told_anything_of_a_code_that_was_never_made(world: make.World) -> None:
    assert passerby.label_of("6R4B-5KJ8") is None
    assert passerby.label_of("no code at all") is None
