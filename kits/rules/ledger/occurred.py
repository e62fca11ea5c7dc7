"""When did it happen: a device's claim, put right for its clock and kept within what can be.

A phone that was out of range sends a hand-back hours later, dated by its own clock, which may be
wrong. It also sends what its clock shows at that moment; how long ago the act was, by the one
clock that timed both, is then known whatever the clock is set to.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta


class ClaimError(ValueError):
    """A claimed time that is no point in time. The message says what to send instead."""


@dataclass(frozen=True)
class Settled:
    """When an act is taken to have happened, in UTC.

    `offset_seconds` is how far the device's clock was ahead of ours when it sent (negative:
    behind; it holds the time on the way too), 0 if it sent no time. `clamped`: the claim
    could not be as it was and the nearest possible time was taken. `claimed_at` is the claim put
    right for the clock, kept within the calendar and not after it was received, but not within the
    kit's last act; None without a claim.
    """

    occurred_at: datetime
    offset_seconds: int
    clamped: bool
    claimed_at: datetime | None = None


def settle(
    claimed: datetime | None,
    device_now: datetime | None,
    received_at: datetime,
    last_entry_at: datetime | None,
) -> Settled:
    """Return when an act happened that a device claims for `claimed`.

    `device_now` is what the device's clock shows as it sends, None if it does not send that (its
    clock is then trusted). `received_at` is our clock's: nothing happens after it was received.
    `last_entry_at` is when the last act on the same kit happened, None if there is none: the book
    is not rewritten behind it. Where the two leave no room, `received_at` holds. Without a claim it
    happened when it was received.

    All times are aware. Raises `ClaimError` for one that is not.
    """
    received_at = _utc(received_at)
    device_now = received_at if device_now is None else _utc(device_now)
    seconds = round((device_now - received_at).total_seconds())
    if claimed is None:
        return Settled(received_at, seconds, clamped=False)
    age = device_now - _utc(claimed)
    oldest = received_at - (datetime.min.replace(tzinfo=UTC))
    claimed_at = received_at - min(max(age, timedelta(0)), oldest)
    if last_entry_at is not None:
        oldest = max(timedelta(0), received_at - _utc(last_entry_at))
    possible = min(max(age, timedelta(0)), oldest)
    occurred_at = received_at - possible
    return Settled(occurred_at, seconds, clamped=possible != age, claimed_at=claimed_at)


def _utc(instant: datetime) -> datetime:
    """The same instant in UTC, where times can be subtracted across clock changes."""
    if instant.utcoffset() is None:
        raise ClaimError(
            "A time without a time zone is no point in time. Send it as 2027-05-31T08:30:00Z or "
            "with an offset, as 2027-05-31T09:30:00+01:00."
        )
    try:
        return instant.astimezone(UTC)
    except OverflowError:
        raise ClaimError("That time is out of the calendar's range. Send a real one.") from None
