"""What the answers of all operations have in common: headers, and examples of problems and answers.

A hook puts it into the finished document, each thing once under `components`; which particular
problems an operation has, its view says.
"""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from gearroom.core.api.openapi.answer_examples import ANSWERS
from gearroom.core.api.openapi.problem_examples import COMMON, ONLY_WRITES, examples
from gearroom.core.api.problems import MEDIA_TYPE

Part = dict[str, Any]


def _header(description: str, example: str, **schema: Any) -> Part:
    return {
        "description": description,
        "schema": {"type": "string", **schema},
        "example": example,
    }


HEADERS = {
    "ETag": _header(
        "The tag of what this answer shows (RFC 9110 §8.8.3): send it in If-None-Match to be"
        " answered 304 as long as nothing changed, and in If-Match with a change.",
        '"47cf8fb9a34a9e7cc4cb783663e7c6c7"',
    ),
    "Idempotency-Replayed": _header(
        "This is the answer given before, and nothing was done now. To repeat the action, use a"
        " new key.",
        "true",
        enum=["true"],
    ),
    "Idempotency-First-Answered": _header(
        "When this answer was first given.", "2026-05-31T08:15:00+00:00", format="date-time"
    ),
    "RateLimit-Policy": _header(
        "How many requests (q) in how many seconds (w) one token, one login or, without either,"
        " one network address may send (draft-ietf-httpapi-ratelimit-headers-11 §3). On every"
        " answer to a request that was counted: all but those refused for who asks. Each web"
        " process counts for itself.",
        '"actor";q=1200;w=60',
    ),
    "RateLimit": _header(
        "How many requests are left (r) for how many seconds"
        " (t) (draft-ietf-httpapi-ratelimit-headers-11 §4).",
        '"actor";r=1187;t=42',
    ),
    "Retry-After": {
        "description": "After how many seconds to send the same request again, with the same key;"
        " at 409 only where the same request is still being processed.",
        "schema": {"type": "integer", "minimum": 1},
        "example": 42,
    },
    "WWW-Authenticate": _header(
        "How to say who asks (RFC 6750 §3).", 'Bearer realm="gearroom", error="invalid_token"'
    ),
}
_COUNTED = ["RateLimit-Policy", "RateLimit"]
_OF_STATUS = {
    "401": ["WWW-Authenticate"],
    "429": ["Retry-After", *_COUNTED],
    "503": ["Retry-After"],
    "507": ["Retry-After"],
}
_REPLAYS = ["Idempotency-Replayed", "Idempotency-First-Answered"]
_KEPT = {"200", "201", "409", "422"}
_DONE = {"get": {"200": "What is on record"}, "": {"200": "Done", "201": "Done and recorded"}}
NOT_MODIFIED = "You have it already: nothing changed since the answer with this tag"
NONE_MATCH = {
    "name": "If-None-Match",
    "in": "header",
    "schema": {"type": "string"},
    "description": "The ETag of the answer that you have; if nothing changed, the answer is a 304"
    " without content.",
}


def share(result: Part, **_: Any) -> Part:
    """The document with headers and examples, and what many operations answer alike once."""
    documents = examples()
    parts = result["components"]
    parts["headers"] = HEADERS
    parts["examples"] = {
        code: {"summary": document["title"], "value": document}
        for code, document in documents.items()
    }
    for path, method, operation in operations(result):
        _add_tags(method, operation)
        _add_example(method, path, operation)
        for status, response in operation["responses"].items():
            _complete(method, operation, status, response)
            if MEDIA_TYPE in response.get("content", {}):
                common = {
                    code: {"$ref": f"#/components/examples/{code}"}
                    for code in COMMON
                    if documents[code]["status"] == int(status)
                    and (method != "get" or code not in ONLY_WRITES)
                }
                content = response["content"][MEDIA_TYPE]
                own = content.get("examples", {})
                own = {code: example for code, example in own.items() if code in documents}
                content["examples"] = own | common
    parts["responses"] = _shared(result)
    return result


def operations(document: Part) -> Iterator[tuple[str, str, Part]]:
    """Every operation of a document with its path and method."""
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def _add_example(method: str, path: str, operation: Part) -> None:
    for status, answer in operation["responses"].items():
        example = ANSWERS.get((method, path.removeprefix("/api/v1/"), int(status)))
        if example is not None:
            answer["content"]["application/json"]["example"] = example


def _add_tags(method: str, operation: Part) -> None:
    """A GET of JSON answers 304 to whoever has it; what was changed has a new tag."""
    answers = operation["responses"]
    if method == "get" and "application/json" in answers.get("200", {}).get("content", {}):
        operation.setdefault("parameters", []).append(NONE_MATCH)
        answers["304"] = {"description": NOT_MODIFIED}


def _complete(method: str, operation: Part, status: str, response: Part) -> None:
    done = _DONE.get(method, _DONE[""])
    response["description"] = response["description"] or done.get(status, "Done")
    names = list(_OF_STATUS.get(status, ()))
    if status < "400":
        names += _COUNTED
    tagged = "304" in operation["responses"] and status in ("200", "304")
    if tagged or (method in ("put", "patch") and status in ("200", "201")):
        names.append("ETag")
    sent = {parameter["name"] for parameter in operation.get("parameters", ())}
    if "Idempotency-Key" in sent and status in _KEPT:
        names += _REPLAYS + ["Retry-After"] * (status == "409")
    if names:
        headers = {name: {"$ref": f"#/components/headers/{name}"} for name in names}
        response["headers"] = {**response.get("headers", {}), **headers}


def _shared(document: Part) -> Part:
    """The problems that many operations answer alike, which refer to them from now on."""
    problems = [
        (operation["responses"], status, response)
        for _, _, operation in operations(document)
        for status, response in operation["responses"].items()
        if list(response.get("content", ())) == [MEDIA_TYPE]
    ]
    count = Counter((status, repr(response)) for _, status, response in problems)
    names: dict[tuple[str, str], str] = {}
    shared: Part = {}
    for answers, status, response in problems:
        same = (status, repr(response))
        if count[same] > 1:
            number = sum(key[0] == status for key in names) + 1
            name = names.setdefault(same, f"Problem{status}" + (f"_{number}" * (number > 1)))
            shared[name] = response
            answers[status] = {"$ref": f"#/components/responses/{name}"}
    return shared
