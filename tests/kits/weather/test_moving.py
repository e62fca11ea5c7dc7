"""What may not stay where it is kept is moved by one act, and put back by another."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gearroom.core.acts import Invalid, NotAllowed, Refused
from kits.models import EntryKind, Item, Kit, Lot, PlaceKind, WithheldKind
from kits.services.custody import custody
from kits.services.kits import holds
from kits.services.ledger import audit, readiness
from kits.services.ledger.book import room_place
from kits.services.ledger.undo import reversal
from kits.services.restocking import sorting
from kits.services.stock import moving as stock_moving, shelves
from kits.services.weather import jobs, moving
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh, section
from tests.kits.weather.cold import in_days, month, school

pytestmark = pytest.mark.django_db
AFTER = 100
"""Days from now after which this month and the next are over."""


@pytest.fixture
def w() -> World:
    return school()


def refused(perform: Callable[..., Any], *args: Any) -> str:
    with pytest.raises((Refused, Invalid)) as problem:
        perform(*args)
    return problem.value.code


def job(w: World) -> jobs.WeatherJob | None:
    return jobs.of_kit(fresh(w.day_01), readiness.today_of(w.day_01))


def inside(w: World) -> int:
    return make.units(w.lots["tablets"], section(w.day_01, "pouch"))


def test_what_may_freeze_is_a_job_for_the_kit_until_it_is_moved(w: World) -> None:
    there = job(w)
    assert there is not None
    assert [(x.thing.name, [m.units for m in x.rows], x.begun) for x in there.out] == [
        ("Pain tablets", [8], True)
    ]
    entry = moving.out_of_kit(act(w.guide), w.day_01, w.shelf)
    assert (entry.kind, entry.detail["begun"]) == (EntryKind.WEATHER_OUT, True)
    assert inside(w) == 0
    assert job(w) is None
    assert refused(moving.out_of_kit, act(w.guide), w.day_01, w.shelf) == "nothing-to-move"
    assert list(audit.findings()) == []


def test_it_is_said_four_weeks_before() -> None:
    w = school(month(2))
    assert job(w) is None
    with in_days(59):
        there = job(w)
    assert there is not None
    assert there.counted


def test_it_is_put_back_after_the_weather_and_not_before(w: World) -> None:
    moving.out_of_kit(act(w.guide), w.day_01, w.shelf)
    assert refused(moving.back_into_kit, act(w.guide), w.day_01) == "nothing-to-move"
    with in_days(AFTER):
        there = job(w)
        assert there is not None
        assert [(x.units, x.exposed) for x in there.back] == [(8, True)]
        assert moving.back_into_kit(act(w.guide), w.day_01).kind == EntryKind.WEATHER_BACK
        assert inside(w) == 8
        assert job(w) is None
        assert refused(moving.back_into_kit, act(w.guide), w.day_01) == "nothing-to-move"
        assert list(audit.findings()) == []


def test_undoing_either_act_asks_for_it_again(w: World) -> None:
    out = moving.out_of_kit(act(w.keeper), w.day_01, w.shelf)
    reversal.reverse(act(w.keeper), out.pk)
    assert inside(w) == 8
    assert job(w) is not None
    moving.out_of_kit(act(w.keeper), w.day_01, w.shelf)
    with in_days(AFTER):
        reversal.reverse(act(w.keeper), moving.back_into_kit(act(w.keeper), w.day_01).pk)
        there = job(w)
        assert there is not None
        assert sum(x.units for x in there.back) == 8


def test_what_was_restocked_meanwhile_is_not_put_back_too(w: World) -> None:
    moving.out_of_kit(act(w.guide), w.day_01, w.shelf)
    with in_days(AFTER):
        sorting.restock(act(w.guide), fresh(w.day_01))
        assert inside(w) == 8
        assert job(w) is None


def test_no_more_is_put_back_than_is_still_on_the_shelf(w: World) -> None:
    moving.out_of_kit(act(w.guide), w.day_01, w.shelf)
    with in_days(AFTER):
        other = make.shelf(w.store, "C9")
        on_shelf = make.units(w.lots["tablets"], w.shelf)
        stock_moving.move(
            act(w.keeper),
            lot=w.lots["tablets"],
            units=on_shelf - 3,
            source=w.shelf,
            target=other,
        )
        moving.back_into_kit(act(w.guide), w.day_01)
        assert inside(w) == 3


def test_what_went_out_of_date_meanwhile_stays_out(w: World) -> None:
    moving.out_of_kit(act(w.guide), w.day_01, w.shelf)
    Lot.objects.filter(pk=w.lots["tablets"].pk).update(expiry=make.days(AFTER - 1))
    with in_days(AFTER):
        assert refused(moving.back_into_kit, act(w.guide), w.day_01) == "expired"


def test_it_may_wait_in_quarantine_and_is_then_not_put_back_by_itself(w: World) -> None:
    moving.out_of_kit(act(w.guide), w.day_01, room_place(w.store, PlaceKind.QUARANTINE))
    with in_days(AFTER):
        assert job(w) is None


def test_no_place_elsewhere_and_none_with_the_same_weather_takes_it(w: World) -> None:
    assert refused(moving.out_of_kit, act(w.guide), w.day_01, w.hut_shelf) == "invalid-request"
    assert refused(moving.out_of_kit, act(w.guide), w.day_01, w.upper) == "invalid-request"
    box = room_place(w.store, PlaceKind.TRAINING)
    assert refused(moving.out_of_kit, act(w.guide), w.day_01, box) == "invalid-request"
    assert inside(w) == 8


def test_not_while_somebody_has_the_kit_or_it_is_kept_as_it_came_back(w: World) -> None:
    custody.check_out(act(w.keeper), w.day_01, person=w.guide, already_gone=True)
    assert refused(moving.out_of_kit, act(w.guide), w.day_01, w.shelf) == "kit-is-out"
    assert job(w) is not None


def test_a_stranger_may_not(w: World) -> None:
    with pytest.raises(NotAllowed):
        moving.out_of_kit(act(w.stranger), w.day_01, w.shelf)
    with pytest.raises(NotAllowed):
        moving.out_of_shelf(act(w.guide), w.upper, w.shelf)


def test_kept_as_it_came_back_stays_shut(w: World) -> None:
    holds.withhold(act(w.keeper), w.day_01, WithheldKind.KEEP_AS_IT_CAME_BACK, "")
    code = refused(moving.out_of_kit, act(w.guide), w.day_01, w.shelf)
    assert code == "keep-as-it-came-back"


@pytest.mark.parametrize("columns", [{"training": True}, {"laid_up_since": "2020-01-01T00:00Z"}])
def test_kits_that_get_no_reminders_have_no_job(w: World, columns: dict[str, Any]) -> None:
    Kit.objects.filter(pk=w.day_01.pk).update(**columns)
    assert job(w) is None


def test_loose_items_are_named_and_not_moved(w: World) -> None:
    Item.objects.filter(pk=w.tablets.pk).update(min_temp_c=None)
    Item.objects.filter(pk=w.plasters.pk).update(min_temp_c=5)
    there = job(w)
    assert there is not None
    assert [(x.thing.name, x.rows) for x in there.out] == [("Plasters", [])]
    assert not there.counted
    assert refused(moving.out_of_kit, act(w.guide), w.day_01, w.shelf) == "nothing-to-move"


def test_a_shelf_in_a_van_has_the_same_jobs(w: World) -> None:
    lot = make.some(w.tablets, w.upper, 20, "T2", make.days(400))
    today = make.today()
    there = jobs.of_shelf(w.upper, today)
    assert there is not None
    assert [(x.thing.name, x.rows[0].units) for x in there.out] == [("Pain tablets", 20)]
    moving.out_of_shelf(act(w.keeper), w.upper, w.shelf)
    assert make.units(lot, w.shelf) == 20
    assert jobs.of_shelf(w.upper, today) is None
    assert refused(moving.back_onto_shelf, act(w.keeper), w.upper) == "nothing-to-move"
    with in_days(AFTER):
        moving.back_onto_shelf(act(w.keeper), w.upper)
        assert make.units(lot, w.upper) == 20
        assert refused(moving.back_onto_shelf, act(w.keeper), w.upper) == "nothing-to-move"
    assert list(audit.findings()) == []


def test_a_shelf_that_moved_into_the_room_has_none(w: World) -> None:
    make.some(w.tablets, w.upper, 20, "T2", make.days(400))
    shelves.edit_shelf(act(w.keeper), w.upper, location=None)
    w.upper.refresh_from_db()
    assert jobs.of_shelf(w.upper, make.today()) is None
    assert [x.name for x in jobs.of_room(w.store, make.today())] == ["DAY-01"]


def test_the_queries_do_not_grow_with_the_kits(w: World) -> None:
    def count() -> int:
        with CaptureQueriesContext(connection) as queries:
            rows = jobs.of_room(w.store, make.today())
        assert rows
        return len(queries)

    few = count()
    at = fresh(w.day_01).location
    for number in range(3):
        kit = make.kit(f"VAN-{number}", w.version, w.store, location=at)
        make.put_in(kit, w.lots["tablets"], w.shelf, 2, "pouch")
    assert count() == few
    Kit.objects.update(location=None)
    shelves.edit_shelf(act(w.keeper), w.upper, location=None)
    assert jobs.of_room(w.store, make.today()) == []
