"""The API's rate limit by fixed windows, counted in Django's cache.

It is for runaway programs and guards nothing, so each web process counts for itself: with N of them
up to N times the rate goes through. What guards an account is counted in the database (see
`gearroom.core.services.accounts.attempts`).
"""

from typing import Any

from django.core.cache import cache
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from gearroom.core import clock
from gearroom.core.services.accounts.attempts import limit


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
        self._wait = _seconds_to_wait(self.scope, who)
        return self._wait == 0

    def wait(self) -> float:
        """Seconds until it may."""
        return self._wait


def _seconds_to_wait(scope: str, who: str) -> int:
    """Count one request; 0 if it may go on, else the seconds until the window ends."""
    number, length = limit(scope)
    window, gone = divmod(int(clock.now().timestamp()), length)
    key = f"rate:{scope}:{who}:{window}"
    cache.add(key, 0, timeout=2 * length)
    try:
        used = cache.incr(key)
    except ValueError:  # pushed out of the cache between the two
        return 0
    return 0 if used <= number else length - gone
