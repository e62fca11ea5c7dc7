"""What a trip may meet and a kit list may be made for: the one vocabulary of hazards.

Lists and trips say what they are about by these slugs, so that they can be held against each
other. A hazard is added here; it is never given another meaning.
"""

from collections.abc import Iterable

from gearroom.core.rules.sentences import InvalidValue, say

HAZARDS: tuple[str, ...] = (
    "hill",
    "cave",
    "gorge",
    "water",
    "winter",
    "rope",
    "sharp-tools",
    "remote",
    "heat",
    "fire",
    "animals",
)


def hazards(slugs: Iterable[str]) -> list[str]:
    """Return the slugs, each once, in the vocabulary's order. Raises InvalidValue, which
    lists those that are known."""
    wanted = set(slugs)
    if unknown := wanted.difference(HAZARDS):
        raise InvalidValue(
            say(
                "“%(unknown)s” is not a known hazard. Known hazards: %(known)s.",
                unknown=min(unknown),
                known=", ".join(HAZARDS),
            )
        )
    return [slug for slug in HAZARDS if slug in wanted]
