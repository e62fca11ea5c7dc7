"""When something happened, as a device claims it: corrected by its clock, within bounds.

A phone that was offline sends its acts later, with the time it believes each happened at and what
its clock shows now. The difference to ours, at the moment we receive it, is taken off the claim.
What comes out is never later than we heard of it, and never before the kit's last known act.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

STEADY = timedelta(seconds=2)
"""A difference between clocks up to this is the network's, not the clock's."""


@dataclass(frozen=True)
class Settled:
    """`offset_seconds` is how far the device's clock was ahead of ours; `clamped` whether the
    claim lay outside the bounds and was moved to the nearer one."""

    occurred_at: datetime
    offset_seconds: int
    clamped: bool


def settle(
    claimed: datetime | None,
    device_now: datetime | None,
    received_at: datetime,
    last_entry_at: datetime | None,
) -> Settled:
    """Return when an act is taken to have happened. Instants carry a time zone.

    Without `claimed` it is `received_at`. Where the last entry is later than `received_at`, the
    receipt counts: an act is never after we heard of it.
    """
    offset = device_now - received_at if device_now is not None else timedelta(0)
    if abs(offset) <= STEADY:
        offset = timedelta(0)
    if claimed is None:
        return Settled(received_at, round(offset.total_seconds()), False)
    try:
        corrected = claimed - offset
    except OverflowError:
        corrected = claimed
    earliest = min(last_entry_at or corrected, received_at)
    occurred_at = min(max(corrected, earliest), received_at)
    return Settled(occurred_at, round(offset.total_seconds()), occurred_at != corrected)
