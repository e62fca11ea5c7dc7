"""Who may take an act back."""

from datetime import datetime, timedelta

OWN_WITHIN = timedelta(hours=24)
"""How long whoever did an act may take it back by themselves; after that the room's keepers do."""


def may_take_back(*, own: bool, keeper: bool, recorded_at: datetime, now: datetime) -> bool:
    """Whether somebody may take back an act written at `recorded_at`: a keeper at any time, others
    what they did themselves within `OWN_WITHIN`. Times are aware."""
    return keeper or (own and now - recorded_at <= OWN_WITHIN)
