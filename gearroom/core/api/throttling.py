"""Rate limits by fixed windows, counted in Django's cache.

Without a shared cache each web process counts for itself, so that with N of them up to N times
the rate goes through: enough against a runaway program, and stated here because it is so.
"""

from __future__ import annotations

import hashlib
from typing import Any

from django.core.cache import cache
from rest_framework.request import Request
from rest_framework.settings import api_settings
from rest_framework.throttling import BaseThrottle

from gearroom.core import clock

_SECONDS = {"s": 1, "m": 60, "h": 3600, "d": 86400}


def seconds_to_wait(scope: str, who: str, *, count: bool = True) -> int:
    """Count one use of `scope` ("actor", "sign-in") by `who`; 0 if it may go on, else the seconds
    until the window ends. Without `count` it only says whether one more use could go on."""
    number, _, period = api_settings.DEFAULT_THROTTLE_RATES[scope].partition("/")
    length = _SECONDS[period[0]]
    window, gone = divmod(int(clock.now().timestamp()), length)
    digest = hashlib.sha256(who.encode()).hexdigest()[:32]  # somebody's text is no cache key
    key = f"rate:{scope}:{digest}:{window}"
    if not count:
        return 0 if cache.get(key, 0) < int(number) else length - gone
    cache.add(key, 0, timeout=2 * length)
    try:
        used = cache.incr(key)
    except ValueError:  # pushed out of the cache between the two
        return 0
    return 0 if used <= int(number) else length - gone


class PerActor(BaseThrottle):
    """So many requests a minute by token, else by user, else by address."""

    scope = "actor"
    _wait = 0

    def allow_request(self, request: Request, view: Any) -> bool:
        """Whether this one may go on."""
        if request.auth is not None:
            who = f"token-{request.auth.pk}"
        elif request.user is not None:
            who = f"user-{request.user.pk}"
        else:
            who = f"address-{request.META.get('REMOTE_ADDR', '')}"
        self._wait = seconds_to_wait(self.scope, who)
        return self._wait == 0

    def wait(self) -> float:
        """Seconds until it may."""
        return self._wait
