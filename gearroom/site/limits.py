"""Bounds on what a request may send, judged before any of its body is read."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from gearroom.core.api.problems import respond
from gearroom.core.problems import Problem, TooLarge, document


class LengthRequired(Problem):
    """A body whose length is not said beforehand."""

    status = 411


class BoundedBody:
    """Middleware: refuses a body over settings.DATA_UPLOAD_MAX_MEMORY_SIZE (bytes) with 413.

    A body of unsaid length (chunked) is refused with 411, since Django would take it for empty.
    Neither reads the body: what a client still sends is thrown away by the web server.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        problem = _judge(request)
        if problem is not None:
            return respond(document(problem, request.path))
        return self.get_response(request)


def _judge(request: HttpRequest) -> Problem | None:
    if "HTTP_TRANSFER_ENCODING" in request.META:
        return LengthRequired(
            "length-required", "Send the body in one piece with a Content-Length, not chunked."
        )
    limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    length = str(request.META.get("CONTENT_LENGTH") or 0)
    if not length.isdecimal() or int(length) > limit:
        return TooLarge(
            "too-large",
            _("The request is larger than %(most)s MB. Send a smaller picture, or fewer at once.")
            % {"most": limit // 1024**2},
            limit_bytes=limit,
        )
    return None
