"""Which habits come up how often: the cards that are dealt over the weeks."""

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
    "take-for-trip": 12,
    "two-scans": 11,
    "take-cleared-by-phone": 1,
    "say-whether-it-was-cleared": 14,
    "take-without-trip": 1,
    "take-anothers": 11,
    "take-reported-late": 4,
    "emergency": 6,
    "hand-back-sealed": 7,
    "hand-back-closed": 7,
    "hand-back-later": 7,
    "hand-back-opened": 8,
    "hand-back-in-another-room": 7,
    "hand-back-the-wrong-kit": 6,
    "use": 7,
    "use-without-saying": 1,
    "pass-on": 7,
    "look-inside": 6,
    "restock": 6,
    "restock-with-the-wrong-batch": 6,
    "reseal": 9,
    "count": 6,
    "build": 10,
    "check": 6,
    "open-pack": 6,
    "withhold": 2,
    "release": 8,
    "receive": 9,
    "recall": 1,
    "close": 9,
    "move-trip": 7,
    "extend-trip": 7,
    "cancel-trip": 7,
    "unreserve": 6,
    "swap": 19,
    "five-from-a-phone": 2,
    "undo-soon": 7,
    "undo-late": 8,
    "press-twice": 7,
    "same-key-other-content": 7,
    "two-at-once": 10,
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
