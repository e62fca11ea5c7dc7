"""What is decided about a batch holds while others move it: kits are locked before batches, and a
batch that is looked at stands still. Each test has one act wait for another at a chosen moment."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection, connections, transaction

from gearroom.core.acts import Refused
from kits.models import Entry, EntryKind, Lot
from kits.rules.ledger.facts import Criticality, Kind
from kits.services.ledger import audit
from kits.services.recalls import recalls
from kits.services.stock import catalogue, corrections, counting, instruments, moving
from tests.kits import factories as make

# SQLite has one writer at a time: no act begins while another is open.
pytestmark = pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
LIMIT_S = 20


class Running:
    """An act in a thread of its own."""

    def __init__(self, act: Callable[[], Any]) -> None:
        self.result: Any = None
        self.error: BaseException | None = None
        self._thread = threading.Thread(target=self._run, args=[act])
        self._thread.start()

    def _run(self, act: Callable[[], Any]) -> None:
        try:
            self.result = act()
        except BaseException as error:
            self.error = error
        finally:
            connections.close_all()

    def done(self) -> Any:
        """What it came to, once it has ended."""
        self._thread.join(LIMIT_S)
        assert not self._thread.is_alive(), "it still waits"
        if self.error is not None:
            raise self.error
        return self.result


def until_waiting(number: int) -> None:
    """Wait until so many acts wait for a lock."""
    limit = time.monotonic() + LIMIT_S
    while time.monotonic() < limit:
        with connection.cursor() as cursor:
            cursor.execute("SELECT count(DISTINCT pid) FROM pg_locks WHERE NOT granted")
            waiting = cursor.fetchone()[0]
        if waiting >= number:
            return
        time.sleep(0.02)
    pytest.fail(f"{number} acts should wait for a lock, {waiting} do after {LIMIT_S} s")


@contextmanager
def not_ended(act: Callable[[], Any]) -> Iterator[None]:
    """An act that was done, whose transaction ends after the block."""
    with transaction.atomic():
        act()
        yield


@pytest.fixture
def w(open_database: str) -> make.World:
    return make.make_world()


def test_a_kit_that_gets_the_batch_while_it_is_corrected_is_judged_by_the_right_date(
    w: make.World,
) -> None:
    make.put_in(w.day_02, w.lots["d1"], w.shelf, 6)
    make.put_in(w.day_02, w.lots["shears"], w.shelf, 1)
    day_03 = make.kit("DAY-03", w.version, w.store)

    with not_ended(lambda: make.put_in(day_03, w.lots["d2"], w.upper, 6)):
        correct = Running(
            lambda: corrections.correct(
                make.act(reason="read again"), w.lots["d2"], expiry=make.days(-1)
            )
        )
        until_waiting(1)
    correct.done()

    assert make.fresh(day_03).may_go_until != make.days(800)
    assert list(audit.findings()) == []


def test_a_kit_that_gets_the_batch_while_it_is_booked_over_is_booked_over_too(
    w: make.World,
) -> None:
    day_03 = make.kit("DAY-03", w.version, w.store)
    wrong = make.some(w.dressing, w.upper, 5, "D1", make.days(500))

    with not_ended(lambda: make.put_in(day_03, wrong, w.upper, 2)):
        correct = Running(
            lambda: corrections.correct(make.act(reason="read again"), wrong, expiry=make.days(400))
        )
        until_waiting(1)
    correct.done()

    assert make.units(wrong, make.section(day_03)) == 0
    assert make.units(w.dressings, make.section(day_03)) == 2
    assert list(audit.findings()) == []


def test_what_was_moved_while_a_shelf_is_counted_is_no_reason_to_refuse_the_count(
    w: make.World,
) -> None:
    def count() -> counting.CountResult:
        lines = [counting.CountLine(w.shelf, 0, lot=w.dressings)]
        return counting.count(make.act(), [w.shelf], lines, complete=False)

    moved = lambda: moving.move(  # noqa: E731
        make.act(), lot=w.dressings, units=5, source=w.shelf, target=w.upper
    )
    with not_ended(moved):
        counted = Running(count)
        until_waiting(1)
    done = counted.done()

    assert [(d.booked, d.found) for d in done.differences] == [(7, 0)]
    assert make.units(w.dressings, w.shelf) == 0
    assert make.units(w.dressings, w.upper) == 5
    assert list(audit.findings()) == []


def test_a_batch_that_arrives_while_a_shelf_is_counted_whole_is_counted_with_it(
    w: make.World,
) -> None:
    item = make.item("Tape", needs_date=False)
    there = make.some(item, w.hut_shelf, 3)

    def count() -> counting.CountResult:
        return counting.count(
            make.act(),
            [w.hut_shelf],
            [counting.CountLine(w.hut_shelf, 3, lot=there)],
            complete=True,
        )

    def arrives() -> None:
        make.some(item, w.hut_shelf, 4, "N2")
        moving.move(make.act(), lot=there, units=1, source=w.hut_shelf,
                   target=make.shelf(w.hut, "H2"))  # fmt: skip

    with not_ended(arrives):
        counted = Running(count)
        until_waiting(1)
    counted.done()

    assert make.units(there, w.hut_shelf) == 3
    assert make.units(Lot.objects.get(number="N2"), w.hut_shelf) == 0
    assert list(audit.findings()) == []


def test_a_recall_and_kits_that_get_the_batch_meanwhile_do_not_wait_for_each_other(
    w: make.World,
) -> None:
    day_03 = make.kit("DAY-03", w.version, w.store)
    start = lambda: recalls.start(  # noqa: E731
        make.act(), item=w.dressing, scope="number", number="D2"
    )

    with not_ended(lambda: make.put_in(day_03, w.lots["d2"], w.upper, 2)):
        recall = Running(start)
        until_waiting(1)
        more = Running(lambda: make.put_in(day_03, w.lots["d2"], w.upper, 2))
        until_waiting(2)
    found = recall.done()
    try:
        more.done()
    except Refused as refused:  # the recall was first
        assert refused.code == "recalled"
    rows = {row.place.kit.name: row.units_max for row in found.places.select_related("place__kit")
            if row.place.kit}  # fmt: skip
    assert rows["DAY-03"] == make.units(w.lots["d2"], make.section(day_03))
    assert list(audit.findings()) == []


def test_a_kit_that_gets_the_thing_while_it_is_changed_is_judged_by_the_change(
    w: make.World,
) -> None:
    salve = make.item("Salve", opened_life_days=None)
    lot = make.some(salve, w.shelf, 3, "S1", make.days(100))
    version = make.kit_list("Blister kit", {"main": [(salve, 1, 1, Criticality.MUST_HAVE)]},
                            signed_by=w.adviser)  # fmt: skip
    extra = make.kit("DAY-04", w.version, w.store)
    make.kit("FOOT-01", version, w.store)

    with not_ended(lambda: make.put_in(extra, lot, w.shelf, 1)):
        medicine: dict[str, Any] = {"kind": Kind.MEDICINE, "disposal": "pharmacy"}
        edit = Running(lambda: catalogue.edit_item(make.act(), salve, **medicine))
        until_waiting(1)
    edit.done()

    assert list(audit.findings()) == []


def test_a_kit_that_gets_an_instrument_while_it_is_checked_is_judged_by_the_check(
    w: make.World,
) -> None:
    with not_ended(lambda: make.put_in(w.day_02, w.lots["gauge"], w.shelf, 1)):
        check = Running(
            lambda: instruments.check(make.act(), w.lots["gauge"], passed=False, answer="red")
        )
        until_waiting(1)
    check.done()

    assert Entry.objects.get(kind=EntryKind.CHECK).kit == w.day_02
    assert list(audit.findings()) == []
