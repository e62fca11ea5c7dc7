"""Every error of the API as RFC 9457 problem+json, whoever raised it."""

import json
import math
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy, ngettext
from rest_framework import exceptions
from rest_framework.utils.encoders import JSONEncoder

from gearroom.core.acts import (
    Invalid,
    NotAllowed,
    OtherProblem,
    Problem,
    beyond_form,
    document,
    exceptions as django_exceptions,
    nothing_here,
)

MEDIA_TYPE = "application/problem+json"


_SENTENCES: dict[type[Exception], tuple[int, str, str | Promise]] = {
    exceptions.AuthenticationFailed: (
        401,
        "token-refused",
        gettext_lazy("This token is unknown, expired or revoked. Create a new one."),
    ),
    exceptions.NotAuthenticated: (
        401,
        "not-signed-in",
        gettext_lazy("Send a token as “Authorization: Bearer …”, or log in."),
    ),
    exceptions.MethodNotAllowed: (
        405,
        "method-not-allowed",
        gettext_lazy("%(detail)s See the Allow header."),
    ),
    exceptions.UnsupportedMediaType: (
        415,
        "unsupported-media-type",
        gettext_lazy("%(detail)s Send the request as described in the schema."),
    ),
    exceptions.NotAcceptable: (406, "not-acceptable", "%(detail)s"),
}
"""Of the framework's refusals the status, the code, and what to do."""


def as_problem(error: Exception) -> Problem | None:
    """The problem that an exception of Django or its REST framework stands for, or None."""
    match error:
        case exceptions.ValidationError():
            errors = dict(_by_path(error.detail))
            count = len(errors)
            sentence = ngettext(
                "Something is wrong with one field: see “errors”.",
                "Something is wrong with %(count)d fields: see “errors”.",
                count,
            )
            return Invalid(sentence % {"count": count}, errors=errors)
        case exceptions.ParseError():
            return Invalid(
                _("The request body could not be read. %(detail)s") % {"detail": error.detail},
                code="malformed-body",
            )
        case exceptions.PermissionDenied():
            return NotAllowed("not-allowed", str(error.detail) or _("This is not allowed."))
        case exceptions.NotFound():
            return nothing_here()
        case exceptions.APIException() if type(error) in _SENTENCES:
            status, code, text = _SENTENCES[type(error)]
            return OtherProblem(status, code, str(text) % {"detail": error.detail})
        case exceptions.Throttled():
            wait = max(1, math.ceil(getattr(error, "wait", None) or 1))
            sentence = ngettext("Try again in a second.", "Try again in %(count)d seconds.", wait)
            return OtherProblem(
                429, "too-many-requests", sentence % {"count": wait}, retry_after=wait
            )
    return django_exceptions.as_problem(error)


@contextmanager
def in_form() -> Iterator[None]:
    """Answer as 422 what is refused in this block: it has the form that the schema describes, so
    that only its meaning can be wrong."""
    try:
        yield
    except (Invalid, exceptions.ValidationError, ValidationError) as error:
        raise beyond_form(as_problem(error) or Invalid(str(error))) from error


def handle(error: Exception, context: dict[str, Any]) -> HttpResponse | None:
    """Django REST framework's exception handler; None lets what is no problem go on as a 500."""
    if (problem := as_problem(error)) is None:
        return None
    response = respond(document(problem, context["request"].path))
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


def _by_path(detail: Any, path: str = "") -> Iterator[tuple[str, list[str]]]:
    """Nested messages by dotted path: {"lines": [{}, {"units": […]}]} is "lines.1.units"."""
    if isinstance(detail, dict):
        for name, inner in detail.items():
            here = "" if name == "non_field_errors" else str(name)
            yield from _by_path(inner, f"{path}.{here}".strip("."))
    elif any(isinstance(inner, dict | list) for inner in detail):
        for index, inner in enumerate(detail):
            if inner:
                yield from _by_path(inner, f"{path}.{index}".strip("."))
    else:
        yield path, [str(message) for message in detail]


# -------------------------------------------------------------------- what never reaches a view
def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler400."""
    return respond(document(as_problem(exception) or Invalid(str(exception)), request.path))


def permission_denied(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler403."""
    return respond(document(NotAllowed("not-allowed", _("This is not allowed.")), request.path))


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler404."""
    return respond(document(nothing_here(), request.path))


def server_error(request: HttpRequest) -> HttpResponse:
    """Django's handler500."""
    problem = OtherProblem(
        500,
        "internal-error",
        _(
            "Something went wrong on the server. Nothing was changed. Send the request again "
            "with the same key."
        ),
    )
    return respond(document(problem, request.path))
