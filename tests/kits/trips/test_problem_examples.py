"""What the schema gives as examples of problems with trips and reservations is what is answered."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from gearroom.core import clock
from gearroom.core.api.openapi.problem_examples import examples
from kits.api.glossary.problems import PROBLEMS
from kits.models import Reservation, Trip
from kits.services.calendars import calendars
from kits.services.calendars.calendars import CalendarFacts
from tests.kits import factories as make
from tests.kits.factories import World
from tests.kits.problem_examples import without_what_varies

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),  # of the schema
]


class Asked:
    """A keeper's program, and two trips on the same days."""

    def __init__(self, w: World) -> None:
        self.w = w
        self.call = make.caller(w.keeper)
        self.hill = make.trip("Hill day", w.store, 2, 2)
        self.river = make.trip("River day", w.store, 2, 2)

    def reserve(self, kit: str = "DAY-01", trip: Trip | None = None) -> Any:
        """Reserve a kit, for the hill day unless it is for another trip."""
        return self.call.post("reservations/", {"kit": kit, "trip": str((trip or self.hill).pk)})

    def swap(self, kit: str) -> Any:
        """Send this kit on the hill day instead of the other, which is reserved for it."""
        self.reserve("DAY-02" if kit == "DAY-01" else "DAY-01")
        made = Reservation.objects.get(trip=self.hill)
        return self.call.post(f"reservations/{made.pk}/swap/", {"kit": kit})

    def put(self, hours: int, path: str = "trips/bookings/118/") -> Any:
        """Put a trip that lasts so long."""
        departs = clock.now() + timedelta(days=2)
        body = {
            "name": "Hill day",
            "departs_at": departs.isoformat(),
            "returns_at": (departs + timedelta(hours=hours)).isoformat(),
            "people": 8,
        }
        return self.call("PUT", path, body)


def _reserved_twice(asked: Asked) -> Any:
    asked.reserve(trip=asked.river)
    return asked.reserve()


def _released_twice(asked: Asked) -> Any:
    made = asked.reserve().json()["reservation"]["id"]
    asked.call.post(f"reservations/{made}/release/")
    return asked.call.post(f"reservations/{made}/release/")


def _retired(asked: Asked) -> Any:
    asked.call.post("kits/DAY-02/retire/", {"reason": "Worn out"})
    return asked.reserve("DAY-02")


def _cancelled(asked: Asked) -> Any:
    Trip.objects.filter(pk=asked.hill.pk).update(cancelled_at=clock.now())
    return asked.reserve()


def _over(asked: Asked) -> Any:
    return asked.reserve(trip=make.trip("Hill day", asked.w.store, -2, -2))


def _taken(asked: Asked) -> Any:
    asked.reserve("DAY-02")
    taken = {"person": str(asked.w.guide.pk), "emergency": True}
    asked.call.post("kits/DAY-01/check-out/", taken)
    return asked.swap("DAY-01")


def _used(asked: Asked) -> Any:
    asked.call.post("kits/DAY-02/restock/", {})
    used = {"used": [{"item": asked.w.dressing.pk, "units": 3}]}
    asked.call.post("kits/DAY-02/use/", used)
    return asked.swap("DAY-02")


def _the_same(asked: Asked) -> Any:
    made = asked.reserve().json()["reservation"]["id"]
    return asked.call.post(f"reservations/{made}/swap/", {"kit": "DAY-01"})


def _given_up(asked: Asked) -> Any:
    gone = [{"kit": "DAY-01", "trip": str(asked.river.pk)}]
    new = [{"kit": "DAY-01", "trip": str(asked.hill.pk)}]
    return asked.call.post("plans/trips/reserve/", {"reserve": new, "release": gone})


def _late(asked: Asked) -> Any:
    passed = clock.now() - timedelta(hours=1)
    path = f"trips/by-hand/{asked.hill.reference}/extend/".replace(" ", "%20")
    return asked.call.post(path, {"returns_at": passed.isoformat()})


def _of_calendar(asked: Asked) -> Any:
    calendars.add(make.act(asked.w.keeper), CalendarFacts("Season", asked.w.store, 8))
    return asked.put(hours=6, path="trips/calendar-season/hill/")


ASKED: dict[str, Callable[[Asked], Any]] = {
    "kit-reserved": _reserved_twice,
    "kit-retired": _retired,
    "trip-cancelled": _cancelled,
    "trip-is-over": _over,
    "released-already": _released_twice,
    "same-kit": _the_same,
    "kit-is-out": _taken,
    "not-reserved": _given_up,
    "does-not-suit": _used,
    "trip-ends-before-it-begins": lambda asked: asked.put(hours=-2),
    "due-in-the-past": _late,
    "trip-of-calendar": _of_calendar,
    "trip-too-long": lambda asked: asked.put(hours=24 * 400),
}


def test_there_is_an_example_for_each_that_is_asked_for() -> None:
    assert set(ASKED) == {code for code, _, _ in PROBLEMS}


@pytest.mark.parametrize("code", ASKED)
def test_it_is_answered_as_in_the_example(code: str, engine: str) -> None:
    answer = ASKED[code](Asked(make.world())).json()
    answer.pop("instance")
    assert without_what_varies(answer) == without_what_varies(examples()[code])
