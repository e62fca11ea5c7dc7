"""What goes around every page: headers that bound what it may do in a browser, how much goes over
the wire, and what is said when the database cannot do its work. And bounds on what a request may
send: its size before any of it is read, a page's text after, and the form in which it goes on."""

from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.sessions.middleware import SessionMiddleware
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.middleware.gzip import GZipMiddleware
from django.middleware.locale import LocaleMiddleware
from django.utils import translation
from django.utils.deprecation import MiddlewareMixin
from django.utils.translation import gettext as _
from django.utils.translation.trans_real import parse_accept_lang_header

from gearroom.core.acts import Invalid, Problem, TooLarge, document
from gearroom.core.api.problems import respond
from gearroom.core.database_failures import FAILURE_ERRORS, tolerating_failure
from gearroom.core.models.installation import current
from gearroom.core.rules.plain_text import plain
from gearroom.core.rules.proxies import client_address
from gearroom.core.setup.logs import is_secret
from gearroom.site.http import errors

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "media-src 'self' blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
"""Content Security Policy Level 3: everything from our own host, nothing written inline."""

READING_POLICY = POLICY.replace("script-src 'self'", "script-src 'self' 'wasm-unsafe-eval'")
"""The policy of the scan page alone: a reader of labels compiled to WebAssembly may run there."""

_A_WEEK = 7 * 24 * 3600
PERMISSIONS = "camera=(self), microphone=(), geolocation=()"


class ClientAddress(MiddlewareMixin):
    """Middleware: REMOTE_ADDR is the address of who asks, as the proxies of settings.PROXIES say
    it; limits and lists of sign-ins go by it."""

    def process_request(self, request: HttpRequest) -> None:
        """Put it there."""
        request.META["REMOTE_ADDR"] = client_address(
            request.META.get("REMOTE_ADDR", ""),
            request.META.get("HTTP_X_FORWARDED_FOR", ""),
            settings.PROXIES,
        )


class Languages(LocaleMiddleware):
    """Django's choice of a page's language by the browser; the installation's where the browser
    asks for none of ours."""

    def process_request(self, request: HttpRequest) -> None:
        """Go on in that language."""
        super().process_request(request)
        asked = parse_accept_lang_header(request.headers.get("Accept-Language", ""))
        if not any(_is_ours(code) for code, _weight in asked):
            translation.activate(current().language)
            request.LANGUAGE_CODE = translation.get_language()


def _is_ours(code: str) -> bool:
    try:
        return bool(translation.get_supported_language_variant(code))
    except LookupError:
        return False


class PublicOrigin(MiddlewareMixin):
    """Middleware, before Django's look at where a form was sent from: the public address, which a
    proxy with TLS stands before, is ours, although it may be set while the program runs."""

    def process_request(self, request: HttpRequest) -> None:
        """Have it read as Django sees us behind the proxy."""
        if request.META.get("HTTP_ORIGIN", "") in ("", "null"):
            return
        if request.META["HTTP_ORIGIN"] == current().public_url:
            request.META["HTTP_ORIGIN"] = f"{request.scheme}://{request.get_host()}"


class Headers(MiddlewareMixin):
    """Middleware: the policy on every answer, and the camera for our own pages alone.

    An address that is a secret is kept by no cache and found by no search engine, and told to
    nobody: a browser says where somebody comes from without the path. (With no-referrer it would
    say Origin: null, and a form sent from such a page would be refused.)
    """

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        """With the headers that say so."""
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Permissions-Policy", PERMISSIONS)
        if _by_public_tls(request):
            response.headers.setdefault("Strict-Transport-Security", f"max-age={_A_WEEK}")
            for cookie in response.cookies.values():
                cookie["secure"] = True
        if is_secret(request.path):
            response.headers["Referrer-Policy"] = "strict-origin"
            response.headers["Cache-Control"] = "private, no-store"
            response.headers["X-Robots-Tag"] = "noindex"
        return response


def _by_public_tls(request: HttpRequest) -> bool:
    """Whether it came by the public address, and that has TLS."""
    address = urlsplit(current().public_url)
    return address.scheme == "https" and request.headers.get("Host", "").lower() == address.netloc


class DatabaseFailures(MiddlewareMixin):
    """Middleware: a database that is busy, full, read-only or away is said as such, by pages as by
    the API; and what was only read is shown although the session cannot be kept."""

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """What a view raised; None lets it go on as a 500."""
        return (
            errors.database_failure(request, error) if isinstance(error, FAILURE_ERRORS) else None
        )


class Sessions(SessionMiddleware):
    """Django's sessions; an answer goes out although its session could not be kept."""

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        """Keep what changed in the session, if that can be written."""
        with tolerating_failure():
            return super().process_response(request, response)
        return response


def reads_labels(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """Give a view's answers the policy of a page on which the browser reads labels."""

    @wraps(view)
    def inner(*args: Any, **kwargs: Any) -> HttpResponseBase:
        response = view(*args, **kwargs)
        response.headers["Content-Security-Policy"] = READING_POLICY
        return response

    return inner


class CompressedStatic(GZipMiddleware):
    """Middleware: scripts, styles and WebAssembly go over the wire compressed (RFC 1952). Nothing
    else does: pages hold secrets beside what others wrote, and the API's entity tags are strong."""

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        """The answer, compressed where it is one of ours that never changes with who asks."""
        kind = response.headers.get("Content-Type", "").partition(";")[0]
        if not request.path.startswith(settings.STATIC_URL) or kind not in _COMPRESSED:
            return response
        return super().process_response(request, response)


_COMPRESSED = frozenset(
    {
        "text/css",
        "text/javascript",
        "application/javascript",
        "application/wasm",
        "image/svg+xml",
    }
)


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
        problem = _size_problem(request)
        return None if problem is None else respond(document(problem, request.path))


def _size_problem(request: HttpRequest) -> Problem | None:
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
        request.GET = _plain_fields(request.GET)  # type: ignore[assignment]  # no class at run time
        if request.method == "POST":
            request.POST = _plain_fields(request.POST)  # type: ignore[assignment]  # as above


def _plain_fields(form: QueryDict) -> QueryDict:
    result = QueryDict(mutable=True)
    for name, values in form.lists():
        as_typed = "password" in name
        result.setlist(name, values if as_typed else [plain(str(value)) for value in values])
    result._mutable = False
    return result


class NoNul(MiddlewareMixin):
    """Middleware: refuses an address, or a page's form, with a NUL (U+0000) in it, which nobody
    types and PostgreSQL keeps in no text. The API refuses it in a body as it reads that."""

    def process_request(self, request: HttpRequest) -> HttpResponse | None:
        """Look at the address."""
        if "\0" in request.path:
            return errors.page_not_found(request, Http404())
        return _refuse_nul(request) if _holds_nul(request.GET) else None

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
        return _refuse_nul(request)


def _holds_nul(fields: QueryDict) -> bool:
    return any("\0" in text for name, values in fields.lists() for text in (name, *values))


def _refuse_nul(request: HttpRequest) -> HttpResponse:
    return errors.refusal(
        request,
        Invalid(_("This contains a character that cannot be saved. Type it again by hand.")),
    )
