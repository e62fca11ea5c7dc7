"""Bounds on what a request may send: its size before any of it is read, a page's text after, and
the form in which that text goes on."""

from collections.abc import Callable, Mapping, Sequence

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.utils.deprecation import MiddlewareMixin
from django.utils.translation import gettext as _

from gearroom.core.acts.problems import Invalid, Problem, TooLarge, document
from gearroom.core.api.problems import respond
from gearroom.core.rules.plain_text import plain
from gearroom.site.http.errors import page_not_found, refusal


class LengthRequired(Problem):
    """A body whose length is not said beforehand."""

    status = 411


class BoundedBody(MiddlewareMixin):
    """Middleware: refuses a body over settings.DATA_UPLOAD_MAX_MEMORY_SIZE (bytes) with 413.

    A body of unsaid length (chunked) is refused with 411, since Django would take it for empty.
    Neither reads the body: what a client still sends is thrown away by the web server.
    """

    def process_request(self, request: HttpRequest) -> HttpResponse | None:
        """Before any of the body is read."""
        problem = _judge(request)
        return None if problem is None else respond(document(problem, request.path))


def _judge(request: HttpRequest) -> Problem | None:
    if "HTTP_TRANSFER_ENCODING" in request.META:
        return LengthRequired(
            "length-required",
            _("Send the body in one piece with a Content-Length header, not chunked."),
        )
    limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    length = str(request.META.get("CONTENT_LENGTH") or 0)
    if not length.isdecimal() or int(length) > limit:
        return TooLarge(
            "too-large",
            _(
                "The request is larger than %(most)s MB. Send a smaller picture, or fewer "
                "pictures at a time."
            )
            % {"most": limit // 1024**2},
            limit_bytes=limit,
        )
    return None


class PlainText(MiddlewareMixin):
    """Middleware: what is typed on a page comes as it is kept (`plain_text`), as it does in the
    API; passwords are left as they are."""

    def process_view(self, request: HttpRequest, *_: object) -> None:
        """Once it is known to be a page's form."""
        if request.path.startswith("/api/"):
            return
        request.GET = _plain(request.GET)  # type: ignore[assignment]  # no class at run time
        if request.method == "POST":
            request.POST = _plain(request.POST)  # type: ignore[assignment]  # as above


def _plain(form: QueryDict) -> QueryDict:
    found = QueryDict(mutable=True)
    for name, values in form.lists():
        as_typed = "password" in name
        found.setlist(name, values if as_typed else [plain(str(value)) for value in values])
    found._mutable = False
    return found


class NoNul(MiddlewareMixin):
    """Middleware: refuses an address, or a page's form, with a NUL (U+0000) in it, which nobody
    types and PostgreSQL keeps in no text. The API refuses it in a body as it reads that."""

    def process_request(self, request: HttpRequest) -> HttpResponse | None:
        """Look at the address."""
        if "\0" in request.path:
            return page_not_found(request, Http404())
        return _refused(request) if _holds_nul(request.GET) else None

    def process_view(
        self,
        request: HttpRequest,
        view: Callable[..., HttpResponse],
        args: Sequence[object],
        named: Mapping[str, object],
    ) -> HttpResponse | None:
        """Look at all that a page was sent, once its form was read."""
        if request.path.startswith("/api/") or not _holds_nul(request.POST):
            return None
        return _refused(request)


def _holds_nul(fields: QueryDict) -> bool:
    return any("\0" in text for name, values in fields.lists() for text in (name, *values))


def _refused(request: HttpRequest) -> HttpResponse:
    problem = Invalid(_("This contains a character that cannot be saved. Type it again by hand."))
    return refusal(request, problem)
