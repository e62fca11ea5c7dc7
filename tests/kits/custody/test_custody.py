"""Taking out, passing on and handing back: requests can be refused, facts are written down."""

from datetime import timedelta
from typing import Any

import pytest

from gearroom.core import clock
from gearroom.core.acts import NotAllowed, Refused, Unacceptable
from kits.models import AsFound, Checkout, EntryKind, Notice, Reservation, Seal, WithheldKind
from kits.services.custody import custody, passing_on
from kits.services.custody.use import UseLine
from kits.services.kits import holds
from kits.services.ledger import audit
from kits.services.lookup import holders
from kits.services.restocking import sealing, sorting
from kits.services.trips import reservations
from tests.kits.factories import World, act, days, fresh, some, trip, units, world
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> World:
    return world()


def out(school: World, **more: Any) -> custody.CheckOut:
    """DAY-01 taken out by the keeper for the guide."""
    return custody.check_out(act(school.keeper), school.day_01, person=school.guide, **more)


def test_it_goes_out_for_the_trip_it_is_reserved_for_to_its_guide(school: World) -> None:
    walk = trip("Ridge walk", school.store, 0, 2, leader=school.instructor)
    reservations.reserve(act(school.keeper), school.day_01, walk, person=school.guide)

    taken = custody.check_out(
        act(school.keeper), school.day_01, short_reason="a longer trip than the list is made for"
    )

    assert present(taken.checkout).trip == walk
    assert present(taken.checkout).person == school.guide
    assert present(taken.checkout).due_at == walk.returns_at
    assert taken.verdict.through == walk.last_day
    assert present(taken.checkout).reservation == Reservation.objects.get()


def test_nobody_else_gets_a_kit_that_somebody_has(school: World) -> None:
    out(school)

    with pytest.raises(Refused) as refused:
        custody.check_out(act(school.keeper), school.day_01, person=school.instructor)

    assert refused.value.code == "kit-is-out"
    assert refused.value.facts["person_name"] == "Gil"
    assert Checkout.objects.count() == 1


def test_a_kit_not_reserved_to_anybody_needs_somebody_to_take_it(school: World) -> None:
    with pytest.raises(Unacceptable) as refused:
        custody.check_out(act(school.keeper), school.day_01)

    assert refused.value.code == "who-takes-it"


def test_a_due_time_that_has_passed_is_refused(school: World) -> None:
    with pytest.raises(Unacceptable) as refused:
        out(school, due_at=clock.now() - timedelta(hours=1))

    assert refused.value.code == "due-in-the-past"


def test_a_kit_without_its_must_have_does_not_go_whoever_asks(school: World) -> None:
    with pytest.raises(Refused) as refused:
        custody.check_out(
            act(school.keeper), school.day_02, person=school.guide, short_reason="it will do"
        )

    assert refused.value.code == "not-fit"
    assert any(r["facts"].get("criticality") == "must-have" for r in refused.value.facts["reasons"])


def test_a_short_kit_goes_only_with_a_reason_of_who_may_give_one(school: World) -> None:
    some_shears = school.lots["shears"]
    custody.check_in(
        act(school.keeper), school.day_01, used=[UseLine(some_shears.item, 1, lot=some_shears)]
    )
    sorting.look_inside(act(school.keeper), school.day_01)

    with pytest.raises(Refused) as refused:
        out(school)
    assert refused.value.code == "short-needs-a-reason"
    with pytest.raises(NotAllowed):
        custody.check_out(
            act(school.guide), school.day_01, person=school.guide, short_reason="it will do"
        )
    assert present(out(school, short_reason="no climbing today").checkout).short_reason


def test_a_rescue_always_goes_and_the_keeper_is_told_at_once(school: World) -> None:
    taken = custody.check_out(
        act(school.stranger), school.day_02, person=school.stranger, emergency=True
    )

    assert present(taken.checkout).emergency
    assert present(taken.checkout).due_at is None
    assert "emergency" in taken.entry.irregular
    assert Notice.objects.filter(kind="emergency", person=school.keeper).exists()


def test_what_went_although_somebody_had_it_is_recorded_and_marked_irregular(school: World) -> None:
    first = out(school).checkout

    late = custody.check_out(
        act(school.keeper), school.day_01, person=school.instructor, already_gone=True
    )

    present(first).refresh_from_db()
    assert "was-out" in late.entry.irregular
    assert present(first).in_at is not None
    assert present(holders.open_checkout(school.day_01)).person == school.instructor


def test_what_went_earlier_is_dated_when_it_went(school: World) -> None:
    earlier = clock.now() - timedelta(minutes=20)

    late = custody.check_out(
        act(school.keeper, claimed_at=earlier, device_now=clock.now()),
        school.day_02,
        person=school.guide,
        already_gone=True,
    )

    assert abs(late.entry.occurred_at - earlier) < timedelta(seconds=5)
    assert present(late.checkout).out_at == late.entry.occurred_at


def test_sealed_and_dry_with_the_right_seal_is_fit_again_at_once(school: World) -> None:
    sealing.reseal(act(school.keeper), school.day_01, "0417")
    out(school)

    back = custody.check_in(
        act(school.guide), school.day_01, as_found=AsFound.SEALED, seal_seen="417"
    )

    assert back.as_found == AsFound.SEALED
    assert fresh(school.day_01).to_sort_since is None
    assert Seal.objects.get().broken is None
    assert back.irregular == []


