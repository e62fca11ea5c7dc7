"""A location is closed while somebody puts a kit or a shelf there."""

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connections, transaction

from gearroom.core.acts import Invalid, Refused
from kits.models import Kit, Location, Place
from kits.services.kits import kits
from kits.services.stock import shelves
from kits.services.weather import locations
from tests.kits import factories as make
from tests.kits.factories import act

SECOND_MAY_TAKE_S = 0.5
"""How long the first waits for the second before it ends: the second may be waiting for it."""


def kit_there(w: make.World, at: Location) -> Any:
    return kits.edit_kit(act(w.keeper), Kit.objects.get(pk=w.day_01.pk), location=at)


def new_kit_there(w: make.World, at: Location) -> Any:
    return kits.add_kit(
        act(w.keeper), name="NEW-01", list_version=w.version, home_room=w.store, location=at
    )


def shelf_there(w: make.World, at: Location) -> Any:
    return shelves.edit_shelf(act(w.keeper), w.shelf, location=at)


def close(w: make.World, at: Location) -> Any:
    return locations.close_location(act(w.keeper), at)


def first_then(first: Callable[[], Any], second: Callable[[], Any]) -> BaseException | None:
    """Do the first, and the second before its transaction ends; returns what the second met."""
    done, ended = threading.Event(), threading.Event()
    wrong: list[BaseException] = []

    def hold() -> None:
        with transaction.atomic():
            first()
            done.set()
            ended.wait(SECOND_MAY_TAKE_S)
        connections.close_all()

    def follow() -> None:
        done.wait(30)
        try:
            second()
        except BaseException as error:
            wrong.append(error)
        ended.set()
        connections.close_all()

    threads = [threading.Thread(target=each) for each in (hold, follow)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return wrong[0] if wrong else None


@pytest.mark.parametrize("put", [kit_there, new_kit_there, shelf_there])
def test_of_closing_and_putting_something_there_the_second_is_refused(
    open_database: str, put: Callable[[make.World, Location], Any]
) -> None:
    w = make.world()
    van = locations.add_location(act(w.keeper), w.store, name="Van 2")
    problem = first_then(lambda: close(w, van), lambda: put(w, van))
    assert isinstance(problem, Invalid)
    assert "Van 2 is no longer used. Choose another location." in str(problem)

    boat = locations.add_location(act(w.keeper), w.store, name="Boat")
    problem = first_then(lambda: put(w, boat), lambda: close(w, boat))
    assert isinstance(problem, Refused)
    assert problem.code == "location-in-use"

    closed = Location.objects.exclude(closed_on=None)
    assert not Kit.objects.filter(location__in=closed).exists()
    assert not Place.objects.filter(location__in=closed).exists()
