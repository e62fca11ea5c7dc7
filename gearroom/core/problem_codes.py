"""Every kind of problem: its title, and what to do next. The page at /problems/CODE/ shows these.

`code` is the last part of a problem's type address (RFC 9457) and never changes its meaning. Here
are those of the plumbing; each app adds its own in a module of the same name.
"""

from typing import NamedTuple

from django.utils.functional import Promise
from django.utils.translation import pgettext_lazy


class ProblemKind(NamedTuple):
    """A kind of problem, as a person reads of it."""

    status: int
    title: str
    what_to_do: str


KINDS: dict[str, ProblemKind] = {
    # the request as such
    "malformed-body": ProblemKind(
        400,
        "The request body could not be read",
        "Send one JSON object (RFC 8259) in UTF-8: no member twice, no NaN or Infinity, no NUL.",
    ),
    "invalid-request": ProblemKind(
        400,
        "The request does not match the schema",
        "“errors” names each field and what is expected there. Unknown fields are refused, and so"
        " is a number sent as text. The schema describes every request.",
    ),
    "cannot-be-right": ProblemKind(
        422,
        "A value in the request cannot be right",
        "The request matches the schema, but something in it cannot be true. “detail” explains"
        " what is wrong; “errors” names the field, if it is only one.",
    ),
    "key-missing": ProblemKind(
        400,
        "This request needs an Idempotency-Key",
        "Create a new UUID for each action and send it in the Idempotency-Key header. If you send"
        " the same request again, use the same key: you get the first answer again.",
    ),
    "key-reused": ProblemKind(
        422,
        "This key was used for a different request",
        "Each key belongs to one request. Create a new UUID for a new request.",
    ),
    "in-flight": ProblemKind(
        409,
        "The same request is still being processed",
        "Wait for the time in Retry-After, then send the request again unchanged.",
    ),
    "malformed-request": ProblemKind(
        400,
        "The request could not be read",
        "Send it as HTTP/1.1 (RFC 9112), with a percent-encoded target.",
    ),
    "address-too-long": ProblemKind(
        414,
        "The address is too long",
        "An address can have at most 4,094 bytes. Send longer data in the body of a POST request.",
    ),
    "headers-too-long": ProblemKind(
        431,
        "The headers are too long",
        "There can be at most 100 headers of 8,190 bytes each. Do not send cookies from other"
        " sites.",
    ),
    "malformed-headers": ProblemKind(
        400, "A header could not be read", "Send it in the form described in “detail”."
    ),
    "unknown-host": ProblemKind(
        400,
        "This server does not use that host name",
        "Use one of the host names that the server is set up for.",
    ),
    "unsupported-media-type": ProblemKind(
        415,
        "This media type is not supported",
        "Use a media type named in the schema, in most cases JSON.",
    ),
    "not-acceptable": ProblemKind(
        406,
        "This is not available in the requested format",
        "Ask for one of the formats named in the schema.",
    ),
    "method-not-allowed": ProblemKind(
        405,
        "This address does not support that method",
        "The Allow header lists the methods that it supports.",
    ),
    "too-large": ProblemKind(413, "The request is too large", "“detail” gives the limit."),
    "too-many-requests": ProblemKind(
        429, "Too many requests", "Wait for the time in Retry-After, then continue."
    ),
    "length-required": ProblemKind(
        411,
        "The length of the request body is missing",
        "Send a Content-Length header instead of chunks.",
    ),
    "changed-since": ProblemKind(
        412,
        "This has been changed since you read it",
        "Read it again, check what has changed, and send your change with the new ETag.",
    ),
    # who asks
    "not-signed-in": ProblemKind(
        401,
        "You are not logged in",
        "Send a token as Authorization: Bearer …, or log in on the pages.",
    ),
    "token-refused": ProblemKind(
        401,
        "This token is not valid",
        "It is unknown, expired or revoked. Create a new one on the pages, or with manage.py"
        " issue_token.",
    ),
    "not-at-the-hatch": ProblemKind(
        403, "This cannot be done on a shared device", "Log in on your own device and do it there."
    ),
    "who-are-you": ProblemKind(
        403, "Nobody is selected on the shared device", "Choose your name on the device first."
    ),
    "confirm-with-pin": ProblemKind(
        403,
        "This must be confirmed with a PIN",
        "Confirm it with your PIN. You can choose your PIN under Settings, on your own device.",
    ),
    "no-pin": ProblemKind(
        409, "You have no PIN yet", "Log in on your own device and choose a PIN under Settings."
    ),
    "wrong-pin": ProblemKind(403, "Wrong PIN", "Enter it again."),
    "wrong-password": ProblemKind(403, "Wrong password", "Enter it again."),
    "not-allowed": ProblemKind(403, "Not allowed", "Ask a keeper of the gear room."),
    "scope-missing": ProblemKind(
        403,
        "The token does not have the required scope",
        "Create a token that has the scope named in “detail”.",
    ),
    "role-missing": ProblemKind(
        403,
        "You do not have the required role",
        "Ask somebody who has one of the roles listed in “roles”.",
    ),
    "not-oneself": ProblemKind(
        403, "Nobody can do this for themselves", "Ask somebody else who is allowed to do it."
    ),
    # people
    "name-taken": ProblemKind(409, "The name is already in use", "Choose another name."),
    "has-sign-in": ProblemKind(
        409,
        "This person already has a login",
        "To create a new password, send the request without a username.",
    ),
    "person-left": ProblemKind(
        409, "This person has left", "First record that they have come back."
    ),
    "last-administrator": ProblemKind(
        409,
        "This is the only administrator of all gear rooms",
        "Appoint another administrator first.",
    ),
    # what is there
    "not-found": ProblemKind(
        404,
        "Not found",
        "Check the name or scan the label. Anything that belongs to other gear rooms is not shown.",
    ),
    # ourselves
    "busy": ProblemKind(
        503,
        "The database is busy",
        "Nothing was changed. Send the same request again, with the same key, in a few seconds.",
    ),
    "storage-full": ProblemKind(
        507,
        "The storage is full",
        "Nothing was changed, and everything on record can still be read. The person who runs this"
        " server must free up space on the database’s disk; then send the same request again, with"
        " the same key.",
    ),
    "read-only": ProblemKind(
        503,
        "The database is read-only at the moment",
        "Nothing was changed. The person who runs this server must make the database writable"
        " again; then send the same request again, with the same key.",
    ),
    "no-database": ProblemKind(
        503,
        "The database is not responding",
        "Send the same request again, with the same key, in a minute: nothing is done twice. If"
        " this continues, tell the person who runs this server when it happened.",
    ),
    "internal-error": ProblemKind(
        500,
        "Something went wrong on the server",
        "Nothing was changed. Send the same request again, with the same key. If this continues,"
        " tell the person who runs this server when it happened.",
    ),
}


NOUNS: dict[str, str | Promise] = {
    # what `NotFound` says is not there
    "device": pgettext_lazy("not found", "device"),
    "label": pgettext_lazy("not found", "label"),
    "link": pgettext_lazy("not found", "link"),
    "link for a new password": pgettext_lazy("not found", "password reset link"),
    "person": pgettext_lazy("not found", "person"),
    "room": pgettext_lazy("not found", "room"),
    "sign-in": pgettext_lazy("not found", "login"),
    "such role of": pgettext_lazy("not found", "role of this kind for"),
    "token": pgettext_lazy("not found", "token"),
    "help page": pgettext_lazy("not found", "help page"),
}


def title_of(code: str) -> str:
    """The title of a kind of problem."""
    return KINDS[code].title if code in KINDS else code.replace("-", " ").capitalize()
