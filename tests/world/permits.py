"""Who may do what at the school, as its people were told: the model's own copy of the roles."""

from __future__ import annotations

ROLES: dict[str, dict[str | None, str]] = {
    "Kim": {"main-store": "keeper", "cave-hut": "keeper"},
    "Ines": {"main-store": "instructor"},
    "Ada": {"main-store": "guide"},
    "Ben": {"main-store": "guide"},
    "Cleo": {"cave-hut": "guide"},
    "Bookings": {"main-store": "integration", "cave-hut": "integration"},
    "Root": {None: "administrator"},
}
"""Each person's role by room; None is every room. Root sets the school up and looks at it."""

_KEEPERS = {"keeper", "instructor", "administrator"}
_GUIDES = {*_KEEPERS, "guide"}
_FACTS = {"fact", "hand-back", "pass", "use", "withhold", "undo"}
_OF_GUIDES = {"take-out", "look-inside", "restock", "reseal", "count", "check", "swap", "open"}
_OF_PLANNERS = {"trip", "reserve", "unreserve"}


def sees(person: str, *rooms: str) -> bool:
    """Whether one of these rooms is theirs."""
    return None in ROLES[person] or any(room in ROLES[person] for room in rooms)


def may(person: str, act: str, room: str | None) -> bool:
    """Whether somebody may do an act in a room; None: in any of theirs."""
    if act in _FACTS:
        return True
    allowed = _GUIDES if act in _OF_GUIDES else _KEEPERS
    if act in _OF_PLANNERS:
        allowed = {*_KEEPERS, "integration"}
    held = ROLES[person]
    mine = set(held.values()) if room is None else {held.get(room), held.get(None)}
    return bool(mine & allowed)


def is_keeper(person: str, *rooms: str) -> bool:
    """Whether they keep one of these rooms."""
    mine = {held for room, held in ROLES[person].items() if room is None or room in rooms}
    return bool(mine & _KEEPERS)
