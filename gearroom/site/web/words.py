"""The words that pages have for the values of the rules' vocabularies."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from kits.models import Disposal
from kits.rules.facts import Criticality

HAZARDS: dict[str, Promise] = {
    "hill": _("hill and mountain ground"),
    "cave": _("caves and mines"),
    "gorge": _("gorges and sea cliffs"),
    "water": _("open water"),
    "winter": _("snow and ice"),
    "rope": _("work on ropes"),
    "sharp-tools": _("saws, axes and other sharp tools"),
    "remote": _("hours from help"),
    "heat": _("great heat"),
    "fire": _("stoves and open fires"),
    "animals": _("stings, bites and ticks"),
}

CRITICALITIES: dict[str, Promise] = {
    Criticality.ROUTINE: _("routine"),
    Criticality.IMPORTANT: _("important"),
    Criticality.MUST_HAVE: _("must-have"),
}

DISPOSALS: dict[str, Promise] = {
    Disposal.BIN: _("bin"),
    Disposal.SHARPS: _("sharps tub"),
    Disposal.CLINICAL: _("clinical waste"),
    Disposal.PHARMACY: _("pharmacy"),
    Disposal.RETURNED: _("returned to maker"),
}


def hazards(slugs: Iterable[str]) -> list[str]:
    """Hazards in words, in the order given."""
    return [str(HAZARDS[slug]) for slug in slugs]
