"""Kinds of notices, and when somebody hears of each: at once, in the weekly email, or not at all.

Only what cannot wait is told at once, or real alarms get muted. A recall cannot be turned off. It
keeps no quiet hours, nor do an emergency, a must-have gone before a departure, and a clearance that
was none. All else waits for the morning, and for more of its kind: what comes within half an hour
about the same kit is one mail, and a storm over many kits is a summary.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from kits.rules.notices.schedule import local_instant


class When(enum.StrEnum):
    """When somebody hears of a kind of notice."""

    AT_ONCE = "at-once"
    WEEKLY = "weekly"
    NEVER = "never"


class Unsent(enum.StrEnum):
    """Why a notice is not sent by itself."""

    WEEKLY = "weekly"  # it stands in the weekly email
    TOGETHER = "together"  # it goes in one mail with others of its kind
    CHOSEN = "chosen"  # they chose not to hear of it
    NO_ADDRESS = "no-address"  # nobody gave an email address
    LEFT = "left"  # they have left
    REFUSED = "refused"  # a mail server refused it for good
    PASSED = "passed"  # what it was about is over


@dataclass(frozen=True)
class Kind:
    """A kind of notice: when it is told unless chosen otherwise, whether that can be chosen, and
    whether it keeps quiet hours."""

    when: When = When.AT_ONCE
    may_choose: bool = True
    keeps_quiet: bool = True


WEEKLY = "weekly"

KINDS: dict[str, Kind] = {
    WEEKLY: Kind(),
    "recall": Kind(may_choose=False, keeps_quiet=False),
    "medicine-missing": Kind(),
    "must-have-gone": Kind(keeps_quiet=False),
    "not-fit": Kind(),
    "emergency": Kind(keeps_quiet=False),
    "went-short": Kind(),
    "cleared-by-phone": Kind(may_choose=False),
    "not-cleared": Kind(may_choose=False, keeps_quiet=False),
    "irregular": Kind(),
    "lost": Kind(),
    "not-back": Kind(),
    "not-covered": Kind(),
    "low-stock": Kind(),
    "signature-ends": Kind(),
    "address-refused": Kind(),
    "something-wrong": Kind(When.WEEKLY),
    "failed-check": Kind(When.WEEKLY),
    "trip-changed": Kind(When.WEEKLY),
}


def kind_of(code: str) -> Kind:
    """The kind of a code; one not listed is told at once."""
    return KINDS.get(code) or Kind()


def when_told(code: str, choices: Mapping[str, When]) -> When:
    """When somebody with these choices hears of a kind."""
    kind = kind_of(code)
    return choices.get(code, kind.when) if kind.may_choose else kind.when


def quiet_until(
    code: str, instant: datetime, zone: str, quiet_from: time | None, until: time | None
) -> datetime | None:
    """Return when the quiet hours that `instant` falls into end, or None where it falls into none
    or the kind does not keep them. From 22:00 until 07:00 is over midnight; the same time twice
    is no quiet at all."""
    if quiet_from is None or until is None or quiet_from == until:
        return None
    if not kind_of(code).keeps_quiet:
        return None
    here = instant.astimezone(ZoneInfo(zone))
    at = here.time()
    over_midnight = quiet_from > until
    if over_midnight and at >= quiet_from:
        return local_instant(here.date() + timedelta(days=1), until, zone)
    if (over_midnight and at < until) or (not over_midnight and quiet_from <= at < until):
        return local_instant(here.date(), until, zone)
    return None


APART = timedelta(minutes=30)
"""How long after a mail the next of its kind about the same kit is put off."""
STORM = 3
"""So many mails of a kind within that time, whatever kits they are about: the rest is put off."""


def put_off_until(
    code: str, now: datetime, *, of_kit: Iterable[datetime], of_kind: Iterable[datetime]
) -> datetime | None:
    """Return until when a notice waits for more of its kind, None where it does not.

    `of_kit` and `of_kind` are when mails of its kind went to the same person, about the same kit
    and about any. What keeps no quiet hours never waits.
    """
    if not kind_of(code).keeps_quiet:
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
