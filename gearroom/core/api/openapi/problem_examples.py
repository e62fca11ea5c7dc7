"""Of problems an example each, as it is really answered.

Here are those that operations have in common (`tests/core/api/test_problem_examples.py` asks for
each of them and compares). Those of particular operations, which their views name in `problems`,
are added by the apps' glossaries.
"""

from typing import Any

from django.utils.module_loading import autodiscover_modules

from gearroom.core.acts import OtherProblem, document
from gearroom.core.problem_codes import KINDS

Example = tuple[str, str, dict[str, Any]]
"""A code, the detail, and further members."""
_COMMON: list[Example] = [
    ("invalid-request", "Something is wrong with one field: see “errors”.",
     {"errors": {"phone": ["This has to be a text."]}}),
    ("malformed-body",
     "The request body could not be read. It is not JSON: Expecting value at line 1, column 1.",
     {}),
    ("key-missing",
     "This request changes data, so it needs the header Idempotency-Key with a new UUID, such as "
     "123e4567-e89b-42d3-a456-426614174000. When you repeat the same request, send the same key.",
     {}),
    ("malformed-headers",
     "Idempotency-Key must be a UUID, such as 123e4567-e89b-42d3-a456-426614174000.", {}),
    ("not-signed-in", "Send a token as “Authorization: Bearer …”, or log in.", {}),
    ("token-refused", "This token is unknown, expired or revoked. Create a new one.", {}),
    ("scope-missing",
     "This token does not have the scope “admin”. Create a token that has it.",
     {"scope": "admin"}),
    ("role-missing",
     "To do this here you need one of these roles: Administrator. Ask the keeper of the gear room.",
     {"roles": ["administrator"]}),
    ("not-found",
     "There is no room cave-hut in your gear rooms. Check the name or scan the label.", {}),
    ("in-flight", "This request is still being processed. Send it again in 2 seconds.",
     {"retry_after": 2}),
    ("changed-since",
     "This has been changed since you read it. Read it again and send your change with the new "
     "ETag.",
     {"current": '"47cf8fb9a34a9e7cc4cb783663e7c6c7"'}),
    ("length-required",
     "Send the body in one piece with a Content-Length header, not chunked.", {}),
    ("too-large",
     "The request is larger than 26 MB. Send a smaller picture, or fewer pictures at a time.",
     {"limit_bytes": 27262976}),
    ("unsupported-media-type",
     "Unsupported media type \"text/plain\" in request. Send the request as described in the "
     "schema.",
     {}),
    ("key-reused",
     "This Idempotency-Key has already been used for another request. Use a new UUID for a new "
     "request.",
     {}),
    ("cannot-be-right",
     "This cursor belongs to another list. Use the values of “next” and “previous” unchanged.",
     {"errors": {"cursor": [
         "This cursor belongs to another list. Use the values of “next” and “previous” unchanged."
     ]}}),
    ("too-many-requests", "Try again in 42 seconds.", {"retry_after": 42}),
    ("busy", "Gearroom is busy. Nothing was changed. Try again in a few seconds.",
     {"retry_after": 5}),
]  # fmt: skip

ONLY_WRITES = {
    "malformed-body", "key-missing", "malformed-headers", "in-flight", "changed-since",
    "length-required", "too-large", "unsupported-media-type", "key-reused",
}  # fmt: skip
"""Problems that no reading operation can meet."""


PARTICULAR: list[Example] = []
"""Those of particular operations."""
COMMON = [code for code, _, _ in _COMMON]


def examples() -> dict[str, dict[str, Any]]:
    """The problem documents by their codes."""
    autodiscover_modules("api.glossary")
    return {
        code: document(OtherProblem(KINDS[code].status, code, detail, **facts))
        for code, detail, facts in [*_COMMON, *PARTICULAR]
    }
