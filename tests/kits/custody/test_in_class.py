"""A training kit out to a class and back: one act each, and nothing of it is use."""

import pytest

from kits.models import AsFound, Entry, Kit, Movement, Notice, PlaceKind, WithheldKind
from kits.services.custody import custody, use
from kits.services.custody.use import UseLine
from kits.services.kits import holds, kits
from kits.services.ledger import audit
from kits.services.ledger.undo import reversal
from kits.services.lookup import holders
from kits.services.restocking import sorting
from kits.services.restocking.sorting import PutIn
from tests.kits import factories as make
from tests.kits.factories import act, fresh, section, trip, world
from tests.kits.problems import refused
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return world()


@pytest.fixture
def kit(w: make.World) -> Kit:
    made = make.kit("TRAIN-1", w.version, w.store, training=True)
    extra = [PutIn(w.lots["d2"], w.upper, section(made), 3)]
    sorting.restock(act(w.keeper), made, as_listed=False, extra=extra)
    return made


def dressings(w: make.World, units: int) -> list[UseLine]:
    return [UseLine(w.dressing, units)]


def went_to() -> dict[str, int]:
    rows = Movement.objects.filter(entry__kind="use").values_list("to_place__kind", "units")
    return dict(rows)


def in_order() -> None:
    assert not list(audit.findings())


def test_it_goes_out_by_one_act_to_whoever_takes_it(w: make.World, kit: Kit) -> None:
    out = custody.check_out(act(w.guide), kit)
    checkout = present(out.checkout)
    assert checkout.person == w.guide
    assert checkout.trip is None and checkout.due_at is not None
    assert not out.entry.irregular
    assert not Notice.objects.exists()
    in_order()


def test_it_goes_on_no_trip(w: make.World, kit: Kit) -> None:
    with refused("not-fit"):
        custody.check_out(act(w.keeper), kit, person=w.guide, trip=trip("Ridge", w.store))


def test_pressed_twice_it_is_out_once(w: make.World, kit: Kit) -> None:
    custody.check_out(act(w.guide), kit)
    with refused("kit-is-out"):
        custody.check_out(act(w.guide), kit)


def test_one_on_hold_or_in_storage_stays(w: make.World, kit: Kit) -> None:
    holds.withhold(act(w.keeper), kit, WithheldKind.SOMETHING_WRONG, "torn")
    with refused("not-fit") as problem:
        custody.check_out(act(w.keeper), fresh(kit))
    assert "torn" in str(problem.value) or "wrong" in str(problem.value)
    holds.release(act(w.keeper), kit, WithheldKind.SOMETHING_WRONG)
    holds.lay_up(act(w.keeper), fresh(kit))
    with refused("not-fit"):
        custody.check_out(act(w.keeper), fresh(kit))


@pytest.mark.parametrize("as_found", [AsFound.CLOSED, AsFound.SORT_LATER, AsFound.OPENED])
def test_it_comes_back_by_one_act_and_needs_no_sorting(
    w: make.World, kit: Kit, as_found: AsFound
) -> None:
    custody.check_out(act(w.guide), kit)
    custody.check_in(act(w.guide), fresh(kit), as_found=as_found)
    assert fresh(kit).to_sort_since is None
    assert holders.open_checkout(kit) is None
    in_order()


def test_what_was_used_up_was_used_in_class(w: make.World, kit: Kit) -> None:
    custody.check_out(act(w.guide), kit)
    custody.check_in(act(w.guide), fresh(kit), used=dressings(w, 2))
    use.log_use(act(w.guide), fresh(kit), dressings(w, 1))
    assert set(went_to()) == {PlaceKind.CLASS}
    assert fresh(kit).to_sort_since is None
    in_order()


def test_back_before_it_is_on_record_as_out_its_use_is_still_in_class(
    w: make.World, kit: Kit
) -> None:
    back = custody.check_in(act(w.guide), kit, used=dressings(w, 1))
    assert back.irregular == ["was-not-out"]
    assert went_to() == {PlaceKind.CLASS: 1}
    assert fresh(kit).to_sort_since is None


def test_brought_back_to_another_room_it_is_there(w: make.World, kit: Kit) -> None:
    custody.check_out(act(w.guide), kit)
    custody.check_in(act(w.guide, room=w.hut), fresh(kit), as_found=AsFound.CLOSED)
    assert fresh(kit).room == w.hut
    assert fresh(kit).to_sort_since is None
    in_order()


def test_an_undone_return_leaves_it_out_and_full(w: make.World, kit: Kit) -> None:
    custody.check_out(act(w.guide), kit)
    back = custody.check_in(act(w.guide), fresh(kit), used=dressings(w, 2))
    reversal.reverse(act(w.guide), back.entry.pk)
    assert present(holders.open_checkout(kit)).person == w.guide
    assert make.units(w.lots["d2"], section(kit)) == 3
    in_order()


def test_taken_in_an_emergency_it_is_used_in_earnest(w: make.World, kit: Kit) -> None:
    out = custody.check_out(act(w.guide), kit, emergency=True)
    assert {"emergency", "training"} <= set(out.entry.irregular)
    custody.check_in(act(w.guide), fresh(kit), used=dressings(w, 1))
    assert went_to() == {PlaceKind.USED: 1}
    assert fresh(kit).to_sort_since is not None
    in_order()


def test_with_sharps_or_blood_it_is_sorted(w: make.World, kit: Kit) -> None:
    custody.check_out(act(w.guide), kit)
    custody.check_in(act(w.guide), fresh(kit), as_found=AsFound.OPENED, sharps_or_blood=True)
    assert fresh(kit).to_sort_since is not None
    in_order()


def test_reported_as_gone_with_nobody_known_it_is_nobodys(w: make.World, kit: Kit) -> None:
    out = custody.check_out(act(w.keeper), kit, person=None, already_gone=True)
    assert present(out.checkout).person is None
    assert not out.entry.irregular
    assert Entry.objects.filter(kit=kit, kind="check-out").count() == 1


def test_marked_as_training_while_it_waits_it_waits_on(w: make.World) -> None:
    custody.check_out(act(w.keeper), w.day_01, person=w.guide)
    custody.check_in(act(w.guide), fresh(w.day_01), as_found=AsFound.OPENED)
    kits.edit_kit(act(w.keeper), fresh(w.day_01), training=True)
    assert fresh(w.day_01).to_sort_since is not None
    in_order()
