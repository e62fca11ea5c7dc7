"""Sorting a kit: restock, reseal, borrow; and seals that break by themselves."""

from typing import Any

import pytest

from gearroom.core.acts import Invalid, Refused
from kits.models import EntryKind, Holding, Notice, PlaceKind, Seal, Trip, WithheldKind
from kits.services.custody import custody, use
from kits.services.custody.use import UseLine
from kits.services.kits import holds
from kits.services.ledger import verdicts
from kits.services.restocking import borrowing, sealing, sorting
from kits.services.restocking.borrowing import BorrowLine
from kits.services.restocking.sorting import PutIn, RestockDifference
from kits.services.trips import reservations
from tests.kits.factories import World, act, days, fresh, section, some, trip, units, world

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> World:
    return world()


def use_some(school: World, number: int = 3) -> use.UseResult:
    """Some dressings of DAY-01 were used."""
    return use.log_use(act(school.guide), school.day_01, [UseLine(school.dressing, number)])


def test_the_list_names_the_oldest_batch_that_lasts_and_its_shelf(school: World) -> None:
    use_some(school)

    plan = sorting.restock_list(school.day_01)

    (row,) = [row for row in plan.list.put_in if row.thing.id == school.dressing.pk]
    assert plan.lots[row.batch.id] == school.dressings
    assert plan.shelves[int(row.shelf)] == school.shelf
    assert row.count == 3


def test_the_list_is_good_through_the_next_trip(school: World) -> None:
    use_some(school)
    short = some(school.dressing, school.shelf, 9, "SHORT", days(30))
    walk = trip("Ridge walk", school.store, 40, 41)
    reservations.reserve(act(school.keeper), school.day_01, walk, person=school.guide)

    plan = sorting.restock_list(school.day_01)

    assert plan.through == walk.last_day
    assert short.pk not in {row.batch.id for row in plan.list.put_in}


def test_all_as_listed_makes_it_full_and_looked_inside(school: World) -> None:
    use_some(school)

    sorting.restock(act(school.guide), school.day_01)

    kit = fresh(school.day_01)
    assert units(school.dressings, section(kit)) == 6
    assert kit.looked_inside_by == school.guide
    assert verdicts.verdict(kit, days(0)).fit


def test_an_exception_stands_in_for_what_was_listed(school: World) -> None:
    use_some(school)
    main = section(school.day_01)
    other = PutIn(school.lots["d2"], school.upper, main, 2)

    sorting.restock(
        act(school.guide),
        school.day_01,
        exceptions=[RestockDifference(school.dressing, main, [other])],
    )

    assert units(school.lots["d2"], main) == 2
    assert units(school.dressings, main) == 3


def test_what_may_not_go_in_is_refused_whole(school: World) -> None:
    use_some(school)
    main = section(school.day_01)
    old = some(school.dressing, school.upper, 5, "LATE", days(1))
    from kits.models import Lot

    Lot.objects.filter(pk=old.pk).update(expiry=days(-1))
    old.refresh_from_db()
    before = units(school.dressings, main)

    with pytest.raises(Refused) as refused:
        sorting.restock(act(school.guide), school.day_01, extra=[PutIn(old, school.upper, main, 1)])

    assert refused.value.code == "expired"
    assert units(school.dressings, main) == before


def test_more_than_the_shelf_holds_is_refused_and_nothing_moves(school: World) -> None:
    use_some(school)
    main = section(school.day_01)

    with pytest.raises(Refused) as refused:
        sorting.restock(
            act(school.guide),
            school.day_01,
            as_listed=False,
            extra=[PutIn(school.dressings, school.shelf, main, 500)],
        )

    assert refused.value.code == "not-enough"
    assert refused.value.facts["held"] == 12
    assert units(school.dressings, main) == 3


@pytest.mark.parametrize("wrong", [-1, True, 1.5, "2", 10**9])
def test_a_number_that_is_none_is_refused(school: World, wrong: Any) -> None:
    main = section(school.day_01)

    with pytest.raises(Invalid):
        sorting.restock(
            act(school.guide),
            school.day_01,
            exceptions=[
                RestockDifference(
                    school.dressing, main, [PutIn(school.dressings, school.shelf, main, wrong)]
                )
            ],
        )


def test_a_kit_kept_as_it_came_back_is_not_touched(school: World) -> None:
    holds.withhold(act(school.keeper), school.day_01, WithheldKind.KEEP_AS_IT_CAME_BACK)

    with pytest.raises(Refused) as refused:
        sorting.restock(act(school.guide), school.day_01)

    assert refused.value.code == "keep-as-it-came-back"


def test_any_movement_breaks_the_seal(school: World) -> None:
    sealing.reseal(act(school.keeper), school.day_01, "0417")

    used = use_some(school)

    assert Seal.objects.get().broken == used.entry


def test_a_seal_is_on_one_kit_only(school: World) -> None:
    sealing.reseal(act(school.keeper), school.day_01, "0417")

    with pytest.raises(Refused) as refused:
        sealing.reseal(act(school.keeper), school.day_02, "0417")

    assert refused.value.code == "seal-in-use"
    assert refused.value.facts["kit"] == "DAY-01"


@pytest.mark.parametrize(
    ("last", "following"), [("0417", "0418"), ("B0099", "B0100"), ("999", "1000"), ("red", "")]
)
def test_the_next_seal_is_offered_off_the_strip(school: World, last: str, following: str) -> None:
    sealing.reseal(act(school.keeper), school.day_01, last)

    assert sealing.next_seal_number(school.store) == following


