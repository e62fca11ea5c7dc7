"""Whoever goes on from the last event never misses one, whatever commits when."""

import random
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial

import pytest
from django.db import connection, connections, transaction

from gearroom.core.rules.roles import Role
from kits.models import Event
from kits.rules.events.facts import KitChanged
from kits.services.events import Draft, Page, events_after, horizon, write
from tests.kits import factories as make

AT = datetime(2027, 5, 4, 7, tzinfo=UTC)


def added(kit: int, room: int | None = None, other_room: int | None = None) -> Draft:
    return Draft("kit.added", kit, KitChanged(entry=1, kit=kit), AT, room, other_room)


def kits_of(page: Page) -> list[int]:
    return [event.data["kit"] for event in page.events]


def in_thread(work: Callable[[], None]) -> threading.Thread:
    def run() -> None:
        try:
            work()
        finally:
            connections.close_all()

    thread = threading.Thread(target=run)
    thread.start()
    return thread


# ------------------------------------------------------------------------------------------- pages
@pytest.mark.django_db
def test_a_reader_goes_on_from_where_it_was() -> None:
    write(added(kit) for kit in range(1, 6))
    first = events_after(0, limit=2)
    second = events_after(first.position, limit=2)
    last = events_after(second.position, limit=2)
    assert [kits_of(page) for page in (first, second, last)] == [[1, 2], [3, 4], [5]]
    assert [page.more for page in (first, second, last)] == [True, True, False]
    assert events_after(last.position, limit=2).events == []
    write([added(6)])
    assert kits_of(events_after(last.position, limit=2)) == [6]


@pytest.mark.django_db
def test_a_reader_of_some_events_goes_on_past_the_others() -> None:
    store, hut = make.room(), make.room("Cave hut")
    write([added(1, room=store.pk), added(2, room=hut.pk, other_room=store.pk)])
    write([added(3, room=hut.pk), added(4)])
    keeper = make.actor(make.person("Kim", Role.KEEPER, store))
    of_store = events_after(0, limit=9, reader=keeper)
    assert kits_of(of_store) == [1, 2, 4]
    assert of_store.position == horizon()
    none = events_after(0, limit=9, types=["trip.created"])
    assert (none.events, none.position) == ([], horizon())


@pytest.mark.django_db
def test_an_event_says_what_its_type_says() -> None:
    with pytest.raises(ValueError, match="Custody"):
        write([Draft("kit.checked_out", 1, KitChanged(entry=1, kit=1), AT)])


# -------------------------------------------------------------------------------- several at once
@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
def test_what_commits_later_is_read_though_it_was_numbered_first(open_database: str) -> None:
    written, go = threading.Event(), threading.Event()

    def slow() -> None:
        with transaction.atomic():
            write([added(1)])
            written.set()
            go.wait(20)

    thread = in_thread(slow)
    assert written.wait(20)
    write([added(2)])
    meanwhile = events_after(0, limit=9)
    assert kits_of(meanwhile) == []  # 2 waits for 1, which has the lower number
    go.set()
    thread.join()
    assert kits_of(events_after(meanwhile.position, limit=9)) == [1, 2]


def test_readers_miss_nothing_while_many_write(open_database: str) -> None:
    """Writers that take their time, and some of whom give up; readers that never stop."""
    seed = random.Random(7)
    plans = [[(seed.random() / 80, seed.random() < 0.2) for _ in range(12)] for _ in range(5)]
    committed: list[int] = []
    done = threading.Event()

    def writer(number: int) -> None:
        for turn, (pause, gives_up) in enumerate(plans[number]):
            kit = number * 100 + turn
            with transaction.atomic():
                write([added(kit), added(kit)])
                if connection.vendor == "postgresql":
                    time.sleep(pause)  # on SQLite the others would wait for it
                write([added(kit)])
                transaction.set_rollback(gives_up)
            if not gives_up:
                committed.append(kit)

    def reader(limit: int, read: list[tuple[int, int]]) -> None:
        position = 0
        while True:
            over = done.is_set()
            page = events_after(position, limit=limit)
            read += [(event.pk, event.data["kit"]) for event in page.events]
            position = page.position
            if over and not page.more:
                return
            time.sleep(0.002)

    results: list[list[tuple[int, int]]] = [[], []]
    readers = [
        in_thread(partial(reader, limit, read))
        for limit, read in zip((2, 50), results, strict=True)
    ]
    writers = [in_thread(partial(writer, number)) for number in range(len(plans))]
    for thread in writers:
        thread.join()
    done.set()
    for thread in readers:
        thread.join()
    everything = [(event.pk, event.data["kit"]) for event in Event.objects.order_by("id")]
    assert sorted(kit for _, kit in everything) == sorted(3 * committed)
    assert results == [everything, everything]
