"""Events in the OpenAPI document: a schema of each kind of data that they have, and under
`webhooks` each type as it is sent, with an example; all from the registry.

A hook puts them into the finished document.
"""

from collections.abc import Iterable, Mapping
from dataclasses import fields
from datetime import date, datetime
from types import NoneType
from typing import Any, get_args, get_origin, get_type_hints

from kits.rules.events import EVENT_TYPES, EventType, Subject

Part = dict[str, Any]

_FORMS: Mapping[Any, Part] = {
    bool: {"type": "boolean"},
    int: {"type": "integer"},
    str: {"type": "string"},
    datetime: {"type": "string", "format": "date-time"},
    date: {"type": "string", "format": "date"},
}
_KINDS = list(dict.fromkeys(row.data for row in EVENT_TYPES.values()))
_SUBJECTS = {
    Subject.KIT: "kit:{kit}",
    Subject.TRIP: "trip:{trip}",
    Subject.RECALL: "recall:{recall}",
    Subject.STOCK: "stock:{room}:{item}",
    Subject.ENTRY: "kit:{kit}",
}
_LINKS = {
    "entry": "/api/v1/entries/%s/",
    "kit": "/api/v1/kits/DAY-01/",
    "trip": "/api/v1/trips/bookings/118/",
}
_HEADERS = {
    "webhook-id": "The id of the event: the same however often it is sent.",
    "webhook-timestamp": "When it is sent, in seconds since 1970. Refuse what is older than five"
    " minutes.",
    "webhook-signature": "Signatures of id, timestamp and content by each secret that counts,"
    " separated by spaces. Accept it if one is right.",
}
_TEST = "webhook.test"


def _reference(kind: type[Any]) -> Part:
    return {"$ref": f"#/components/schemas/{_name(kind)}"}


def _name(kind: type[Any]) -> str:
    return f"{kind.__name__}EventData"


DATA: Part = {"anyOf": [_reference(kind) for kind in _KINDS]}
"""What an event of any type says."""


def add(result: Part, **_: Any) -> Part:
    """The finished document with all that events say."""
    result["components"]["schemas"] |= {_name(kind): _schema(kind) for kind in _KINDS}
    result["webhooks"] = {name: _webhook(row) for name, row in EVENT_TYPES.items()}
    result["webhooks"][_TEST] = _operation(
        _TEST,
        "Somebody tries whether a webhook works.",
        {"type": "object", "maxProperties": 0, "description": "Nothing."},
        _content(_TEST, 1, "webhook", None, {}, {}),
    )
    return result


def _schema(kind: type[Any]) -> Part:
    hints = get_type_hints(kind, include_extras=True)
    return {
        "type": "object",
        "description": (kind.__doc__ or "").replace("\n    ", " "),
        "properties": {field.name: _property(hints[field.name]) for field in fields(kind)},
        "required": [field.name for field in fields(kind)],
    }


def _property(hint: Any) -> Part:
    of, description = get_args(hint)
    return {**_form(of), "description": description}


def _form(of: Any) -> Part:
    if get_origin(of) is tuple:
        return {"type": "array", "items": _form(get_args(of)[0])}
    if NoneType in get_args(of):
        form = _form(next(each for each in get_args(of) if each is not NoneType))
        return {**form, "type": [form["type"], "null"]}
    return _FORMS[of]


def _webhook(row: EventType) -> Part:
    links = {name: path for name, path in _LINKS.items() if row.example.get(name) is not None}
    if "entry" in links:
        links["entry"] %= row.example["entry"]
    subject = _SUBJECTS[row.subject].format_map(row.example)
    example = _content(row.name, row.version, subject, "main-store", row.example, links)
    return _operation(row.name, row.description, _reference(row.data), example)


def _content(
    name: str,
    version: int,
    subject: str,
    room: str | None,
    data: Mapping[str, Any],
    links: Mapping[str, str],
) -> Part:
    return {
        "id": "b7a5a2a6-4d0c-4c6e-9d35-6f1f3c1e2a10",
        "type": name,
        "version": version,
        "timestamp": "2027-05-04T07:25:00Z",
        "subject": subject,
        "room": room,
        "data": dict(data),
        "links": dict(links),
    }


def _operation(name: str, description: str, data: Part, example: Part) -> Part:
    whole = {"$ref": "#/components/schemas/EventAnswer"}
    own = {
        "type": {"const": name, "description": "What happened."},
        "version": {"const": example["version"], "description": "The version of “data”."},
        "data": data,
    }
    if name == _TEST:
        schema: Part = {"type": "object", "required": list(example), "properties": own}
    else:
        schema = {"allOf": [whole, {"type": "object", "properties": own}]}
    return {
        "post": {
            "operationId": f"event_{name.replace('.', '_')}",
            "summary": description,
            "parameters": list(_headers()),
            "requestBody": {
                "required": True,
                "content": {"application/json": {"schema": schema, "example": example}},
            },
            "responses": {
                "2XX": {"description": "Accepted. Anything else, or nothing within 15 seconds, is"
                        " tried again, up to three days."},
                "410": {"description": "Not wanted any more: the webhook is stopped."},
            },
        }
    }  # fmt: skip


def _headers() -> Iterable[Part]:
    for name, description in _HEADERS.items():
        schema = {"type": "integer" if name == "webhook-timestamp" else "string"}
        yield {
            "name": name,
            "in": "header",
            "required": True,
            "description": description,
            "schema": schema,
        }
