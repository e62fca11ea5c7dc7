"""What the doors answer about things that are there is what the OpenAPI schema says."""

from functools import cache
from typing import Any

import pytest
from drf_spectacular.generators import SchemaGenerator
from jsonschema import Draft202012Validator, FormatChecker

from kits.models import WithheldKind
from kits.services.custody import custody, use
from kits.services.kits import holds
from kits.services.lists import drafts, publishing
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.restocking import sorting
from kits.services.trips import reservations
from tests.core.api.made import Caller
from tests.kits import again, factories as make

pytestmark = [
    pytest.mark.django_db,
    # Doors: what they write is tried on both engines with the services.
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@cache
def schema() -> dict[str, Any]:
    """The whole document."""
    document: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return document


def conforms(method: str, template: str, answer: Any) -> Any:
    """Hold an answer against what the schema says of its status; returns its body."""
    answers = schema()["paths"][f"/api/v1/{template}"][method]["responses"]
    assert str(answer.status_code) in answers, answer.content
    body = answer.json()
    described = answers[str(answer.status_code)]
    if "$ref" in described:
        described = schema()["components"]["responses"][described["$ref"].rpartition("/")[2]]
    said = described["content"][answer["Content-Type"]]["schema"]
    whole = {**said, "components": schema()["components"]}
    errors = list(Draft202012Validator(whole, format_checker=FormatChecker()).iter_errors(body))
    assert not errors, errors
    return body


def no_field_untold(template: str, body: dict[str, Any]) -> None:
    """An answer has no field that the schema does not name."""
    said = schema()["paths"][f"/api/v1/{template}"]["get"]["responses"]["200"]
    name = said["content"]["application/json"]["schema"]["$ref"].rpartition("/")[2]
    assert set(body) == set(schema()["components"]["schemas"][name]["properties"])


@pytest.fixture
@again.kept
def w() -> make.World:
    """The school, with a kit out, one kept back, promises, use and a second version of a list."""
    w = make.world()
    make.some(w.dressing, w.shelf, 6, "D9", make.days(500))
    sorting.restock(make.act(), make.kit("DAY-04", w.version, w.store))
    trip = make.trip("Moor", w.store, 0, 0, leader=w.guide)
    reservations.reserve(make.act(w.keeper), w.day_01, trip, person=w.guide)
    custody.check_out(make.act(w.keeper), w.day_01)
    use.log_use(make.act(w.guide), w.day_01, [use.UseLine(w.dressing, 2)])
    later = make.trip("Gorge", w.store, 3, 4)
    reservations.reserve(make.act(w.keeper), w.day_01, later)
    holds.withhold(make.act(w.guide), w.day_02, WithheldKind.DRYING)
    draft = drafts.new_draft(make.act(w.keeper), w.version.packing_list)
    said = Draft(people=12, days=2, sections=[SectionDraft("Main", [LineDraft(w.dressing, 9)])])
    publishing.publish(make.act(w.keeper), drafts.edit_draft(make.act(w.keeper), draft, said))
    return w


LISTS = ["items", "packing-lists", "kits", "trips", "reservations", "checkouts", "entries"]


@pytest.mark.parametrize("name", [*LISTS, "movements"])
def test_a_list_answers_as_the_schema_says(w: make.World, name: str) -> None:
    body = conforms("get", f"{name}/", make.caller(w.keeper).get(f"{name}/"))
    assert body["results"]


def test_each_thing_answers_as_the_schema_says(w: make.World) -> None:
    call = make.caller(w.keeper)

    def one(template: str, **parts: object) -> Any:
        body = conforms("get", template, call.get(template.format(**parts)))
        no_field_untold(template, body)
        return body

    trip = call.get("trips/").json()["results"][0]
    entry = call.get("entries/?kind=use").json()["results"][0]
    reservation = call.get("reservations/").json()["results"][0]
    of_list = w.version.packing_list_id
    version = "packing-lists/{id}/versions/{number}/"
    assert one("kits/{kit}/", kit="DAY-01")["out"]["trip"]["name"] == "Moor"
    one("items/{id}/", id=w.dressing.pk)
    one("packing-lists/{id}/", id=of_list)
    one(version, id=of_list, number=1)
    assert one(f"{version}compare/{{before}}/", id=of_list, number=2, before=1)["changed"]
    assert one(f"{version}effect/", id=of_list, number=2)["kits"]
    one("trips/{source}/{reference}/", source=trip["source"], reference=trip["reference"])
    one("reservations/{id}/", id=reservation["id"])
    assert one("entries/{id}/", id=entry["id"])["movements"]


def _posts(w: make.World, call: Caller) -> list[tuple[str, str, dict[str, Any]]]:
    of_list, trip = w.version.packing_list_id, make.trip("Fell", w.store, 6, 6)
    kit = {"name": "DAY-09", "home_room": "main-store", "packing_list": of_list, "version": 2}
    tape = {"name": "Tape", "kind": "consumable", "base_unit": "roll"}
    by_hand = {
        "name": "Beck",
        "departs_at": "2027-06-01T08:00:00Z",
        "returns_at": "2027-06-01T18:00:00Z",
        "people": 5,
    }
    return [
        ("items/", "items/", tape),
        ("kits/", "kits/", kit),
        ("kits/{kit}/follow-list/", "kits/DAY-09/follow-list/", {**kit, "version": 1}),
        ("packing-lists/{id}/versions/", f"packing-lists/{of_list}/versions/", {}),
        ("trips/", "trips/", by_hand),
        (
            "trips/{source}/{reference}/proposal/",
            f"trips/by-hand/{trip.reference}/proposal/",
            {},
        ),
        ("reservations/", "reservations/", {"kit": "DAY-02", "trip": str(trip.pk)}),
    ]


def test_what_is_done_answers_as_the_schema_says(w: make.World) -> None:
    call = make.caller(w.keeper)
    for template, path, body in _posts(w, call):
        if template.endswith("follow-list/"):
            body = {name: body[name] for name in ("packing_list", "version")}
        conforms("post", template, call.post(path, body))
    promise = call.get("reservations/?kit=DAY-02").json()["results"][0]
    swapped = call.post(f"reservations/{promise['id']}/swap/", {"kit": "DAY-04"})
    assert conforms("post", "reservations/{id}/swap/", swapped)["goes"]["verdict"]["fit"]
