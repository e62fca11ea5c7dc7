"""Every error of the API as RFC 9457 problem+json, whoever raised it."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.exceptions import (
    DisallowedHost,
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
    ValidationError,
)
from django.http import Http404, HttpRequest, HttpResponse, UnreadablePostError
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views import defaults
from rest_framework import exceptions
from rest_framework.utils.encoders import JSONEncoder

from gearroom.core.acts.database_trouble import TROUBLES, Trouble, log_trouble, trouble_of
from gearroom.core.acts.problems import (
    Invalid,
    NotAllowed,
    Problem,
    TooLarge,
    beyond_form,
    document,
)

MEDIA_TYPE = "application/problem+json"


class _Other(Problem):
    """A problem whose status comes from elsewhere."""

    def __init__(self, status: int, code: str, detail: str, **facts: Any) -> None:
        super().__init__(code, detail, **facts)
        self.status = status  # type: ignore[misc]  # set once, here


def as_problem(error: Exception) -> Problem | None:
    """The problem that an exception of Django or its REST framework stands for, or None."""
    match error:
        case Problem():
            return error
        case exceptions.ValidationError():
            errors = dict(_flat(error.detail))
            count = len(errors)
            says = ngettext(
                "There is something wrong with one field: see “errors”.",
                "There is something wrong with %(count)d fields: see “errors”.",
                count,
            )
            return Invalid(says % {"count": count}, errors=errors)
        case ValidationError():
            fields = getattr(error, "error_dict", None)
            errors = error.message_dict if fields else {"": error.messages}
            return Invalid(_("There is something wrong: see “errors”."), errors=errors)
        case exceptions.ParseError():
            return Invalid(
                _("The body could not be read. %(detail)s") % {"detail": error.detail},
                code="malformed-body",
            )
        case exceptions.AuthenticationFailed():
            return _Other(
                401,
                "token-refused",
                _("This token is unknown, has expired or was revoked. Create a new one."),
            )
        case exceptions.NotAuthenticated():
            return _Other(
                401, "not-signed-in", _("Send a token as “Authorization: Bearer …”, or sign in.")
            )
        case exceptions.PermissionDenied() | PermissionDenied():
            detail = str(getattr(error, "detail", "")) or _("This is not allowed.")
            return NotAllowed("not-allowed", detail)
        case exceptions.NotFound() | Http404():
            return _not_found()
        case exceptions.MethodNotAllowed():
            return _Other(
                405,
                "method-not-allowed",
                _("%(detail)s See the header Allow.") % {"detail": error.detail},
            )
        case exceptions.UnsupportedMediaType():
            return _Other(
                415,
                "unsupported-media-type",
                _("%(detail)s Send what the schema describes.") % {"detail": error.detail},
            )
        case exceptions.NotAcceptable():
            return _Other(406, "not-acceptable", str(error.detail))
        case exceptions.Throttled():
            wait = max(1, math.ceil(error.wait or 1))
            says = ngettext("Try again in a second.", "Try again in %(count)d seconds.", wait)
            return _Other(429, "too-many-requests", says % {"count": wait}, retry_after=wait)
        case RequestDataTooBig():
            return TooLarge("too-large", _("The request body is too large."))
        case DisallowedHost():
            return Invalid(
                _(
                    "This server does not answer under that host name. Whoever runs it can add "
                    "the name to GEARROOM_ALLOWED_HOSTS."
                ),
                code="unknown-host",
            )
        case SuspiciousOperation() | UnreadablePostError():
            return Invalid(_("The request could not be read."), code="malformed-body")
    return _trouble(error)


def _trouble(error: Exception) -> Problem | None:
    """What keeps the database from doing its work; its cause is logged."""
    trouble = trouble_of(error)
    if trouble is None:
        return None
    log_trouble(trouble, error)
    match trouble:
        case Trouble.BUSY:
            says = _("Gearroom is busy. Nothing was changed: send it again in a few seconds.")
            return _Other(503, trouble, says, retry_after=5)
        case Trouble.STORAGE_FULL:
            says = _(
                "Storage is full: nothing was saved, and nothing can be until whoever runs "
                "this server makes room on its disk. You can still read everything."
            )
            return _Other(507, trouble, says, retry_after=60)
        case Trouble.READ_ONLY:
            says = _(
                "Everything is read-only at the moment: nothing was changed. Tell whoever runs "
                "this server, and send it again later."
            )
            return _Other(503, trouble, says, retry_after=60)
        case Trouble.NO_DATABASE:
            says = _(
                "The database does not answer. Send it again in a minute: nothing is done "
                "twice. If this goes on, tell whoever runs this server."
            )
            return _Other(503, trouble, says, retry_after=60)


@contextmanager
def database_problems() -> Iterator[None]:
    """Raise as a Problem whatever keeps the database from doing what is in the block, so that a
    form can be shown again with all that was typed."""
    try:
        yield
    except TROUBLES as error:
        problem = as_problem(error)
        if problem is None:
            raise
        raise problem from error


@contextmanager
def in_form() -> Iterator[None]:
    """Answer as 422 what is refused in this block: it has the form that the schema describes, so
    that only its meaning can be wrong."""
    try:
        yield
    except (Invalid, exceptions.ValidationError, ValidationError) as error:
        problem = as_problem(error)
        assert problem is not None  # each of these stands for one
        raise beyond_form(problem) from error


def handle(error: Exception, context: dict[str, Any]) -> HttpResponse | None:
    """Django REST framework's exception handler; None lets what is no problem go on as a 500."""
    problem = as_problem(error)
    if problem is None:
        return None
    request = context["request"]
    response = respond(document(problem, request.path))
    if challenge := getattr(error, "auth_header", None):
        response["WWW-Authenticate"] = challenge
    return response


