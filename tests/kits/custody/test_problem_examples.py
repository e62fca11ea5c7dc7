"""What the schema gives as examples of problems at the hatch is what is answered."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from gearroom.core import clock
from gearroom.core.api.openapi.problem_examples import examples
from kits.api.glossary.hatch_problems import PROBLEMS
from kits.models import Entry, ListLine
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from tests.kits import factories as make
from tests.kits.factories import World
from tests.kits.problem_examples import without_what_varies

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),  # of the schema
]


class Asked:
    """A keeper's program at the hatch, and a guide."""

    def __init__(self, w: World) -> None:
        self.w = w
        self.call = make.caller(w.keeper)
        self.guide = str(w.guide.pk)

    def post(self, path: str, **body: Any) -> Any:
        """Send this to a call of a kit, such as *DAY-01/check-out*."""
        return self.call.post(f"kits/{path}/", body)

    def take(self, kit: str = "DAY-01", **body: Any) -> Any:
        """Take a kit out to the guide, unless it is said otherwise."""
        return self.post(f"{kit}/check-out", **{"person": self.guide, **body})

    def label(self, on: Any, at: Any = None) -> str:
        """The code of a new label on something."""
        return label_codes.shown(labelling.label_for(make.act(), on, at).code)

    def put_in(self, lot: str, units: int) -> Any:
        """Put units of a batch from the first shelf into DAY-02."""
        row = {
            "lot": str(self.w.lots[lot].pk),
            "shelf": str(self.w.shelf.pk),
            "section": "main",
            "units": units,
        }
        return self.post("DAY-02/restock", as_listed=False, extra=[row])

    def reserve(self, kit: str, person: make.Person) -> Any:
        """Reserve a kit for somebody on a trip of today."""
        trip = make.trip("Hill day", self.w.store, 0, 0)
        body = {"kit": kit, "trip": str(trip.pk), "person": str(person.pk)}
        return self.call.post("reservations/", body)

    def undo(self, answer: Any, **body: Any) -> Any:
        """Take back what an answer is about."""
        return self.call.post(f"entries/{answer.json()['entry']['id']}/reverse/", body)


def _several(asked: Asked) -> Any:
    make.kit("GROUP-01", asked.w.version, asked.w.store)
    return asked.post("1/check-in")


def _cancelled(asked: Asked) -> Any:
    code = asked.label(asked.w.day_01)
    labelling.cancel(make.act(asked.w.keeper), label_codes.bare(code), "Worn off")
    return asked.post(f"{code}/check-in")


def _without(asked: Asked, **body: Any) -> Any:
    """Take out a kit that is short of a must-have."""
    asked.post("DAY-01/use", used=[{"item": asked.w.dressing.pk, "units": 3}])
    asked.post("DAY-01/look-inside")
    return asked.take(**body)


def _short(asked: Asked) -> Any:
    asked.post("DAY-01/use", used=[{"item": asked.w.tablets.pk, "units": 6}])
    asked.post("DAY-01/look-inside")
    return asked.take()


def _of_another(asked: Asked) -> Any:
    asked.reserve("DAY-01", asked.w.instructor)
    return asked.take()


def _twice(path: str, **body: Any) -> Callable[[Asked], Any]:
    def ask(asked: Asked) -> Any:
        asked.post(path, **body)
        return asked.post(path, **body)

    return ask


def _kept(asked: Asked) -> Any:
    asked.post("DAY-01/withhold", kind="keep-as-it-came-back")
    return asked.post("DAY-01/restock")


def _mixed(asked: Asked) -> Any:
    asked.post("DAY-01/mixed", kits=["DAY-02"])
    return asked.post("DAY-01/release", kind="mixed")


def _recall(asked: Asked) -> Any:
    body = {"item": asked.w.dressing.pk, "scope": "number", "number": "D1", "reference": "R-7"}
    return asked.call.post("recalls/", body)


def _recalled(asked: Asked) -> Any:
    _recall(asked)
    return asked.put_in("d1", 1)


def _recalled_twice(asked: Asked) -> Any:
    _recall(asked)
    return _recall(asked)


