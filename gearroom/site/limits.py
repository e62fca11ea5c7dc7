"""Bounds on what a request may send, judged before any of its body is read."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse


class BoundedBody:
    """Middleware: refuses a body over settings.DATA_UPLOAD_MAX_MEMORY_SIZE (bytes) with 413.

    A body of unsaid length (chunked) is refused with 411, since Django would take it for empty.
    Neither reads the body: what a client still sends is thrown away by the web server.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        if "HTTP_TRANSFER_ENCODING" in request.META:
            return _problem(
                411,
                "length-required",
                "Length required",
                "Send the body in one piece with a Content-Length, not chunked.",
            )
        try:
            length = int(request.META.get("CONTENT_LENGTH") or 0)
        except ValueError:
            length = limit + 1
        if length > limit:
            return _problem(
                413,
                "too-large",
                "Too large",
                f"The request is larger than {limit // 1024**2} MB. Send a smaller picture, "
                "or fewer at once.",
                limit_bytes=limit,
            )
        return self.get_response(request)


def _problem(status: int, code: str, title: str, detail: str, **facts: object) -> JsonResponse:
    """An RFC 9457 problem, as the API's own handler writes them."""
    content = {"type": f"/problems/{code}/", "title": title, "status": status, "detail": detail}
    return JsonResponse(
        {**content, **facts}, status=status, content_type="application/problem+json"
    )
