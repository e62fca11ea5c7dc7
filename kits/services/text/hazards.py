"""The words for hazards."""

from collections.abc import Iterable

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

HAZARDS: dict[str, Promise] = {
    "hill": _("hills and mountains"),
    "cave": _("caves and mines"),
    "gorge": _("gorges and sea cliffs"),
    "water": _("open water"),
    "winter": _("snow and ice"),
    "rope": _("rope work"),
    "sharp-tools": _("saws, axes and other sharp tools"),
    "remote": _("hours away from help"),
    "heat": _("extreme heat"),
    "fire": _("stoves and open fires"),
    "animals": _("stings, bites and ticks"),
}
"""The words for the vocabulary of hazards, in its order."""


def hazards(slugs: Iterable[str]) -> list[str]:
    """Hazards in words, in the vocabulary's order."""
    wanted = set(slugs)
    return [str(words) for slug, words in HAZARDS.items() if slug in wanted]
