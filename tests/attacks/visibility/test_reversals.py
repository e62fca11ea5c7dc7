"""Rights are asked for every entry that an undo touches, and nobody writes under another's key."""

import uuid

import pytest

from gearroom.core.acts import Act, NotAllowed, Unacceptable
from gearroom.core.rules.roles import Role
from kits.models import AsFound, Checkout, Entry, EntryKind, WithheldKind
from kits.services.custody import custody, use, use_requests
from kits.services.kits import holds
from kits.services.ledger.book import Book
from kits.services.ledger.undo import reversal
from kits.services.stock import receiving
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db

_OLD_KEYS = uuid.UUID("6b1c7d0e-6c5e-4f5f-9d6e-0d2f4a6f1b53")
"""What keys of answers followed from when they could be worked out from a checkout's number."""


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def back(w: make.World) -> Checkout | None:
    """A time with a kit that ended with the kit opened, and nobody said what was used."""
    gone = custody.check_out(make.act(w.guide), w.day_01, person=w.guide)
    custody.check_in(make.act(w.keeper), w.day_01, as_found=AsFound.SORT_LATER)
    present(gone.checkout).refresh_from_db()
    return gone.checkout


def test_the_key_of_an_answer_does_not_follow_from_the_number_of_the_checkout(
    w: make.World, back: Checkout | None
) -> None:
    told = use_requests.answer(present(back), [use.UseLine(w.dressing, 1)])
    assert told.entry.key != uuid.uuid5(_OLD_KEYS, str(present(back).pk))
    assert Entry.objects.filter(key=told.entry.key).count() == 1


def test_whoever_writes_first_under_the_old_key_takes_no_answer_away(
    w: make.World, back: Checkout | None
) -> None:
    key = uuid.uuid5(_OLD_KEYS, str(present(back).pk))
    stranger = make.act(make.person("Hanna", Role.KEEPER, w.hut))
    receiving.receive(Act(actor=stranger.actor, key=key), item=w.shears, shelf=w.hut_shelf, units=1)
    assert not use_requests.is_answered(present(back))
    told = use_requests.answer(present(back), [use.UseLine(w.dressing, 1)])
    assert told.entry.kind == EntryKind.USE
    assert use_requests.is_answered(present(back))


def test_an_answer_from_before_keys_were_signed_still_counts(
    w: make.World, back: Checkout | None
) -> None:
    key = uuid.uuid5(_OLD_KEYS, str(present(back).pk))
    act = Act(actor=make.actor(w.guide), key=key)
    with Book(act) as book:
        (kit,) = book.lock(present(back).kit_id)
        use.write(book, kit, [use.UseLine(w.dressing, 1)], checkout=back)
    assert use_requests.is_answered(present(back))


def test_a_key_with_entries_is_refused_to_everybody_else(w: make.World) -> None:
    first = make.act(w.keeper)
    receiving.receive(first, item=w.shears, shelf=w.shelf, units=1)
    hut_keeper = make.person("Hanna", Role.KEEPER, w.hut)
    theirs = Act(actor=make.actor(hut_keeper), key=first.key)
    with pytest.raises(Unacceptable) as refused:
        receiving.receive(theirs, item=w.shears, shelf=w.hut_shelf, units=1)
    assert refused.value.code == "key-reused"
    assert make.units(w.lots["shears"], w.hut_shelf) == 0


def test_a_key_with_entries_is_refused_by_the_api_and_says_nothing_of_them(w: make.World) -> None:
    first = make.act(w.keeper)
    entry = receiving.receive(first, item=w.shears, shelf=w.shelf, units=1).entry
    hut_keeper = make.caller(make.person("Hanna", Role.KEEPER, w.hut))
    body = {"item": w.shears.pk, "shelf": str(w.hut_shelf.pk), "units": 1}
    answer = hut_keeper.post("stock/receive/", body, idempotency_key=str(first.key))
    assert (answer.status_code, answer.json()["code"]) == (422, "key-reused")
    assert str(entry.pk) not in answer.json()["detail"]


def test_an_undo_takes_back_no_entry_of_another_room_that_bears_the_same_key(w: make.World) -> None:
    """As such rows are on record from before: two people's entries under one key."""
    first = make.act(w.keeper)
    ours = receiving.receive(first, item=w.shears, shelf=w.shelf, units=2).entry
    hut_keeper = make.person("Hanna", Role.KEEPER, w.hut)
    theirs = receiving.receive(
        make.act(hut_keeper), item=w.shears, shelf=w.hut_shelf, units=3
    ).entry
    mixed = _under_the_key_of(ours, theirs)
    with pytest.raises(NotAllowed):
        reversal.reverse(make.act(hut_keeper), mixed.pk)
    assert make.units(w.lots["shears"], w.shelf) == 7
    assert not Entry.objects.filter(kind=EntryKind.REVERSE).exists()


def _under_the_key_of(entry: Entry, like: Entry) -> Entry:
    """An entry like another's under the key of `entry`, as rows."""
    columns = {
        field.attname: getattr(like, field.attname)
        for field in Entry._meta.concrete_fields
        if not field.primary_key
    }
    return Entry.objects.create(**{**columns, "key": entry.key, "part": 1})


def test_acts_of_another_room_are_not_listed_to_whoever_may_not_undo_them(w: make.World) -> None:
    """A guide of the hut hands in a kit there; later it is sorted and goes out in the store."""
    custody.check_out(make.act(w.guide), w.day_01, person=w.guide)
    hut_act = Act(actor=make.actor(w.stranger), room=w.hut)
    handed = custody.check_in(hut_act, w.day_01, as_found=AsFound.CLOSED)
    custody.check_in(
        Act(actor=make.actor(w.keeper), room=w.store), w.day_01, as_found=AsFound.CLOSED
    )
    custody.check_out(make.act(w.keeper), make.fresh(w.day_01), person=w.instructor)
    answer = make.caller(w.stranger).post(f"entries/{handed.entry.pk}/reverse/")
    assert answer.status_code in (201, 403)
    assert b"Ines" not in answer.content
    assert b"Kim" not in answer.content


def test_what_is_of_no_room_is_undone_by_its_maker_alone_or_from_everywhere(w: make.World) -> None:
    kept = holds.withhold(make.act(w.guide), w.day_01, WithheldKind.DRYING)
    lone = Entry.objects.create(
        **{
            field.attname: getattr(kept, field.attname)
            for field in Entry._meta.concrete_fields
            if not field.primary_key and field.attname not in ("kit_id", "room_id", "key", "part")
        },
        key=uuid.uuid4(),
        part=0,
    )
    hut_keeper = make.person("Hanna", Role.KEEPER, w.hut)
    with pytest.raises(NotAllowed):
        reversal._refuse_unless_theirs(make.act(hut_keeper), lone)
