"""What time, or several things together, make otherwise is announced once, when it is so."""

import threading
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, connections
from django.test.utils import CaptureQueriesContext

from gearroom.core import clock
from kits.models import Announced, Event, Kit, WithheldKind
from kits.services.announcing import announce
from kits.services.custody import custody, use
from kits.services.custody.use import UseLine
from kits.services.kits import holds
from kits.services.ledger.undo import reversal
from kits.services.stock import receiving
from kits.services.stock.order_levels import stock_levels
from kits.services.trips import due_times, reservations
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh


def events(kind: str = "") -> list[tuple[str, Any]]:
    """Type and data of the events since the last look."""
    rows = Event.objects.filter(type__startswith=kind).order_by("id")
    return [(row.type, row.data) for row in rows]


@pytest.fixture
def w(engine: str, db: None) -> World:
    w = make.world()
    announce()
    return w


def test_how_every_kit_stands_is_announced_once(w: World) -> None:
    first = events("kit.readiness_changed")
    assert [(data["kit"], data["word"], data["before"]) for _, data in first] == [
        (w.day_01.pk, "ready", None),
        (w.day_02.pk, "do-not-take", None),
    ]
    assert announce() == 0
    use.log_use(act(w.guide), w.day_01, [UseLine(w.dressing, 3)])
    assert announce() == 1
    *_, (_, data) = events("kit.readiness_changed")
    assert (data["kit"], data["before"]) == (w.day_01.pk, "ready")
    assert announce() == 0


def test_a_new_day_changes_how_a_kit_stands_though_nobody_did_anything(w: World) -> None:
    later = clock.now() + timedelta(days=500)  # what is in it is out of date by then
    with clock.pretending(later):
        assert announce() > 0
        assert announce() == 0
    assert Announced.objects.get(kind="kit", subject=str(w.day_01.pk)).word == "do-not-take"


def test_what_is_out_is_overdue_once_for_each_time_that_it_was_due_at(w: World) -> None:
    taken = custody.check_out(act(w.keeper), w.day_01, person=w.guide, already_gone=True).checkout
    assert taken is not None
    due_at = taken.due_at
    assert due_at is not None
    announce()
    assert events("kit.overdue") == []
    with clock.pretending(due_at + timedelta(minutes=1)):
        announce()
        announce()
        ((_, data),) = events("kit.overdue")
        assert (data["checkout"], data["holder"]) == (taken.pk, w.guide.pk)
        due_times.set_due(act(w.keeper), fresh(w.day_01), due_at + timedelta(hours=2))
        announce()
        assert len(events("kit.overdue")) == 1
    with clock.pretending(due_at + timedelta(hours=3)):
        announce()
        assert len(events("kit.overdue")) == 2
        custody.check_in(act(w.keeper), fresh(w.day_01))
        announce()
        assert len(events("kit.overdue")) == 2


def test_a_trip_is_covered_until_a_kit_of_it_is_on_hold(w: World) -> None:
    walk = make.trip("Ridge walk", w.store, 3, 3)
    announce()
    assert events("trip.") == []
    reservations.reserve(act(w.keeper), w.day_01, walk)
    announce()
    held = holds.withhold(act(w.guide), fresh(w.day_01), WithheldKind.SOMETHING_WRONG)
    announce()
    reversal.reverse(act(w.keeper), held.pk)
    announce()
    assert [name for name, _ in events("trip.")] == [
        "trip.covered",
        "trip.uncovered",
        "trip.covered",
    ]
    assert events("trip.")[-1][1] == {
        "trip": walk.pk,
        "coverage": "covered",
        "before": "uncovered",
        "kits": [w.day_01.pk],
    }


def test_a_trip_that_is_over_is_not_announced_as_uncovered(w: World) -> None:
    walk = make.trip("Ridge walk", w.store, 1, 1)
    reservations.reserve(act(w.keeper), w.day_01, walk)
    announce()
    with clock.pretending(walk.returns_at + timedelta(minutes=1)):
        announce()
    assert [name for name, _ in events("trip.")] == ["trip.covered"]


def test_an_item_is_low_and_then_there_is_enough_again(w: World) -> None:
    stock_levels.set_level(act(w.keeper), w.store, w.shears, 5)
    announce()
    ((name, data),) = events("stock.")
    assert (name, data["item"], data["level"]) == ("stock.low", w.shears.pk, 5)
    receiving.receive(act(w.keeper), item=w.shears, shelf=w.shelf, units=9)
    announce()
    assert [name for name, _ in events("stock.")] == ["stock.low", "stock.enough"]


def test_the_statements_do_not_grow_with_the_kits(w: World) -> None:
    def statements(hours: int) -> int:
        with clock.pretending(clock.now() + timedelta(hours=hours)):
            announce()
        with (
            clock.pretending(clock.now() + timedelta(hours=hours, minutes=6)),
            CaptureQueriesContext(connection) as made,
        ):
            announce()
        return len(made)

    def add(number: int) -> None:
        kit = make.kit(f"NEW-{number}", w.version, w.store)
        reservations.reserve(act(), kit, make.trip(f"Walk {number}", w.store, 2, 2))

    add(0)
    few = statements(1)
    for number in range(1, 9):
        add(number)
    assert statements(2) == few
    assert Kit.objects.count() == 11


def test_two_sweeps_at_once_announce_everything_once(open_database: str) -> None:
    make.world()
    start = threading.Barrier(4)
    written: list[int] = []

    def sweep() -> None:
        try:
            start.wait(20)
            written.append(announce())
        finally:
            connections.close_all()

    threads = [threading.Thread(target=sweep) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    announce()
    rows = Event.objects.filter(type="kit.readiness_changed").values_list("subject", flat=True)
    assert sorted(rows) == sorted({*rows})
    assert len(rows) == 2
