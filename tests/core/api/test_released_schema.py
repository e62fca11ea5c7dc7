"""What programs rely on since the last release stays, unless the version says that it does not."""

import copy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.core.api.schema_changes import Part, breaks, version_allows
from tests.core.api.test_schema_valid import DOCUMENT
from tests.released_schema import keep, released

HARMLESS = {
    "TripBodyRequest.children: where nothing is sent, no longer false": (
        "it follows from the age of the youngest, which no earlier program sends; without: false"
    ),
}
"""What looks like a break and is none, with the reason."""


def test_nothing_breaks_what_was_released_unless_the_version_says_so() -> None:
    before = released()
    if not version_allows(before["info"]["version"], DOCUMENT["info"]["version"]):
        assert breaks(before, DOCUMENT) == list(HARMLESS)


@pytest.mark.parametrize(
    ("before", "after", "allowed"),
    [
        ("1", "1.1.0", False),
        ("1.9.3", "1.10.0", False),
        ("1.1.0", "2.0.0", True),
        ("0.4.0", "0.4.1", False),
        ("0.4.0", "0.5.0", True),
        ("0.9", "1.0", True),
        ("2.0.0", "1.0.0", False),
    ],
)
def test_a_version_allows_breaks_from_its_major_number(
    before: str, after: str, allowed: bool
) -> None:
    assert version_allows(before, after) is allowed


# ------------------------------------------------------------------------------ a small document
def a_document() -> Part:
    kit = {
        "type": "object",
        "properties": {
            "name": {"type": "string"},
            "units": {"type": "integer", "minimum": 1},
            "state": {"type": "string", "enum": ["in", "out"]},
            "seal": {"type": ["string", "null"]},
            "parts": {"type": "array", "items": {"$ref": "#/components/schemas/Kit"}},
            "trip": {"oneOf": [{"$ref": "#/components/schemas/Trip"}, {"type": "null"}]},
        },
        "required": ["name"],
    }
    body = {
        "type": "object",
        "properties": {
            "name": {"type": "string", "maxLength": 40},
            "units": {"type": "integer", "minimum": 1, "maximum": 9, "default": 1},
            "state": {"type": "string", "enum": ["in", "out"]},
            "seal": {"type": ["string", "null"]},
            "day": {"type": "string", "format": "date"},
            "rows": {"type": "array", "items": {"type": "string"}, "maxItems": 5},
            "lot": {"type": "integer"},
            "item": {"type": "integer"},
        },
        "required": ["name"],
        "additionalProperties": False,
        "anyOf": [{"required": ["lot"]}, {"required": ["item"]}],
    }
    trip = {"type": "object", "properties": {"id": {"type": "integer"}}, "required": ["id"]}
    answer = {"content": {"application/json": {"schema": {"$ref": "#/components/schemas/Kit"}}}}
    return {
        "info": {"version": "1.0.0"},
        "paths": {
            "/kits/{kit}/": {
                "get": {
                    "parameters": [
                        {"name": "kit", "in": "path", "required": True, "schema": {}},
                        {"name": "on", "in": "query", "schema": {"type": "string"}},
                    ],
                    "security": [{}],
                    "responses": {"200": {**answer, "headers": {"ETag": {}}}},
                },
                "post": {
                    "requestBody": {
                        "content": {
                            "application/json": {"schema": {"$ref": "#/components/schemas/Body"}}
                        }
                    },
                    "responses": {"200": answer},
                },
            }
        },
        "webhooks": {
            "kit.back": {"post": {"requestBody": {"content": dict(answer["content"])}}},
        },
        "components": {"schemas": {"Kit": kit, "Body": body, "Trip": trip}},
    }


def at(path: str, **changes: Any) -> Callable[[Part], None]:
    """A change of a part: its words set, or taken out where the value is None."""

    def change(document: Part) -> None:
        part: Any = document
        for name in path.split(" "):
            part = part[int(name) if name.isdigit() and isinstance(part, list) else name]
        for word, value in changes.items():
            part.pop(word, None)
            if value is not None:
                part[word] = value

    return change


def rename(part: Part, name: str, new: str) -> None:
    part[new] = part.pop(name)


GET, POST = "paths /kits/{kit}/ get", "paths /kits/{kit}/ post"
KIT, BODY = "components schemas Kit", "components schemas Body"
ON = f"{GET} parameters 1"
RULE = {"required": ["lot"]}, {"required": ["item"]}