def test_a_seal_number_that_is_not_the_one_means_it_was_opened(school: World) -> None:
    sealing.reseal(act(school.keeper), school.day_01, "0417")
    out(school)

    back = custody.check_in(
        act(school.guide), school.day_01, as_found=AsFound.SEALED, seal_seen="0555"
    )

    assert back.as_found == AsFound.OPENED
    assert "seal-not-the-one" in back.irregular
    assert Seal.objects.get().broken == back.entry
    assert fresh(school.day_01).to_sort_since is not None


def test_sealed_and_dry_without_a_seal_on_record_waits_to_be_sorted(school: World) -> None:
    out(school)

    back = custody.check_in(act(school.guide), school.day_01, as_found=AsFound.SEALED)

    assert back.as_found == AsFound.SORT_LATER
    assert fresh(school.day_01).to_sort_since is not None


def test_a_kit_to_sort_later_does_not_go_until_somebody_looked_inside(school: World) -> None:
    out(school)
    custody.check_in(act(school.guide), school.day_01)

    with pytest.raises(Refused, match="needs sorting"):
        out(school)
    sorting.look_inside(act(school.guide), school.day_01)
    assert present(out(school).checkout).person == school.guide


def test_what_was_used_is_written_against_the_trip(school: World) -> None:
    walk = trip("Ridge walk", school.store)
    out(school, trip=walk, short_reason="together with another")

    back = custody.check_in(
        act(school.guide), school.day_01, used=[UseLine(school.dressing, 2)], incident="R-12"
    )

    assert back.as_found == AsFound.OPENED
    assert present(back.use).entry.trip == walk
    assert present(back.use).entry.incident == "R-12"
    assert present(back.use).lines[0].assumed
    assert units(school.dressings, present(back.use).lines[0].section) == 4


def test_anyone_may_hand_in_any_kit_wherever_they_are(school: World) -> None:
    out(school)

    back = custody.check_in(act(school.stranger, room=school.hut), school.day_01)

    assert back.entry.room == school.hut
    assert fresh(school.day_01).room == school.hut
    assert holders.open_checkout(school.day_01) is None


def test_a_kit_that_was_not_out_is_written_down_as_here(school: World) -> None:
    back = custody.check_in(act(school.guide), school.day_01)

    assert back.checkout is None
    assert back.entry.irregular == ["was-not-out"]


def test_a_wet_kit_dries_and_a_broken_one_is_kept_back(school: World) -> None:
    out(school)

    custody.check_in(act(school.guide), school.day_01, wet=True, wrong="a torn zip")

    kept = set(school.day_01.withholdings.values_list("kind", flat=True))
    assert kept == {WithheldKind.DRYING, WithheldKind.SOMETHING_WRONG}
    assert Notice.objects.filter(kind="something-wrong").exists()


def test_passing_on_keeps_one_checkout_and_every_holder(school: World) -> None:
    taken = out(school)

    passing_on.pass_on(act(school.guide), school.day_01, school.instructor)

    held = holders.open_checkout(school.day_01)
    assert held == taken.checkout
    assert present(held).person == school.instructor
    people = [h.person for h in present(held).handovers.all()]
    assert people == [school.guide, school.instructor]


def test_passing_to_whoever_has_it_already_is_recorded_and_changes_nothing(school: World) -> None:
    taken = out(school)

    passed = passing_on.pass_on(act(school.keeper), school.day_01, school.guide)

    assert passed.checkout == taken.checkout
    assert passed.entry.kind == EntryKind.PASS
    held = holders.open_checkout(school.day_01)
    assert (present(held).person, present(held).out_at, present(held).due_at) == (
        school.guide, present(taken.checkout).out_at, present(taken.checkout).due_at
    )  # fmt: skip
    assert list(audit.findings()) == []


def test_a_kit_passed_on_that_the_book_shows_in_is_written_as_gone_and_the_keeper_told(
    school: World,
) -> None:
    held = passing_on.pass_on(act(school.guide), school.day_01, school.instructor).checkout

    assert present(held).person == school.instructor
    assert present(held).opened_by.kind == EntryKind.CHECK_OUT
    assert "was-not-taken-out" in present(held).opened_by.irregular
    assert Notice.objects.filter(kind="irregular", person=school.keeper).exists()


def test_a_lost_kit_that_is_scanned_was_found(school: World) -> None:
    holds.mark_lost(act(school.guide), school.day_01)

    custody.check_in(act(school.guide), school.day_01)

    assert fresh(school.day_01).lost_since is None
    assert Notice.objects.filter(kind="lost", person=school.instructor).exists()


def test_a_lost_kit_that_is_passed_on_was_found(school: World) -> None:
    out(school)
    holds.mark_lost(act(school.guide), school.day_01)

    passing_on.pass_on(act(school.guide), school.day_01, school.instructor)

    kit = fresh(school.day_01)
    assert (kit.lost_since, kit.to_sort_since is None) == (None, False)
    assert list(audit.findings()) == []


def test_an_out_of_date_dressing_inside_keeps_the_kit_here_until_it_is_out(school: World) -> None:
    from kits.services.stock import counting
    from kits.services.stock.counting import CountLine

    old = some(school.dressing, school.upper, 3, "OLD", days(-1))
    main = school.day_01.sections.get(section_key="main")
    counting.count(act(school.keeper), [main], [CountLine(main, 1, lot=old)], complete=False)

    with pytest.raises(Refused, match="went out of date"):
        out(school)
    sorting.take_expired_out(act(school.keeper), school.day_01)
    sorting.look_inside(act(school.keeper), school.day_01)
    assert out(school).verdict.may_go
