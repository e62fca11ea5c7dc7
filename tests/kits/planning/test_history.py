"""What past trips wanted, from the record."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gearroom.core import clock
from kits.models import AsFound, Checkout, Kit, Trip
from kits.rules.custody.use import Went
from kits.rules.planning.records.exposure import Known
from kits.services.custody import custody, use
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.custody.use import UseLine
from kits.services.planning.records.history import PastTrip, past_trips
from kits.services.stock import counting
from kits.services.stock.counting import CountLine
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh, world

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    return world()


def out(w: World, trip: Trip | None = None) -> Trip:
    """DAY-01 goes out on a trip."""
    trip = trip or make.trip("Hill day", w.store)
    custody.check_out(act(w.keeper), fresh(w.day_01), person=w.guide, trip=trip, already_gone=True)
    return trip


def back(w: World, found: AsFound, *used: UseLine, remarks: Remarks | None = None) -> None:
    """It comes back."""
    custody.check_in(
        act(w.keeper), fresh(w.day_01), as_found=found, used=list(used),
        remarks=remarks or Remarks(),
    )  # fmt: skip


def known(w: World) -> list[PastTrip]:
    return past_trips(Kit.objects.all(), clock.now() + timedelta(seconds=1))


def only(w: World) -> PastTrip:
    (one,) = known(w)
    return one


def test_sealed_or_closed_and_nothing_used_is_a_true_zero(w: World) -> None:
    trip = out(w)
    back(w, AsFound.CLOSED)
    one = only(w)
    assert (one.kit, one.trip, one.known) == (w.day_01.pk, trip, Known.NONE)
    assert one.wanted() == {}
    assert one.version == w.version.pk


def test_what_was_used_is_counted_by_item(w: World) -> None:
    out(w)
    back(w, AsFound.OPENED, UseLine(w.dressing, 2), UseLine(w.tablets, 1))
    one = only(w)
    assert one.known is Known.COUNTED
    assert one.wanted() == {w.dressing.pk: 2, w.tablets.pk: 1}
    assert one.ran_out == frozenset()


def test_where_all_that_was_carried_went_more_may_have_been_wanted(w: World) -> None:
    out(w)
    back(w, AsFound.OPENED, UseLine(w.dressing, 6))
    assert only(w).ran_out == {w.dressing.pk}


def test_handed_back_and_never_counted_is_missing(w: World) -> None:
    out(w)
    back(w, AsFound.SORT_LATER)
    one = only(w)
    assert one.known is Known.MISSING
    assert not one.counts


def test_that_nothing_was_used_may_be_said_later(w: World) -> None:
    out(w)
    back(w, AsFound.SORT_LATER)
    use.log_use(act(w.keeper), fresh(w.day_01), [])
    assert only(w).known is Known.NONE


def test_a_difference_at_a_count_afterwards_lies_between(w: World) -> None:
    out(w)
    back(w, AsFound.SORT_LATER)
    places = list(w.day_01.sections.all())
    main = make.section(w.day_01)
    lines = [
        CountLine(main, 4, lot=w.lots["d1"]),
        CountLine(main, 1, lot=w.lots["shears"]),
        CountLine(make.section(w.day_01, "pouch"), 8, lot=w.lots["tablets"]),
    ]
    counting.count(act(w.keeper), places, lines)
    one = only(w)
    assert one.known is Known.BETWEEN
    assert one.lost_at_count == {w.dressing.pk: 2}


def test_use_in_class_is_no_need(w: World) -> None:
    out(w)
    back(w, AsFound.OPENED, UseLine(w.dressing, 2, went=Went.IN_CLASS))
    one = only(w)
    assert (one.known, one.wanted()) == (Known.NONE, {})


def test_what_was_needed_and_not_there_was_wanted_too(w: World) -> None:
    out(w)
    back(w, AsFound.CLOSED, remarks=Remarks(needed=[NeedLine(w.gauge), NeedLine(words="crutch")]))
    assert only(w).wanted() == {w.gauge.pk: 1}


def test_a_time_out_without_a_trip_or_one_undone_or_not_over_is_left_out(w: World) -> None:
    custody.check_out(act(w.keeper), fresh(w.day_01), person=w.guide, already_gone=True)
    back(w, AsFound.CLOSED)
    assert known(w) == []
    out(w)
    assert known(w) == []


def test_a_training_kit_says_nothing(w: World) -> None:
    out(w)
    back(w, AsFound.CLOSED)
    Kit.objects.update(training=True)
    assert known(w) == []


def test_a_cancelled_trip_says_nothing(w: World) -> None:
    trip = out(w)
    back(w, AsFound.CLOSED)
    Trip.objects.filter(pk=trip.pk).update(cancelled_at=clock.now())
    assert known(w) == []


def test_the_number_of_queries_does_not_grow_with_trips(w: World) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            known(w)
        return len(queries)

    out(w)
    back(w, AsFound.OPENED, UseLine(w.dressing, 1))
    first = asked()
    out(w)
    back(w, AsFound.CLOSED)
    assert asked() == first
    assert Checkout.objects.count() == 2
