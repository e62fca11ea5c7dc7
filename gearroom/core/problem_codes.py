"""Every kind of problem: its title, and what to do next. The page at /problems/CODE/ shows these.

`code` is the last part of a problem's type address (RFC 9457) and never changes its meaning. Here
are those of the plumbing; each app adds its own in a module of the same name.
"""

from typing import NamedTuple

from django.utils.functional import Promise
from django.utils.translation import gettext_noop as _, pgettext_lazy


class ProblemKind(NamedTuple):
    """A kind of problem, as a person reads of it; in English, which the page translates."""

    status: int
    title: str
    what_to_do: str


KINDS: dict[str, ProblemKind] = {
    code: ProblemKind(status, title, what_to_do)
    for code, status, title, what_to_do in [
        # -------------------------------------------------------------------- the request as such
        ("malformed-body", 400, _("The request body could not be read"),
         _("Send one JSON object (RFC 8259) in UTF-8, with no duplicate members, no NaN or "
           "Infinity, and no NUL characters.")),
        ("invalid-request", 400, _("The request does not match the schema"),
         _("“errors” names each field and what is expected there. Unknown fields are refused, and "
           "so is a number sent as text. The schema describes every request.")),
        ("cannot-be-right", 422, _("A value in the request cannot be right"),
         _("The request matches the schema, but something in it cannot be true. “detail” "
           "explains what is wrong; “errors” names the field, if there is only one.")),
        ("key-missing", 400, _("This request needs an Idempotency-Key"),
         _("Create a new UUID for each action and send it in the Idempotency-Key header. If you "
           "send the same request again, use the same key: you get the first answer again.")),
        ("key-reused", 422, _("This key was used for a different request"),
         _("Each key belongs to one request. Create a new UUID for a new request.")),
        ("in-flight", 409, _("The same request is still being processed"),
         _("Wait for the time in Retry-After, then send the request again unchanged.")),
        ("malformed-request", 400, _("The request could not be read"),
         _("Send the request as HTTP/1.1 (RFC 9112), with a percent-encoded target.")),
        ("address-too-long", 414, _("The address is too long"),
         _("An address can have at most 4,094 bytes. Send longer data in the body of a POST "
           "request.")),
        ("headers-too-long", 431, _("The headers are too long"),
         _("There can be at most 100 headers of 8,190 bytes each. Do not send cookies from other "
           "sites.")),
        ("malformed-headers", 400, _("A header could not be read"),
         _("Send the header in the form described in “detail”.")),
        ("unknown-host", 400, _("This server does not use that host name"),
         _("Use one of the host names that the server is set up for.")),
        ("unsupported-media-type", 415, _("This media type is not supported"),
         _("Use a media type named in the schema, in most cases JSON.")),
        ("not-acceptable", 406, _("This is not available in the requested format"),
         _("Ask for one of the formats named in the schema.")),
        ("method-not-allowed", 405, _("This address does not support that method"),
         _("The Allow header lists the methods that it supports.")),
        ("too-large", 413, _("The request is too large"), _("“detail” gives the limit.")),
        ("too-many-requests", 429, _("Too many requests"),
         _("Wait for the time in Retry-After, then continue.")),
        ("length-required", 411, _("The length of the request body is missing"),
         _("Send a Content-Length header instead of chunks.")),
        ("changed-since", 412, _("This has been changed since you read it"),
         _("Read it again, check what has changed, and send your change with the new ETag.")),
        # ------------------------------------------------------------------------------- who asks
        ("not-signed-in", 401, _("You are not logged in"),
         _("Send a token as Authorization: Bearer …, or log in on the pages.")),
        ("token-refused", 401, _("This token is not valid"),
         _("It is unknown, expired or revoked. Create a new one on the pages, or with manage.py "
           "issue_token.")),
        ("not-at-the-hatch", 403, _("This cannot be done on a shared device"),
         _("Log in on your own device and do it there.")),
        ("who-are-you", 403, _("Nobody is selected on the shared device"),
         _("Choose your name on the device first.")),
        ("confirm-with-pin", 403, _("This must be confirmed with a PIN"),
         _("Confirm it with your PIN. You can choose your PIN under Settings, on your own "
           "device.")),
        ("no-pin", 409, _("You have no PIN yet"),
         _("Log in on your own device and choose a PIN under Settings.")),
        ("wrong-pin", 403, _("Wrong PIN"), _("Enter it again.")),
        ("wrong-password", 403, _("Wrong password"), _("Enter it again.")),
        ("not-allowed", 403, _("Not allowed"), _("Ask a keeper of the gear room.")),
        ("handed-over-refused", 403, _("The handed-over record was not accepted"),
         _("Ask the person who made the record to log in and send it themselves.")),
        ("scope-missing", 403, _("The token does not have the required scope"),
         _("Create a token that has the scope named in “detail”.")),
        ("role-missing", 403, _("You do not have the required role"),
         _("Ask somebody who has one of the roles listed in “roles”.")),
        ("not-oneself", 403, _("Nobody can do this for themselves"),
         _("Ask somebody else who is allowed to do it.")),
        # --------------------------------------------------------------------------------- people
        ("name-taken", 409, _("The name is already in use"), _("Choose another name.")),
        ("has-sign-in", 409, _("This person already has a login"),
         _("To create a new password, send the request without a username.")),
        ("person-left", 409, _("This person has left"),
         _("First record that they have come back.")),
        ("last-administrator", 409, _("This is the only administrator of all gear rooms"),
         _("Appoint another administrator first.")),
        ("claimed-already", 409, _("The installation already belongs to somebody"),
         _("Log in, or ask an administrator.")),
        ("set-in-environment", 409, _("This is set in the server’s environment"),
         _("Change it there, or remove it there first.")),
        # -------------------------------------------------------------------------- what is there
        ("not-found", 404, _("Not found"),
         _("Check the name or scan the label. Anything that belongs to other gear rooms is not "
           "shown.")),
        # ------------------------------------------------------------------------------ ourselves
        ("busy", 503, _("The database is busy"),
         _("Nothing was changed. Send the same request again, with the same key, in a few "
           "seconds.")),
        ("storage-full", 507, _("The storage is full"),
         _("Nothing was changed, and everything on record can still be read. The person who runs "
           "this server must free up space on the database’s disk; then send the same request "
           "again, with the same key.")),
        ("read-only", 503, _("The database is read-only at the moment"),
         _("Nothing was changed. The person who runs this server must make the database writable "
           "again; then send the same request again, with the same key.")),
        ("no-database", 503, _("The database is not responding"),
         _("Send the same request again, with the same key, in a minute: nothing is done twice. If "
           "this continues, tell the person who runs this server when it happened.")),
        ("internal-error", 500, _("Something went wrong on the server"),
         _("Nothing was changed. Send the same request again, with the same key. If this "
           "continues, tell the person who runs this server when it happened.")),
    ]
}  # fmt: skip


NOUNS: dict[str, str | Promise] = {
    # what `NotFound` says is not there
    "device": pgettext_lazy("not found", "device"),
    "label": pgettext_lazy("not found", "label"),
    "person": pgettext_lazy("not found", "person"),
    "room": pgettext_lazy("not found", "room"),
    "sign-in": pgettext_lazy("not found", "login"),
    "such role of": pgettext_lazy("not found", "role of this kind for"),
    "token": pgettext_lazy("not found", "token"),
    "help page": pgettext_lazy("not found", "help page"),
}

LINKS = frozenset({"link", "link for a new password"})
"""Of these `NotFound` says that the link is not valid."""


def title_of(code: str) -> str:
    """The title of a kind of problem."""
    return KINDS[code].title if code in KINDS else code.replace("-", " ").capitalize()
