"""What goes around every page: headers that bound what it may do in a browser, how much goes over
the wire, and what is said when the database cannot do its work."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.conf import settings
from django.contrib.sessions.middleware import SessionMiddleware
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.middleware.gzip import GZipMiddleware
from django.utils.deprecation import MiddlewareMixin

from gearroom.core.acts.database_failures import FAILURE_ERRORS, tolerating_failure
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


class SecretAddress(MiddlewareMixin):
    """Middleware: an address that is a secret is kept by no cache, and told to nobody: a browser
    says where somebody comes from without the path. (With no-referrer it would say Origin: null,
    and a form sent from such a page would be refused.)"""

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        """With the headers that say so."""
        if is_secret(request.path):
            response.headers["Referrer-Policy"] = "strict-origin"
            response.headers["Cache-Control"] = "private, no-store"
        return response


class ContentSecurityPolicy(MiddlewareMixin):
    """Middleware: the policy on every answer, and the camera for our own pages alone."""

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        """With the headers that say so."""
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Permissions-Policy", PERMISSIONS)
        return response


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
