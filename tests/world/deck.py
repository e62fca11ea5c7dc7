"""Which habits come up how often: the cards that are dealt over the weeks."""

from __future__ import annotations

from random import Random

ACTS_A_WEEK = 12
SILENT = frozenset({"use-without-saying"})
FIRST = {
    "close": "recall", "hand-back-closed": "take-without-trip",
    "say-whether-it-was-cleared": "take-cleared-by-phone",
    "release": "withhold", "pass-on": "take-without-trip",
    "hand-back-sealed": "take-without-trip", "hand-back-later": "take-reported-late",
    "hand-back-opened": "take-without-trip", "hand-back-in-another-room": "emergency",
}  # fmt: skip
"""What happens first where there is no occasion for an act."""
WEIGHTS = {
    "take-for-trip": 8,
    "two-scans": 3,
    "take-cleared-by-phone": 1,
    "say-whether-it-was-cleared": 3,
    "take-without-trip": 1,
    "take-anothers": 7,
    "take-reported-late": 2,
    "emergency": 2,
    "hand-back-sealed": 3,
    "hand-back-closed": 2,
    "hand-back-later": 3,
    "hand-back-opened": 3,
    "hand-back-in-another-room": 3,
    "hand-back-the-wrong-kit": 2,
    "use": 2,
    "use-without-saying": 1,
    "pass-on": 3,
    "look-inside": 2,
    "restock": 3,
    "restock-with-the-wrong-batch": 2,
    "reseal": 4,
    "count": 2,
    "build": 4,
    "check": 2,
    "open-pack": 3,
    "withhold": 1,
    "release": 3,
    "receive": 4,
    "recall": 1,
    "close": 3,
    "move-trip": 3,
    "extend-trip": 3,
    "cancel-trip": 3,
    "unreserve": 2,
    "swap": 9,
    "five-from-a-phone": 1,
    "undo-soon": 3,
    "undo-late": 3,
    "press-twice": 3,
    "same-key-other-content": 3,
    "two-at-once": 4,
}  # fmt: skip
"""How often each comes up: so many of the cards of a deck, which is dealt over the weeks."""


PRESSED = (
    "use", "look-inside", "count", "check", "open-pack", "pass-on", "hand-back-sealed",
    "hand-back-the-wrong-kit", "unreserve", "restock-with-the-wrong-batch", "restock", "release",
    "take-for-trip", "hand-back-in-another-room",
)  # fmt: skip
"""What is pressed twice."""


def hand_of(seed: int) -> list[str]:
    """The cards of a week; each deck is shuffled anew and dealt over several weeks."""
    return [_card(number) for number in range(seed * ACTS_A_WEEK, (seed + 1) * ACTS_A_WEEK)]


def _card(number: int) -> str:
    deck = [habit for habit, weight in WEIGHTS.items() for _ in range(weight)]
    Random(f"deck {number // len(deck)}").shuffle(deck)
    return deck[number % len(deck)]
