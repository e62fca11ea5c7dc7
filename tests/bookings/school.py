"""The school whose trips these are, and what its people do at the hatch meanwhile."""

import random
import threading
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db import connections

from gearroom.core.models import Person
from gearroom.core.rules.roles import Role, Scope
from gearroom.core.services.accounts import tokens
from kits.rules.ledger.facts import Criticality
from kits.services.restocking import sorting
from tests.e2e.calls import Phone
from tests.kits import factories
from tests.kits.factories import act, days
from tests.present import present


@dataclass(frozen=True)
class School:
    """A store and a hut with kits for days and for groups, and the tokens of two programs."""

    booking: str
    hatch: str
    guide: int
    dressing: int
    kits: list[str]


def make_school() -> School:
    """Eight kits in the store, two in the hut, all of them ready, and stock to restock them."""
    store, hut = factories.room(), factories.room("Cave hut")
    adviser = factories.person("Ada", Role.ADVISER)
    keeper = factories.person("Kim", Role.KEEPER)
    guide = factories.person("Gil", Role.GUIDE, store)
    dressing = factories.item("Wound dressing 10 × 12", sterile=True)
    kits = []
    for room, lists in (
        (store, (("DAY", 5, 8, ["hill", "water"]), ("GROUP", 3, 20, ["hill", "water", "cave"]))),
        (hut, (("CAVE", 2, 20, ["cave", "hill"]),)),
    ):
        shelf = factories.shelf(room, "Shelf")
        factories.some(dressing, shelf, 500, room.slug, days(900))
        for name, number, people, hazards in lists:
            version = factories.kit_list(
                name,
                {"main": [(dressing, people, 4, Criticality.IMPORTANT)]},
                signed_by=adviser,
                people=people,
                days=7,
                hazards=hazards,
            )
            for n in range(1, number + 1):
                kit = factories.kit(f"{name}-{n:02}", version, room, responsible=keeper)
                sorting.restock(act(), kit)
                kits.append(kit.name)
    made = School(
        booking=_token(
            factories.person("Bookings", Role.INTEGRATION), Scope.READ, Scope.TRIPS, Scope.ADMIN
        ),
        hatch=_token(keeper, *Scope),
        guide=guide.pk,
        dressing=dressing.pk,
        kits=kits,
    )
    connections.close_all()
    return made


def _token(person: Person, *scopes: Scope) -> str:
    return tokens.make(user=present(person.user), name="test", scopes=scopes)[1]


class Hatch(threading.Thread):
    """People take reserved kits out, hand back what is out, and restock. Somebody comes whenever
    the count that `progress` gives is so much higher; `done` says what came of it."""

    EVERY = 3

    def __init__(self, url: str, school: School, seed: int, progress: Callable[[], int]) -> None:
        super().__init__(daemon=True)
        self.done: Counter[tuple[str, int]] = Counter()
        self._phone = Phone(url, school.hatch)
        self._school = school
        self._chance = random.Random(f"{seed} hatch")
        self._progress = progress
        self._closed = threading.Event()

    def run(self) -> None:
        """Work until closed; where the server does not answer, they come again."""
        comes = self.EVERY
        while not self._closed.wait(0.1):
            if self._progress() >= comes:
                with suppress(OSError):
                    self._act()
                    comes += self.EVERY

    def close(self) -> None:
        """Nobody comes any more."""
        self._closed.set()
        self.join()

    def _act(self) -> None:
        name = self._chance.choice(self._school.kits)
        kit = self._phone.get(f"kits/{name}/").body
        if kit["out"]:
            self._do(name, "check-in", self._returned())
        elif kit["to_sort_since"]:
            self._do(name, "restock", {})
        else:
            self._do(name, "check-out", self._taken(kit))

    def _taken(self, kit: dict[str, Any]) -> dict[str, object]:
        body = {"person": str(self._school.guide), "short_reason": "There is no other."}
        if kit["reserved"]:
            trip = kit["reserved"]["trip"]
            return {**body, "trip": f"{trip['source']}:{trip['reference']}"}
        back = datetime.now(UTC) + timedelta(hours=2)
        return {**body, "trip": None, "due_at": back.isoformat()}

    def _returned(self) -> dict[str, object]:
        if self._chance.random() < 0.5:
            return {"as_found": "closed"}
        used = {"item": self._school.dressing, "units": self._chance.randrange(1, 9)}
        return {"as_found": "opened", "used": [used]}

    def _do(self, kit: str, act: str, body: Mapping[str, object]) -> None:
        answer = self._phone.post(f"kits/{kit}/{act}/", body)
        self.done[act, answer.status] += 1