def _nothing_to_add(asked: Asked) -> Any:
    line = ListLine.objects.get(item=asked.w.dressing)
    return asked.post("DAY-01/restock", line=line.pk)


def _received_twice(asked: Asked) -> Any:
    body = {"shelf": str(asked.w.shelf.pk), "item": asked.w.gauge.pk, "serial": "G-1", "units": 1}
    return asked.call.post("stock/receive/", body)


def _at_the_shelf(act: str, lot: str, **body: Any) -> Callable[[Asked], Any]:
    def ask(asked: Asked) -> Any:
        what = {"lot": str(asked.w.lots[lot].pk), "units": 1, "place": str(asked.w.shelf.pk)}
        return asked.call.post(f"stock/{act}/", {**what, **body})

    return ask


def _not_replaced(asked: Asked) -> Any:
    asked.post("DAY-01/use", used=[{"item": asked.w.dressing.pk, "units": 2}])
    return asked.post("DAY-01/reseal", seal="004711")


def _elsewhere(asked: Asked) -> Any:
    asked.post("DAY-01/reseal", seal="004711")
    return asked.post("DAY-02/reseal", seal="004711", anyway=True)


def _opened_since(asked: Asked) -> Any:
    asked.post("DAY-01/reseal", seal="004711")
    earlier = clock.now() - timedelta(hours=1)
    return asked.post("DAY-01/reseal", seal="004712", occurred_at=earlier.isoformat())


def _undone_twice(asked: Asked) -> Any:
    taken = asked.take()
    asked.undo(taken)
    return asked.undo(taken)


def _built_on(asked: Asked) -> Any:
    taken = asked.take()
    asked.post("DAY-01/check-in")
    return asked.undo(taken)


def _undone_undoing(asked: Asked) -> Any:
    asked.undo(asked.take())
    return asked.call.post(f"entries/{Entry.objects.latest('pk').pk}/reverse/")


ASKED: dict[str, Callable[[Asked], Any]] = {
    "which-kit": _several,
    "not-a-kit": lambda asked: asked.post(f"{asked.label(asked.w.shelf)}/check-in"),
    "label-cancelled": _cancelled,
    "wrong-label": lambda asked: asked.take(person=asked.label(asked.w.shelf)),
    "who-takes-it": lambda asked: asked.post("DAY-01/check-out"),
    "not-fit": _without,
    "short-needs-a-reason": _short,
    "may-not-clear": lambda asked: _without(asked, cleared_by=asked.guide),
    "reserved-for-another": _of_another,
    "not-out": lambda asked: asked.post("DAY-01/due", due_at=None),
    "not-withheld": lambda asked: asked.post("DAY-01/release", kind="drying"),
    "count-first": _mixed,
    "laid-up-already": _twice("DAY-01/lay-up"),
    "not-laid-up": lambda asked: asked.post("DAY-01/lay-up", wake=True),
    "keep-as-it-came-back": _kept,
    "not-enough": lambda asked: asked.put_in("d1", 40),
    "recalled": _recalled,
    "recalled-already": _recalled_twice,
    "nothing-to-add": _nothing_to_add,
    "kit-not-empty": lambda asked: asked.post("DAY-01/retire", reason="Worn out"),
    "instrument-held": _received_twice,
    "wrong-bin": _at_the_shelf("dispose", "tablets", disposal="bin", reason="Torn open"),
    "no-opened-life": _at_the_shelf("open", "d1"),
    "nothing-to-take-out": lambda asked: asked.post("DAY-01/take-out"),
    "not-replaced": _not_replaced,
    "sealed-already": _twice("DAY-01/reseal", seal="004711"),
    "seal-in-use": _elsewhere,
    "opened-since": _opened_since,
    "reversed-already": _undone_twice,
    "built-on": _built_on,
    "not-reversible": _undone_undoing,
}


def test_there_is_an_example_for_each_that_is_asked_for() -> None:
    assert set(ASKED) == {code for code, _, _ in PROBLEMS}


@pytest.mark.parametrize("code", ASKED)
def test_it_is_answered_as_in_the_example(code: str, engine: str) -> None:
    answer = ASKED[code](Asked(make.world())).json()
    answer.pop("instance")
    assert without_what_varies(answer) == without_what_varies(examples()[code])
