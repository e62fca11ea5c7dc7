"""Browsers that somebody signed in on before: what others try elsewhere never keeps them out there.

A browser carries which names signed in on it, in a cookie that this program signed. It lets nobody
in; it only has their tries counted apart from those of browsers that nobody knows.
"""

import secrets
from datetime import timedelta

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse

COOKIE = "known_browser"
KEPT = timedelta(days=400)
"""Browsers keep no cookie for longer (RFC 6265bis)."""

_SALT = "gearroom.known-browser"
_MOST_NAMES = 10


def number_of(request: HttpRequest, name: str) -> str:
    """What a browser that this name signed in on before is known by; empty for any other."""
    number, names = _read(request)
    return number if name.casefold() in names else ""


def remember(request: HttpRequest, response: HttpResponse, name: str) -> None:
    """Have a browser carry that this name signed in on it."""
    number, names = _read(request)
    name = name.casefold()
    kept = [name, *(each for each in names if each != name)][:_MOST_NAMES]
    response.set_cookie(
        COOKIE,
        signing.dumps([number or secrets.token_urlsafe(12), kept], salt=_SALT, compress=True),
        max_age=KEPT,
        httponly=True,
        secure=settings.SESSION_COOKIE_SECURE,
        samesite="Lax",
    )


def _read(request: HttpRequest) -> tuple[str, list[str]]:
    try:
        number, names = signing.loads(request.COOKIES.get(COOKIE, ""), salt=_SALT, max_age=KEPT)
    except signing.BadSignature:
        return "", []
    return number, names
