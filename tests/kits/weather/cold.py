"""The small school in a month with frost: DAY-01 is kept in a van, its tablets must not freeze."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta

from gearroom.core import clock
from kits.models import Item, Kit, Location
from kits.services.stock import shelves
from kits.services.weather import locations
from tests.kits import factories as make
from tests.kits.factories import World, act


def month(ahead: int = 0) -> int:
    """The number of this month, or of one so many months ahead."""
    return (make.today().month - 1 + ahead) % 12 + 1


def van(w: World, *frost: int) -> Location:
    """A van of the store with frost in these months, this one if none is given."""
    return locations.add_location(
        act(w.keeper), w.store, name="Van 2", frost_months=frost or [month()], coldest_c=-8
    )


def school(*frost: int) -> World:
    """DAY-01, and the upper shelf, are in a van where it freezes."""
    w = make.world()
    Item.objects.filter(pk=w.tablets.pk).update(min_temp_c=5)
    at = van(w, *frost)
    Kit.objects.filter(pk=w.day_01.pk).update(location=at)
    w.upper = shelves.edit_shelf(act(w.keeper), w.upper, location=at)
    return w


@contextmanager
def in_days(number: int) -> Iterator[None]:
    """So many days later."""
    with clock.pretending(clock.now() + timedelta(days=number)):
        yield
