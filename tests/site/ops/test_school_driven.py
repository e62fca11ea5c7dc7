"""Every operation of the API, called at random about things of the demo school that are there:
no fault of ours, no answer beside the schema, and the book in balance at the end."""

import json
import random
import uuid
from collections import Counter
from typing import Any

import pytest
from django.core.cache import cache
from django.core.management import call_command
from hypothesis import HealthCheck, Phase, given, settings

from gearroom.core.acts import Act, actor_of
from gearroom.core.models import Person, Room
from gearroom.core.rules.roles import Role
from gearroom.site.scenario.load import load
from kits.models import Entry, Item, Kit, Label, Lot, PackingList, Place, Recall, Reservation, Trip
from tests.core.api.made import Caller, somebody
from tests.core.api.test_schema import ALLOWED, CHECKS, OPERATIONS
from tests.kits.exchange.both_ways import FORMS, what_changes

# These end the caller's own means, or run readers in processes of their own.
LEFT_OUT = ("/people/{id}/left/", "/roles/", "/tokens/{id}/revoke/", "/scans/")


class Names:
    """Names of things that are there, by the field or the part of an address that takes them."""

    def __init__(self, draw: random.Random) -> None:
        self.draw = draw
        self.numbers = {
            name: list(model._default_manager.order_by("-pk").values_list("pk", flat=True)[:100])
            for name, model in {
                "item": Item, "lot": Lot, "place": Place, "people": Person, "entries": Entry,
                "recalls": Recall, "reservations": Reservation, "packing-lists": PackingList,
            }.items()
        }  # fmt: skip
        for one, many in {"items": "item", "lots": "lot", "places": "place", "instead": "item",
                          "person": "people", "holder": "people", "giver": "people",
                          "responsible": "people", "leader": "people", "shelf": "place",
                          "packing_list": "packing-lists", "used": "item", "from": "place",
                          "to": "place"}.items():  # fmt: skip
            self.numbers[one] = self.numbers[many]
        self.numbers |= {"number": [1, 2], "before": [1], "version": [1, 2], "units": [1, 2, 10]}
        rooms = list(Room.objects.values_list("slug", flat=True))
        codes = list(Label.objects.values_list("code", flat=True)[:50])
        self.texts = {
            "kit": list(Kit.objects.values_list("name", flat=True)),
            "trip": [f"{t.source}:{t.reference}" for t in Trip.objects.order_by("-pk")[:20]],
            "room": rooms,
            "home_room": rooms,
            "code": codes,
            "label": codes,
            "section": list(Place.objects.values_list("section_key", flat=True).distinct()),
        }

    def one(self, field: str, like: Any) -> Any:
        """A name of something that is there, of the same type; else what was made up."""
        numbers, texts = self.numbers.get(field, []), self.texts.get(field, [])
        if isinstance(like, int) and not isinstance(like, bool) and numbers:
            return self.draw.choice(numbers)
        if isinstance(like, str) and (texts or numbers):
            return str(self.draw.choice(texts or numbers))
        return like

    def put_into(self, value: Any, field: str = "") -> Any:
        """A body or query with most of its names made real."""
        if isinstance(value, dict):
            return {name: self.put_into(inner, name) for name, inner in value.items()}
        if isinstance(value, list):
            return [self.put_into(inner, field) for inner in value]
        return self.one(field, value) if self.draw.random() < 0.85 else value

    def address(self, path: str, parts: dict[str, Any]) -> dict[str, Any]:
        """The parts of an address, all real."""
        trip = self.draw.choice(self.texts["trip"]).split(":")
        real = {"source": trip[0], "reference": trip[1]}
        kind = path.split("/")[3]
        return {
            name: real.get(name) or self.one(kind if name == "id" else name, like)
            for name, like in parts.items()
        }


@pytest.mark.long
def test_no_operation_breaks_on_what_is_there(open_database: str) -> None:
    load()
    admin = somebody("driver", Role.ADMINISTRATOR)
    for role in (Role.ADVISER, Role.KEEPER):
        admin.person.memberships.create(role=role.value)
    caller, names = Caller(admin), Names(random.Random(7))
    statuses: Counter[Any] = Counter()

    def drive(operation: Any) -> None:
        @given(operation.as_strategy(generation_mode=ALLOWED))
        @settings(max_examples=25, deadline=None, database=None, derandomize=True,
                  phases=[Phase.generate], suppress_health_check=list(HealthCheck))  # fmt: skip
        def run(case: Any) -> None:
            cache.clear()
            case.path_parameters = names.address(case.path, case.path_parameters or {})
            case.body = names.put_into(case.body)
            case.query = names.put_into(dict(case.query or {}))
            headers = {
                "Authorization": f"Bearer {caller.secret}",
                "Idempotency-Key": str(uuid.uuid4()),
            }
            answer = case.call(headers=headers)
            statuses[answer.status_code] += 1
            case.validate_response(answer, checks=CHECKS[ALLOWED])

        run()

    for label, operation in OPERATIONS.items():
        if not any(part in label for part in LEFT_OUT):
            drive(operation)
    call_command("audit")
    for form in FORMS:
        assert what_changes(Act(actor_of(admin)), form) == {}
    assert statuses[200] > 500 and statuses[201] > 100, json.dumps(statuses)
