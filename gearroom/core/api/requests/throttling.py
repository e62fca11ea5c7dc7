"""The API's rate limit by fixed windows, counted in Django's cache.

Every answer that was counted says how much is left, as draft-ietf-httpapi-ratelimit-headers-11 has
it: RateLimit-Policy what the limit is (§3), RateLimit what is left of it until when (§4).

It is for runaway programs and guards nothing, so each web process counts for itself: with N of them
up to N times the rate goes through. What guards an account is counted in the database (see
`gearroom.core.services.accounts.attempts`).
"""

from dataclasses import dataclass
from typing import Any

from django.core.cache import cache
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from gearroom.core import clock
from gearroom.core.services.accounts.attempts import limit


@dataclass(frozen=True)
class Quota:
    """What is left to somebody of a limit; seconds are until its window ends."""

    name: str
    number: int
    window: int
    left: int
    seconds: int

    def headers(self) -> dict[str, str]:
        """The header fields that say so."""
        return {
            "RateLimit-Policy": f'"{self.name}";q={self.number};w={self.window}',
            "RateLimit": f'"{self.name}";r={max(self.left, 0)};t={self.seconds}',
        }


class PerActor(BaseThrottle):
    """So many requests a minute by token, else by user, else by address."""

    scope = "actor"
    _quota: Quota

    def allow_request(self, request: Request, view: Any) -> bool:
        """Whether this one may go on; the view gets what is left."""
        if request.auth is not None:
            who = f"token-{request.auth.pk}"
        elif request.user is not None:
            who = f"user-{request.user.pk}"
        else:
            who = f"address-{request.META.get('REMOTE_ADDR', '')}"
        view.quota = self._quota = _count(self.scope, who)
        return self._quota.left >= 0

    def wait(self) -> float:
        """Seconds until it may."""
        return self._quota.seconds


def _count(scope: str, who: str) -> Quota:
    """Count one request; what is left after it is below 0 where it may not go on."""
    number, length = limit(scope)
    window, gone = divmod(int(clock.now().timestamp()), length)
    key = f"rate:{scope}:{who}:{window}"
    cache.add(key, 0, timeout=2 * length)
    try:
        used = cache.incr(key)
    except ValueError:  # pushed out of the cache between the two
        used = 1
    return Quota(scope, number, length, number - used, length - gone)
