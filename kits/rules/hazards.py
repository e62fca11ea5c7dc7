"""What a trip may meet and a kit list may be made for: the one vocabulary of hazards.

Lists and trips say what they are about by these slugs, so that they can be held against each
other. A hazard is added here, with its words; it is never given another meaning.
"""

from __future__ import annotations

from collections.abc import Iterable

HAZARDS: dict[str, str] = {
    "hill": "hill and mountain ground",
    "cave": "caves and mines",
    "gorge": "gorges and sea cliffs",
    "water": "open water",
    "winter": "snow and ice",
    "rope": "work on ropes",
    "sharp-tools": "saws, axes and other sharp tools",
    "remote": "hours from help",
    "heat": "great heat",
    "fire": "stoves and open fires",
    "animals": "stings, bites and ticks",
}


class UnknownHazardError(ValueError):
    """A hazard that is not of the vocabulary. The message lists those that are."""

    def __init__(self, unknown: str) -> None:
        super().__init__(f"“{unknown}” is no hazard known here. Known: {', '.join(HAZARDS)}.")
        self.unknown = unknown


def hazards(slugs: Iterable[str]) -> list[str]:
    """Return the slugs, each once, in the vocabulary's order. Raises UnknownHazardError."""
    wanted = set(slugs)
    for slug in sorted(wanted):
        if slug not in HAZARDS:
            raise UnknownHazardError(slug)
    return [slug for slug in HAZARDS if slug in wanted]
