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
        "The body could not be read",
        "Send one JSON object (RFC 8259) in UTF-8: no member twice, no NaN or Infinity, no NUL.",
    ),
    "invalid-request": ProblemKind(
        400,
        "The request is not in the form that is asked for",
        "“errors” names each field and what it should be. Unknown fields are refused, and a"
        " number is not the text of a number. The schema has the form of every request.",
    ),
    "cannot-be-right": ProblemKind(
        422,
        "The request says something that cannot be right",
        "Its form is right. “detail” says what is wrong with what it says, and “errors” in which"
        " field, where it is in one.",
    ),
    "key-missing": ProblemKind(
        400,
        "This write needs a key",
        "Draw a UUID for each act and send it as the header Idempotency-Key. Send the same key"
        " again when you resend the same act; the answer will be the first one.",
    ),
    "key-reused": ProblemKind(
        422,
        "This key was used for something else",
        "A key stands for one act. Draw a new UUID for a new act.",
    ),
    "in-flight": ProblemKind(
        409,
        "The same act is being done at this moment",
        "Wait as long as Retry-After says, then send it again unchanged.",
    ),
    "malformed-request": ProblemKind(
        400,
        "The request could not be read",
        "Send it as HTTP/1.1 (RFC 9112) has it, and its target percent-encoded.",
    ),
    "address-too-long": ProblemKind(
        414,
        "The address is too long",
        "An address has at most 4,094 bytes. Send what is longer in a body, by POST.",
    ),
    "headers-too-long": ProblemKind(
        431,
        "The headers are too long",
        "There are at most 100, of 8,190 bytes each. Leave out cookies that are not ours.",
    ),
    "malformed-headers": ProblemKind(
        400, "A header could not be read", "Send it in the form that “detail” describes."
    ),
    "unknown-host": ProblemKind(
        400, "That host name is not ours", "Ask under one of the names that it is run under."
    ),
    "unsupported-media-type": ProblemKind(
        415, "The body is of a kind not taken here", "Send it as the schema says, mostly JSON."
    ),
    "not-acceptable": ProblemKind(
        406, "No such form of this is made", "Ask for one of the forms that the schema names."
    ),
    "method-not-allowed": ProblemKind(
        405, "This address does not take that method", "The header Allow lists those it takes."
    ),
    "too-large": ProblemKind(413, "More than is taken at once", "“detail” names the limit."),
    "too-many-requests": ProblemKind(
        429, "Too many requests", "Wait as long as Retry-After says, then go on."
    ),
    "length-required": ProblemKind(
        411, "The length of the body is not told", "Send a Content-Length, not chunks."
    ),
    "changed-since": ProblemKind(
        412,
        "It was changed since you read it",
        "Read it again, look at what changed, and send your change with the new ETag.",
    ),
    # who asks
    "not-signed-in": ProblemKind(
        401,
        "Nobody is signed in",
        "Send a token as Authorization: Bearer …, or sign in on the pages.",
    ),
    "token-refused": ProblemKind(
        401,
        "This token is not valid",
        "It is unknown, has expired or was revoked. Make a new one on the pages, or with"
        " manage.py issue_token.",
    ),
    "not-at-the-hatch": ProblemKind(
        403,
        "This is not done at a shared device",
        "Sign in on a device of your own and do it there.",
    ),
    "who-are-you": ProblemKind(
        403, "The shared device does not know who you are", "Choose your name on it first."
    ),
    "confirm-with-pin": ProblemKind(
        403,
        "A shared device needs your PIN for this",
        "Confirm with your PIN. You choose it on a device of your own, under Settings.",
    ),
    "no-pin": ProblemKind(
        409,
        "There is no PIN yet",
        "Sign in on a device of your own and choose one under Settings.",
    ),
    "wrong-pin": ProblemKind(403, "The PIN is another one", "Type it again."),
    "wrong-password": ProblemKind(403, "The password is another one", "Type it again."),
    "not-allowed": ProblemKind(403, "Not allowed", "Ask a keeper of the room."),
    "scope-missing": ProblemKind(
        403, "This token is not for that", "Make a token that has the scope which “detail” names."
    ),
    "role-missing": ProblemKind(
        403, "This needs another role", "Ask somebody who has one of the roles in “roles”."
    ),
    "not-oneself": ProblemKind(
        403, "Nobody does that for themselves", "Ask somebody else who may do it."
    ),
    # people
    "name-taken": ProblemKind(409, "The name is taken", "Choose another one."),
    "has-sign-in": ProblemKind(
        409, "They have a sign-in already", "Leave the user name out to make a new password."
    ),
    "person-left": ProblemKind(409, "They have left", "Say first that they are back."),
    "last-administrator": ProblemKind(
        409, "Nobody else administers every room", "Make another administrator first."
    ),
    # what is there
    "not-found": ProblemKind(
        404,
        "There is no such thing",
        "Check the name or scan the label. What belongs to other rooms is not shown.",
    ),
    # ourselves
    "busy": ProblemKind(
        503,
        "The book is busy",
        "Nothing was changed. Send the same request again, with the same key, in a few seconds.",
    ),
    "storage-full": ProblemKind(
        507,
        "Storage is full",
        "Nothing was changed, and what is in the book can still be read. Whoever runs this"
        " installation makes room on the disk that the database is on; then send the same request"
        " again, with the same key.",
    ),
    "read-only": ProblemKind(
        503,
        "The book may only be read",
        "Nothing was changed. Whoever runs this installation lets its database be written to; then"
        " send the same request again, with the same key.",
    ),
    "no-database": ProblemKind(
        503,
        "The database does not answer",
        "Send the same request again, with the same key, in a minute: if it was done, its answer"
        " comes again. If it stays, tell whoever runs this installation the time it happened.",
    ),
    "internal-error": ProblemKind(
        500,
        "Something went wrong here",
        "Nothing was changed. Send the same request again with the same key; if it stays, tell"
        " whoever runs this installation the time it happened.",
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
