"""Which habits come up how often: the cards that are dealt over the weeks."""

from __future__ import annotations

from random import Random

ACTS_A_WEEK = 12
SILENT = frozenset({"use-without-saying"})
_PROMISED = ("put-trip", "reserve")
FIRST = {
    "close": ("recall",), "release": ("withhold",), "pass-on": ("take-without-trip",),
    "hand-back-sealed": ("take-without-trip",), "hand-back-later": ("take-reported-late",),
    "hand-back-opened": ("take-without-trip",), "hand-back-in-another-room": ("emergency",),
    "hand-back-closed": ("take-without-trip",),
    "say-whether-it-was-cleared": ("take-cleared-by-phone",),
    "take-for-trip": _PROMISED, "two-scans": _PROMISED, "swap": _PROMISED,
    "take-anothers": _PROMISED, "unreserve": _PROMISED, "cancel-trip": ("put-trip",),
    "move-trip": ("put-trip",), "extend-trip": ("put-trip",),
}  # fmt: skip
"""What happens first where there is no occasion for an act."""
WEIGHTS = {
    "take-for-trip": 7,
    "two-scans": 6,
    "take-cleared-by-phone": 1,
    "say-whether-it-was-cleared": 6,
    "take-without-trip": 1,
    "take-anothers": 5,
    "take-reported-late": 2,
    "emergency": 3,
    "hand-back-sealed": 4,
    "hand-back-closed": 3,
    "hand-back-later": 3,
    "hand-back-opened": 4,
    "hand-back-in-another-room": 3,
    "hand-back-the-wrong-kit": 3,
    "use": 3,
    "use-without-saying": 1,
    "pass-on": 3,
    "look-inside": 3,
    "restock": 3,
    "restock-with-the-wrong-batch": 3,
    "reseal": 4,
    "count": 3,
    "build": 4,
    "check": 3,
    "open-pack": 3,
    "withhold": 1,
    "release": 4,
    "receive": 4,
    "recall": 1,
    "close": 4,
    "move-trip": 3,
    "extend-trip": 3,
    "cancel-trip": 3,
    "unreserve": 3,
    "swap": 11,
    "five-from-a-phone": 1,
    "undo-soon": 4,
    "undo-late": 4,
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
