"""Counting, putting mistakes right, looking back, and the audit that derives it all again."""

import uuid
from datetime import datetime, timedelta
from typing import Any

import pytest

from gearroom.core import clock
from gearroom.core.acts import Invalid, NotFound, Refused
from kits.models import AsFound, Checkout, EntryKind, Holding, Kit, Notice, Seal, WithheldKind
from kits.services.custody import custody, use
from kits.services.custody.use import UseLine
from kits.services.kits import history, holds, kits
from kits.services.ledger import audit
from kits.services.ledger.undo import reversal
from kits.services.lookup import holders
from kits.services.restocking import sealing, sorting
from kits.services.stock import counting, moving, receiving
from kits.services.stock.counting import CountLine
from tests.kits.factories import World, act, days, fresh, section, some, units, world
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> World:
    return world()


# ------------------------------------------------------------------------------------- counting
def test_a_count_writes_what_was_found_even_out_of_date(school: World) -> None:
    main = section(school.day_01)
    old = some(school.dressing, school.upper, 9, "OLD", days(-5))

    done = counting.count(act(school.keeper), [main], [CountLine(main, 2, lot=old)], complete=False)

    assert units(old, main) == 2
    assert done.entry.irregular == ["found-expired"]


def test_a_count_that_says_nothing_else_is_there_takes_what_is_not_named_as_gone(
    school: World,
) -> None:
    main = section(school.day_01)

    found = [CountLine(main, 6, lot=school.dressings)]
    done = counting.count(act(school.keeper), [main], found, complete=True)

    (missing,) = done.differences
    assert missing.lot == school.lots["shears"]
    assert (missing.booked, missing.found) == (1, 0)


def test_a_count_by_thing_takes_the_oldest_as_the_missing_ones(school: World) -> None:
    main = section(school.day_01)
    custody.check_in(act(school.keeper), school.day_01, used=[UseLine(school.dressing, 3)])
    sorting.restock(
        act(school.keeper),
        school.day_01,
        as_listed=False,
        extra=[sorting.PutIn(school.lots["d2"], school.upper, main, 2)],
    )

    done = counting.count(
        act(school.keeper), [main], [CountLine(main, 3, item=school.dressing)], complete=False
    )

    (missing,) = done.differences
    assert missing.lot == school.dressings
    assert (missing.booked, missing.found, missing.assumed) == (3, 1, True)


def test_a_missing_medicine_is_told_to_the_keepers(school: World) -> None:
    pouch = section(school.day_01, "pouch")

    counting.count(act(school.keeper), [pouch], [CountLine(pouch, 5, lot=school.lots["tablets"])])

    told = Notice.objects.get(kind="medicine-missing", person=school.keeper)
    assert told.facts == {"missing": {"Pain tablets": 3}}


def test_the_differences_can_be_seen_before_they_are_written(school: World) -> None:
    main = section(school.day_01)

    seen = counting.differences([main], [CountLine(main, 1, lot=school.dressings)], complete=False)

    assert [(d.booked, d.found) for d in seen] == [(6, 1)]
    assert units(school.dressings, main) == 6


@pytest.mark.parametrize("twice", [True, False])
def test_a_count_that_cannot_be_is_refused(school: World, twice: bool) -> None:
    main, shelf = section(school.day_01), school.shelf
    found = [CountLine(main, 1, lot=school.dressings)] * 2 if twice else [CountLine(shelf, 1)]

    with pytest.raises(Invalid):
        counting.count(act(school.keeper), [main], found)


# ------------------------------------------------------------------------------------ reversing
def test_undoing_a_hand_back_reopens_the_checkout_with_all_that_came_of_it(school: World) -> None:
    sealing.reseal(act(school.keeper), school.day_01, "0417")
    custody.check_out(act(school.keeper), school.day_01, person=school.guide)
    back = custody.check_in(
        act(school.guide, room=school.hut),
        school.day_01,
        used=[UseLine(school.dressing, 2)],
        wet=True,
        wrong="a torn zip",
    )

    done = reversal.reverse(act(school.keeper), back.entry.pk)

    assert {present(e.reverses).kind for e in done.entries} == {"check-in", "use", "withhold"}
    assert present(holders.open_checkout(school.day_01)).person == school.guide
    assert units(school.dressings, section(school.day_01)) == 6
    assert not school.day_01.withholdings.filter(released=None).exists()
    assert Seal.objects.get().broken is None
    assert fresh(school.day_01).room == school.store
    assert fresh(school.day_01).to_sort_since is None
    assert done.notices_taken_back > 0
    assert list(audit.findings()) == []


def test_an_act_is_put_right_once(school: World) -> None:
    used = use.log_use(act(school.guide), school.day_01, [UseLine(school.dressing, 1)])
    reversal.reverse(act(school.keeper), used.entry.pk)

    with pytest.raises(Refused) as refused:
        reversal.reverse(act(school.keeper), used.entry.pk)

    assert refused.value.code == "reversed-already"


