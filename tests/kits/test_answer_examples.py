"""What the schema gives as examples of answers is what is answered."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.cache import cache

from gearroom.core import clock
from kits.api.glossary.answer_examples import EXAMPLES
from tests.core.api.made import Caller
from tests.kits import factories as make
from tests.kits.factories import World
from tests.kits.problem_examples import without_what_varies

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),  # of the schema
]


def _put_trip(call: Caller, w: World) -> Any:
    departs = clock.now().replace(hour=8, minute=30, second=0, microsecond=0) + timedelta(days=14)
    body = {
        "name": "Hill day",
        "room": "main-store",
        "departs_at": departs.isoformat(),
        "returns_at": (departs + timedelta(hours=9)).isoformat(),
        "people": 8,
    }
    return call("PUT", "trips/bookings/B-1001/", body)


def _check_in(call: Caller, w: World) -> Any:
    _check_out(call, w)
    used = [{"item": w.dressing.pk, "units": 2}]
    said = {"text": "DAY-01", "intent": "check-in", "as_found": "opened", "used": used}
    return call.post("scans/", said)


def _check_out(call: Caller, w: World) -> Any:
    return call.post("kits/DAY-01/check-out/", {"person": str(w.guide.pk)})


ASKED: dict[Any, Callable[[Caller, World], Any]] = {
    ("get", "kits/", 200): lambda call, w: call.get("kits/?page_size=1"),
    ("post", "kits/{kit}/check-out/", 201): _check_out,
    ("post", "scans/", 201): _check_in,
    ("put", "trips/{source}/{reference}/", 201): _put_trip,
}


def test_there_is_an_example_for_each_that_is_asked_for() -> None:
    assert set(ASKED) == set(EXAMPLES)


@pytest.mark.parametrize("call", ASKED, ids=lambda call: " ".join(map(str, call)))
def test_it_is_answered_as_in_the_example(call: Any, engine: str) -> None:
    cache.clear()
    w = make.world()
    answer = ASKED[call](make.caller(w.keeper), w)
    assert answer.status_code == call[-1]
    assert without_what_varies(answer.json()) == without_what_varies(EXAMPLES[call])