BREAKS = {
    "an operation is gone": at("paths /kits/{kit}/", get=None),
    "a parameter is gone": at(ON, name="since"),
    "a parameter has to be sent": at(ON, required=True),
    "a parameter takes less": at(f"{ON} schema", maxLength=3),
    "somebody has to log in": at(GET, security=[{"token": []}]),
    "a header is gone": at(f"{GET} responses 200", headers=None),
    "another status is answered": at(f"{GET} responses", **{"201": {}}),
    "the media type is another": at(f"{GET} responses 200", content={"text/csv": {}}),
    "a body has to be sent": at(f"{POST} requestBody", required=True),
    "a body of that type is not taken": at(f"{POST} requestBody", content={"text/csv": {}}),
    "a field of an answer is gone": at(f"{KIT} properties", units=None),
    "a field of an answer may be missing": at(KIT, required=[]),
    "an answer has another type": at(f"{KIT} properties name", type="integer"),
    "an answer may be null": at(f"{KIT} properties name", type=["string", "null"]),
    "an answer has a new value": at(f"{KIT} properties state", enum=["in", "out", "lost"]),
    "an answer has any value": at(f"{KIT} properties state", enum=None),
    "an answer goes lower": at(f"{KIT} properties units", minimum=0),
    "the rows of an answer are others": at(f"{KIT} properties parts", items={"type": "string"}),
    "what lies inside an answer is another": at("components schemas Trip", required=[]),
    "a field of a body is gone": at(f"{BODY} properties", lot=None),
    "a field of a body has to be there": at(BODY, required=["name", "units"]),
    "a body takes another type": at(f"{BODY} properties name", type="integer"),
    "a body takes no null": at(f"{BODY} properties seal", type="string"),
    "a body takes fewer values": at(f"{BODY} properties state", enum=["in"]),
    "a body takes shorter texts": at(f"{BODY} properties name", maxLength=39),
    "a body takes smaller numbers": at(f"{BODY} properties units", maximum=8),
    "a body takes larger numbers": at(f"{BODY} properties units", minimum=2),
    "a body takes fewer rows": at(f"{BODY} properties rows", maxItems=4),
    "a body takes other rows": at(f"{BODY} properties rows items", pattern="^a"),
    "a body takes another format": at(f"{BODY} properties day", format="date-time"),
    "where nothing is sent, another value": at(f"{BODY} properties units", default=2),
    "two fields of a body exclude each other": at(BODY, anyOf=None, oneOf=[*RULE]),
    "an event is gone": at("webhooks", **{"kit.back": None}),
}
HARMLESS_CHANGES: dict[str, Callable[[Part], None]] = {
    "an operation has another name": at(GET, operationId="other"),
    "an operation is new": at("paths", **{"/lists/": {"get": {}}}),
    "a name in a path": lambda document: rename(document["paths"], "/kits/{kit}/", "/kits/{id}/"),
    "an answer has one more field": at(f"{KIT} properties", colour={"type": "string"}),
    "an answer always has a field": at(KIT, required=["name", "units"]),
    "an answer has one value less": at(f"{KIT} properties state", enum=["in"]),
    "an answer goes less low": at(f"{KIT} properties units", minimum=2),
    "an answer is never null": at(f"{KIT} properties", seal={"type": "string"}),
    "a body has one more field": at(f"{BODY} properties", colour={"type": "string"}),
    "a body takes one value more": at(f"{BODY} properties state", enum=["in", "out", "lost"]),
    "a body takes longer texts": at(f"{BODY} properties name", maxLength=None),
    "a field of a body may be missing": at(BODY, required=[]),
    "a whole number may be any": at(f"{BODY} properties units", type="number"),
    "a rule in other words": at(BODY, anyOf=None, **{"if": {"required": ["lot"]}, "else": RULE[1]}),
    "a text": at(f"{KIT} properties name", description="Its name."),
    "nobody has to log in": at(POST, security=[{}]),
}


@pytest.mark.parametrize("kind", BREAKS)
def test_a_break_is_one(kind: str) -> None:
    after = a_document()
    BREAKS[kind](after)
    assert breaks(a_document(), after) != []


@pytest.mark.parametrize("kind", HARMLESS_CHANGES)
def test_what_breaks_nothing_is_none(kind: str) -> None:
    after = a_document()
    HARMLESS_CHANGES[kind](after)
    assert breaks(a_document(), after) == []


def test_a_word_that_cannot_be_compared_is_refused() -> None:
    after = a_document()
    after["components"]["schemas"]["Body"]["contains"] = {}
    with pytest.raises(ValueError, match="contains"):
        breaks(a_document(), after)


def test_no_answer_of_ours_loses_a_field_without_a_break(tmp_path: Path) -> None:
    keep(DOCUMENT, kept := tmp_path / "schema.json.xz")
    assert breaks(released(kept), DOCUMENT) == []
    after = copy.deepcopy(DOCUMENT)
    gone = set()
    for name, schema in after["components"]["schemas"].items():
        leaves = [
            field for field, its in schema.get("properties", {}).items() if "$ref" not in str(its)
        ]
        if leaves and not name.endswith("Request"):
            del schema["properties"][leaves[0]]
            gone.add(f"{name}.{leaves[0]}: gone")
    assert len(gone) > 200
    assert gone - set(breaks(released(kept), after)) == set()
