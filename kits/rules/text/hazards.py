"""What a trip may meet and a kit list may be made for: the one vocabulary of hazards.

Lists and trips say what they are about by these slugs, so that they can be held against each
other. A hazard is added here; it is never given another meaning.
"""

from collections.abc import Iterable

from gearroom.core.rules.sentences import InvalidValue, say

MEANINGS: dict[str, str] = {
    "hill": "walking on hills and mountains",
    "cave": "going underground",
    "gorge": "gorges, canyons and scrambling in water",
    "water": "on or in open water",
    "winter": "snow, ice or severe cold",
    "rope": "climbing, abseiling and other work on ropes",
    "sharp-tools": "axes, saws, knives and other sharp tools",
    "remote": "far from help",
    "heat": "hot weather or strong sun",
    "fire": "open fires and stoves",
    "animals": "bites and stings",
}
"""What each hazard means, for whoever writes a program that sends them."""
HAZARDS: tuple[str, ...] = tuple(MEANINGS)


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