def test_taking_out_puts_each_thing_where_it_goes(school: World) -> None:
    from kits.services.stock import counting
    from kits.services.stock.counting import CountLine

    main = section(school.day_01)
    old = some(school.tablets, school.upper, 3, "OLD", days(2))
    counting.count(act(school.keeper), [main], [CountLine(main, 3, lot=old)], complete=False)
    from kits.models import Lot

    Lot.objects.filter(pk=old.pk).update(expiry=days(-1))

    entry = sorting.take_expired_out(act(school.keeper), school.day_01)

    assert entry.kind == EntryKind.TAKE_OUT
    assert entry.movements.get().to_place.kind == PlaceKind.PHARMACY


def test_there_is_nothing_to_take_out_of_a_good_kit(school: World) -> None:
    with pytest.raises(Refused) as refused:
        sorting.take_expired_out(act(school.keeper), school.day_01)

    assert refused.value.code == "nothing-to-take-out"


def test_a_kit_borrows_from_another_and_both_are_judged_again(school: World) -> None:
    line = BorrowLine(school.dressings, section(school.day_01), section(school.day_02), 3)

    borrowing.borrow(act(school.guide), school.day_01, school.day_02, [line])

    assert units(school.dressings, section(school.day_02)) == 3
    assert fresh(school.day_01).fit_until is None
    assert Holding.objects.filter(place__kit=school.day_02).exists()


def test_a_loan_reported_afterwards_is_recorded_whatever_the_book_says(school: World) -> None:
    line = BorrowLine(school.dressings, section(school.day_01), section(school.day_02), 9)
    with pytest.raises(Refused):
        borrowing.borrow(act(school.guide), school.day_01, school.day_02, [line])

    entry = borrowing.borrow(
        act(school.guide), school.day_01, school.day_02, [line], already_done=True
    )

    assert entry.irregular == ["borrowed-more-than-the-book-held"]
    assert units(school.dressings, section(school.day_01)) == 0
    assert units(school.dressings, section(school.day_02)) == 9
    assert Notice.objects.filter(kind="irregular", entry=entry).exists()


def test_a_loan_from_a_kit_to_be_kept_as_it_came_is_refused_before_and_recorded_after(
    school: World,
) -> None:
    holds.withhold(act(school.keeper), school.day_01, WithheldKind.KEEP_AS_IT_CAME_BACK)
    line = BorrowLine(school.dressings, section(school.day_01), section(school.day_02), 1)
    with pytest.raises(Refused):
        borrowing.borrow(act(school.guide), school.day_01, school.day_02, [line])

    entry = borrowing.borrow(
        act(school.guide), school.day_01, school.day_02, [line], already_done=True
    )

    assert entry.irregular == ["kept-as-it-came"]


def test_a_kit_does_not_borrow_from_itself(school: World) -> None:
    with pytest.raises(Invalid):
        borrowing.borrow(act(school.guide), school.day_01, school.day_01, [])


def test_use_of_more_than_the_book_holds_is_found_and_used(school: World) -> None:
    done = use.log_use(act(school.guide), school.day_01, [UseLine(school.dressing, 8)])

    assert "used-more-than-the-book-held" in done.entry.irregular
    assert sum(line.found for line in done.lines) == 2
    assert sum(line.units for line in done.lines) == 8
    assert units(school.dressings, section(school.day_01)) == 0


def test_things_judged_by_eye_are_not_counted_as_used(school: World) -> None:
    with pytest.raises(Invalid, match="is loose"):
        use.log_use(act(school.guide), school.day_01, [UseLine(school.plasters, 1)])


def test_a_handed_back_kit_is_fit_again_after_sorting(school: World) -> None:
    custody.check_out(act(school.keeper), school.day_01, person=school.guide)
    custody.check_in(act(school.guide), school.day_01, used=[UseLine(school.dressing, 3)])
    assert not verdicts.verdict(fresh(school.day_01), days(0)).may_go

    sorting.restock(act(school.guide), school.day_01)
    sealing.reseal(act(school.guide), school.day_01, "0417")

    kit = fresh(school.day_01)
    assert kit.fit_until is not None
    assert kit.fit_until >= days(0)
    assert verdicts.verdict(kit, days(0)).fit


def back_from(school: World, first: int, last: int) -> Trip:
    """The kit went on a trip before its departure, and is back."""
    walk = trip("Ridge walk", school.store, first, last, leader=school.guide)
    reservations.reserve(act(school.keeper), fresh(school.day_01), walk)
    custody.check_out(act(school.keeper), fresh(school.day_01), already_gone=True)
    custody.check_in(act(school.keeper), fresh(school.day_01))
    return walk


def test_a_kit_back_early_is_not_restocked_for_the_trip_it_came_back_from(school: World) -> None:
    soon = some(school.dressing, school.shelf, 9, "SOON", days(2))
    back_from(school, 1, 1)
    use_some(school)

    plan = sorting.restock_list(fresh(school.day_01))

    assert plan.through == days(28)
    assert soon.pk not in {row.batch.id for row in plan.list.put_in}


def test_a_kit_back_early_that_may_go_on_the_trip_again_lasts_through_that_too(
    school: World,
) -> None:
    walk = back_from(school, 1, 40)

    assert sorting.restock_list(fresh(school.day_01)).through == walk.last_day


def test_a_kit_back_early_is_restocked_for_the_trip_after(school: World) -> None:
    back_from(school, 1, 1)
    after = trip("Next walk", school.store, 9, 10, leader=school.guide)
    reservations.reserve(act(school.keeper), fresh(school.day_01), after)

    assert sorting.restock_list(fresh(school.day_01)).through == after.last_day