def respond(body: dict[str, Any]) -> HttpResponse:
    """The HTTP answer that carries a problem document."""
    response = HttpResponse(
        json.dumps(body, cls=JSONEncoder, ensure_ascii=False).encode(),
        status=body["status"],
        content_type=MEDIA_TYPE,
    )
    if "retry_after" in body:
        response["Retry-After"] = str(body["retry_after"])
    return response


def _flat(detail: Any, path: str = "") -> Iterator[tuple[str, list[str]]]:
    """Nested messages by dotted path: {"lines": [{}, {"units": […]}]} is "lines.1.units"."""
    if isinstance(detail, dict):
        for name, inner in detail.items():
            here = "" if name == "non_field_errors" else str(name)
            yield from _flat(inner, f"{path}.{here}".strip("."))
    elif any(isinstance(inner, dict | list) for inner in detail):
        for index, inner in enumerate(detail):
            if inner:
                yield from _flat(inner, f"{path}.{index}".strip("."))
    else:
        yield path, [str(message) for message in detail]


def _not_found() -> Problem:
    return _Other(
        404, "not-found", _("There is nothing at this address. Addresses end with a slash.")
    )


# ----------------------------------------------- what never reaches a view, below /api/ and beside
def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler400."""
    if not request.path.startswith("/api/"):
        return defaults.bad_request(request, exception)
    return respond(document(as_problem(exception) or Invalid(str(exception)), request.path))


def permission_denied(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler403."""
    if not request.path.startswith("/api/"):
        return defaults.permission_denied(request, exception)
    return respond(document(NotAllowed("not-allowed", _("This is not allowed.")), request.path))


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler404."""
    if not request.path.startswith("/api/"):
        return defaults.page_not_found(request, exception)
    return respond(document(_not_found(), request.path))


def server_error(request: HttpRequest) -> HttpResponse:
    """Django's handler500."""
    if not request.path.startswith("/api/"):
        return defaults.server_error(request)
    problem = _Other(
        500,
        "internal-error",
        _("Something went wrong here. Nothing was changed; send it again with the same key."),
    )
    return respond(document(problem, request.path))