def test_what_later_acts_were_built_on_is_listed_and_nothing_is_moved(school: World) -> None:
    arrived = receiving.receive(
        act(school.keeper), item=school.dressing, shelf=school.upper, units=4, number="NEW",
        expiry=days(500),
    )  # fmt: skip
    moved = moving.move(
        act(school.keeper), lot=arrived.lot, units=3, source=school.upper, target=school.shelf
    )

    with pytest.raises(Refused) as refused:
        reversal.reverse(act(school.keeper), arrived.entry.pk)

    assert refused.value.code == "built-on"
    (later,) = refused.value.facts["later"]
    assert (later["entry"], later["kind"], later["who"]) == (moved.pk, "move", "Kim")
    assert units(arrived.lot, school.shelf) == 3


def test_an_act_with_an_opposite_says_so(school: World) -> None:
    kits.edit_kit(act(school.keeper), school.day_01, bag="a blue one")
    entry = school.day_01.entries.latest("id")

    with pytest.raises(Refused, match="Edit the kit again instead"):
        reversal.reverse(act(school.keeper), entry.pk)


def test_undoing_a_take_out_leaves_nobody_with_it(school: World) -> None:
    taken = custody.check_out(act(school.keeper), school.day_01, person=school.guide)

    reversal.reverse(act(school.keeper), taken.entry.pk)

    assert holders.open_checkout(school.day_01) is None
    assert Checkout.objects.get().undone is not None
    assert list(audit.findings()) == []


def test_an_entry_of_another_room_is_not_there(school: World) -> None:
    used = use.log_use(act(school.guide), school.day_01, [UseLine(school.dressing, 1)])

    with pytest.raises(NotFound):
        reversal.reverse(act(school.stranger), used.entry.pk)


# ----------------------------------------------------------------------------- known then and now
def test_what_was_in_the_kit_is_answered_as_known_then_and_as_known_now(school: World) -> None:
    before = clock.now()
    used = use.log_use(act(school.guide), school.day_01, [UseLine(school.dressing, 2)])
    after = clock.now()
    reversal.reverse(act(school.keeper), used.entry.pk)
    now = clock.now()

    def dressings(on: datetime, known_by: datetime) -> Any:
        found = history.contents(school.day_01, on=on, known_by=known_by)
        return sum(c.units for c in found.lines if c.lot.item == school.dressing)

    assert dressings(before, before) == 6
    assert dressings(after, after) == 4
    assert dressings(after, now) == 6


def test_it_says_who_had_it_under_which_seal(school: World) -> None:
    sealing.reseal(act(school.keeper), school.day_01, "0417")
    custody.check_out(act(school.keeper), school.day_01, person=school.guide)
    then = clock.now()
    custody.check_in(act(school.guide), school.day_01, as_found=AsFound.OPENED)

    found = history.contents(school.day_01, on=then)

    assert (found.holder, found.seal) == ("Gil", "0417")
    now = history.contents(school.day_01)
    assert (now.holder, now.seal) == ("", "")


def test_a_day_is_asked_to_its_end_where_the_kit_is_at_home(school: World) -> None:
    found = history.contents(school.day_01, on=days(0))

    assert clock.local_date(found.on, "UTC") == days(0)
    assert found.on + timedelta(seconds=1) == history.instant(school.day_01, days(0)) + timedelta(
        seconds=1
    )
    assert sum(c.units for c in found.lines) == 15


def test_what_will_be_known_is_not_known(school: World) -> None:
    with pytest.raises(Invalid):
        history.contents(school.day_01, known_by=clock.now() + timedelta(days=1))


# ---------------------------------------------------------------------------------------- audit
def test_the_audit_finds_a_holding_that_no_movement_explains(school: World) -> None:
    Holding.objects.filter(lot=school.dressings, place=school.shelf).update(units=99)

    (finding,) = list(audit.findings())

    assert finding.facts == {"stored": 99, "derived": 12}


def test_the_audit_finds_last_days_that_the_rule_does_not_give(school: World) -> None:
    Kit.objects.filter(pk=school.day_01.pk).update(
        ready_until=days(1), fit_until=days(1), may_go_until=days(1)
    )

    assert [f.about for f in audit.findings()] == ["kit"]


def test_the_audit_finds_a_checkout_that_was_closed_and_is_open(school: World) -> None:
    custody.check_out(act(school.keeper), school.day_01, person=school.guide)
    custody.check_in(act(school.guide), school.day_01)
    Checkout.objects.update(in_at=None, closed_by=None)

    assert "checkout" in {f.about for f in audit.findings()}


def test_every_entry_of_one_act_carries_its_key(school: World) -> None:
    key = uuid.uuid4()
    custody.check_out(act(school.keeper), school.day_01, person=school.guide)

    back = custody.check_in(
        act(school.guide, key=key), school.day_01, used=[UseLine(school.dressing, 1)], wet=True
    )

    parts = list(
        type(back.entry).objects.filter(key=key).order_by("part").values_list("part", "kind")
    )
    assert parts == [(0, EntryKind.CHECK_IN), (1, EntryKind.USE), (2, EntryKind.WITHHOLD)]


def test_a_kit_is_kept_back_once_and_released(school: World) -> None:
    holds.withhold(act(school.guide), school.day_01, WithheldKind.DRYING)
    holds.withhold(act(school.guide), school.day_01, WithheldKind.DRYING)
    assert school.day_01.withholdings.count() == 1

    holds.release(act(school.keeper), school.day_01, WithheldKind.DRYING)

    assert fresh(school.day_01).fit_until is not None
    with pytest.raises(Refused):
        holds.release(act(school.keeper), school.day_01, WithheldKind.DRYING)
