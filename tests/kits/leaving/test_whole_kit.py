"""A kit sold or given away whole, as one act; and everything done with it at the wrong moment."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from gearroom.core.acts import Invalid, NotAllowed, Refused
from gearroom.core.models import Person
from kits.models import Entry, Kit, Movement, PlaceKind, Reservation, WithheldKind
from kits.services.custody import custody
from kits.services.kits import holds, kits
from kits.services.leaving import whole_kit
from kits.services.leaving.terms import Terms
from kits.services.ledger import audit
from kits.services.ledger.undo import reversal
from kits.services.recalls import recalls, status
from kits.services.restocking import adding, emptying, sealing, sorting
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.kits.factories import act, fresh

pytestmark = pytest.mark.django_db
CENTRE = Terms(PlaceKind.GIVEN, "The youth centre")


@pytest.fixture
def w() -> make.World:
    return make.world()


def leave(
    w: make.World,
    terms: Terms = CENTRE,
    who: Person | None = None,
    kit: Kit | None = None,
    without: tuple[int, ...] = (),
) -> whole_kit.KitLeft:
    return whole_kit.leave(
        act(who or w.keeper, reason="one too many"), kit or w.day_01, terms, without=without
    )


def refused(w: make.World, terms: Terms = CENTRE, **more: Any) -> str:
    before = Entry.objects.count()
    with pytest.raises((Refused, Invalid)) as problem:
        leave(w, terms, **more)
    assert Entry.objects.count() == before
    return problem.value.code


def test_all_that_is_in_it_goes_in_one_act_and_the_kit_is_out_of_use(w: make.World) -> None:
    sealing.reseal(act(w.keeper), w.day_01, "0417", anyway=True)
    inside = sum(row.units for row in emptying.inside(w.day_01))
    done = leave(w)
    assert done.units == inside > 0
    assert {m.to_place.kind for m in Movement.objects.filter(entry=done.entry)} == {"given"}
    assert fresh(w.day_01).retired_on is not None
    assert not w.day_01.seals.filter(broken=None).exists()
    assert w.day_01 not in Kit.objects.active()
    assert not list(audit.findings())


def test_undo_brings_back_the_kit_with_all_in_it_its_seal_and_its_reservations(
    w: make.World,
) -> None:
    trip = make.trip("Hill day", w.store, 3, 3)
    reservations.reserve(act(w.keeper), w.day_01, trip)
    sealing.reseal(act(w.keeper), w.day_01, "0417", anyway=True)
    before = fresh(w.day_01)
    done = leave(w, without=(trip.pk,))
    assert not Reservation.objects.promised().filter(kit=w.day_01).exists()
    reversal.reverse(act(w.keeper), done.entry.pk)
    after = fresh(w.day_01)
    assert after.retired_on is None
    assert (after.ready_until, after.fit_until) == (before.ready_until, before.fit_until)
    assert w.day_01.seals.filter(broken=None).get().number == "0417"
    assert Reservation.objects.promised().get(kit=w.day_01).trip == trip
    assert not list(audit.findings())


def test_it_is_sold_once_and_may_be_again_after_an_undo(w: make.World) -> None:
    done = leave(w)
    assert refused(w) == "kit-retired"
    reversal.reverse(act(w.keeper), done.entry.pk)
    with pytest.raises(Refused):
        reversal.reverse(act(w.keeper), done.entry.pk)
    assert leave(w).units == done.units


def test_trips_that_it_is_reserved_for_are_named_and_each_is_confirmed(w: make.World) -> None:
    first, second = make.trip("Hill day", w.store, 3, 3), make.trip("Cave day", w.store, 9, 9)
    for trip in (first, second):
        reservations.reserve(act(w.keeper), w.day_01, trip)
    with pytest.raises(Refused) as problem:
        leave(w)
    assert problem.value.code == "kit-missed"
    assert problem.value.facts["trips"] == [first.pk, second.pk]
    assert "Hill day" in problem.value.detail
    # Confirmed before the second trip was reserved: it is asked again, of that one.
    with pytest.raises(Refused) as problem:
        leave(w, without=(first.pk,))
    assert problem.value.facts["trips"] == [second.pk]
    assert [trip.pk for trip in leave(w, without=(first.pk, second.pk)).trips] == [
        first.pk,
        second.pk,
    ]


def test_a_kit_that_is_out_or_kept_as_it_came_back_or_for_training_stays(w: make.World) -> None:
    holds.withhold(act(w.keeper), w.day_01, WithheldKind.KEEP_AS_IT_CAME_BACK)
    assert refused(w) == "keep-as-it-came-back"
    holds.release(act(w.keeper), w.day_01, WithheldKind.KEEP_AS_IT_CAME_BACK)
    custody.check_out(act(w.keeper), w.day_01, person=w.guide)
    assert refused(w) == "kit-is-out"
    custody.check_in(act(w.keeper), w.day_01)
    kits.edit_kit(act(w.keeper), w.day_01, training=True)
    assert refused(w) == "training-stock"


def test_what_is_recalled_keeps_it_and_what_is_out_of_date_is_confirmed(w: make.World) -> None:
    old = make.some(w.dressing, w.shelf, 1, "OLD", make.days(30))
    make.put_in(w.day_01, old, w.shelf, 1)
    type(old).objects.filter(pk=old.pk).update(expiry=make.days(-1))
    assert refused(w) == "confirm-expired"
    recalls.start(act(w.keeper), item=w.dressing, scope="number", number="D1")
    assert refused(w, replace(CENTRE, expired=True)) == "recalled"


def test_a_recall_later_says_who_has_the_kit(w: make.World) -> None:
    leave(w)
    recall = recalls.start(act(w.keeper), item=w.dressing, scope="number", number="D1")
    (gone,) = status.of(recall).gone
    assert (gone.how, gone.to, gone.kit) == ("given", "The youth centre", w.day_01)


def test_it_cannot_be_taken_out_or_reserved_any_more(w: make.World) -> None:
    leave(w)
    with pytest.raises(Refused) as problem:
        custody.check_out(act(w.keeper), fresh(w.day_01), person=w.guide)
    assert problem.value.code == "kit-retired"
    with pytest.raises(Refused) as problem:
        reservations.reserve(act(w.keeper), fresh(w.day_01), make.trip("Late", w.store, 3, 3))
    assert problem.value.code == "kit-retired"


def test_nothing_is_put_into_a_kit_that_left_until_that_is_undone(w: make.World) -> None:
    done = leave(w)
    before = Entry.objects.count()
    kit = fresh(w.day_01)
    line = sorting.restock_list(kit).list.put_in[0].line.id
    ways: tuple[Callable[[], object], ...] = (
        lambda: sorting.restock(act(w.keeper), kit),
        lambda: adding.add(act(w.keeper), kit, line),
    )
    for put_in in ways:
        with pytest.raises(Refused) as problem:
            put_in()
        assert problem.value.code == "kit-retired"
        assert "was sold or given away on" in problem.value.detail
    assert Entry.objects.count() == before
    reversal.reverse(act(w.keeper), done.entry.pk)
    sorting.restock(act(w.keeper), fresh(w.day_01))


def test_only_a_keeper_of_its_home_does_it_and_only_whole(w: make.World) -> None:
    for who in (w.guide, w.stranger):
        with pytest.raises(NotAllowed):
            leave(w, who=who)
    assert refused(w, replace(CENTRE, to="")) == "invalid-request"
    assert fresh(w.day_01).retired_on is None
