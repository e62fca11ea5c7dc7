"""When a notice is sent: at once, in the weekly email, or not at all.

Only what cannot wait is sent at once, or real alarms get muted. What keeps quiet hours waits for
the morning, and for more of its kind: what comes within half an hour about the same kit is one
mail, and a storm over many kits is a summary.
"""

import enum
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from kits.rules.notices.schedule import local_instant


class When(enum.StrEnum):
    """When notices of a kind are sent."""

    AT_ONCE = "at-once"
    WEEKLY = "weekly"
    NEVER = "never"


class Unsent(enum.StrEnum):
    """Why a notice is not sent by itself."""

    WEEKLY = "weekly"  # it stands in the weekly email
    TOGETHER = "together"  # it goes in one mail with others of its kind
    CHOSEN = "chosen"  # they turned its kind off
    NO_ADDRESS = "no-address"  # nobody gave an email address
    LEFT = "left"  # they have left
    REFUSED = "refused"  # a mail server refused it for good
    PASSED = "passed"  # what it was about is over


WEEKLY = "weekly"
"""The kind of the weekly email."""


@dataclass(frozen=True)
class Policy:
    """When notices of a kind are sent unless chosen otherwise, whether that can be chosen, and
    whether they keep quiet hours."""

    when: When = When.AT_ONCE
    may_choose: bool = True
    keeps_quiet: bool = True

    def when_sent(self, chosen: When | None) -> When:
        """When they are sent to somebody who chose this, or nothing."""
        return chosen if chosen is not None and self.may_choose else self.when


def quiet_until(
    policy: Policy, instant: datetime, zone: str, quiet_from: time | None, until: time | None
) -> datetime | None:
    """Return when the quiet hours that `instant` falls into end, or None where it falls into none
    or the policy does not keep them. From 22:00 until 07:00 is over midnight; the same time twice
    is no quiet at all."""
    if quiet_from is None or until is None or quiet_from == until or not policy.keeps_quiet:
        return None
    here = instant.astimezone(ZoneInfo(zone))
    over_midnight = quiet_from > until
    after_start, before_end = here.time() >= quiet_from, here.time() < until
    quiet = (after_start or before_end) if over_midnight else (after_start and before_end)
    if not quiet:
        return None
    tomorrow = over_midnight and after_start
    return local_instant(here.date() + timedelta(days=tomorrow), until, zone)


APART = timedelta(minutes=30)
"""How long after a mail the next of its kind about the same kit is put off."""
STORM = 3
"""So many mails of a kind within that time, whatever kits they are about: the rest is put off."""


def put_off_until(
    policy: Policy, now: datetime, *, of_kit: Iterable[datetime], of_kind: Iterable[datetime]
) -> datetime | None:
    """Return until when a notice waits for more of its kind, None where it does not.

    `of_kit` and `of_kind` are when mails of its kind went to the same person, about the same kit
    and about any. What keeps no quiet hours never waits.
    """
    if not policy.keeps_quiet:
        return None
    same = [at for at in of_kit if now < at + APART]
    storm = [at for at in of_kind if now < at + APART]
    if same:
        return max(same) + APART
    return max(storm) + APART if len(storm) >= STORM else None


BACKOFF = (60, 120, 300, 900, 3600, 4 * 3600, 12 * 3600, 86400)
"""Seconds to wait after each try that failed for now; the last one for all further tries."""


def wait_after(tries: int) -> timedelta:
    """How long to wait after so many failed tries, 1 or more: minutes first, at most a day."""
    return timedelta(seconds=BACKOFF[min(max(tries, 1), len(BACKOFF)) - 1])
