"""What is said of whether contents fit a bag, and of what they weigh."""

from collections.abc import Sequence
from datetime import date

from django.utils.formats import number_format
from django.utils.translation import gettext as _, ngettext

from kits.rules.planning.fit import Capacity, Fits
from kits.services.text import wording


def whole(fits: Fits, volume_ml: int, takes: Capacity, to_move: Sequence[str]) -> str:
    """Whether a bag closes over what a list carries; `to_move` names what to move or shrink."""
    facts = {
        "move": ", ".join(to_move),
        "volume": number_format(volume_ml, force_grouping=True),
        "takes": number_format(takes.expected or 0, 0, force_grouping=True),
    }
    match fits:
        case Fits.WILL_NOT_CLOSE if to_move:
            return (
                _(
                    "It will not close: it did not close with this much before. Move these, or "
                    "choose smaller ones: %(move)s."
                )
                % facts
            )
        case Fits.WILL_NOT_CLOSE:
            return _(
                "It will not close: it did not close with this much before. Move something, or "
                "choose something smaller."
            )
        case Fits.TIGHT:
            return (
                _(
                    "It may not close: the contents are %(volume)s ml, and it probably takes "
                    "about %(takes)s ml. Move these, or choose smaller ones: %(move)s."
                )
                % facts
            )
        case Fits.EXPECTED:
            return _("It should close.")
        case Fits.CLOSED_BEFORE:
            return _("It closes: it closed with this much before.")
    return _("It is not known yet whether it closes. Say so when you seal it.")


def section(name: str, says: str) -> str:
    """What is said of one section (pouch)."""
    return _("%(section)s: %(says)s") % {"section": name, "says": says}


def mass(mass_g: int, unknown: Sequence[str]) -> str:
    """What all that is carried weighs, as far as known."""
    facts = {"mass": number_format(mass_g, force_grouping=True), "n": len(unknown)}
    if not mass_g and not unknown:
        return _("It carries nothing yet.")
    if not mass_g:
        return _("Its weight is not known: no item has a weight on record.")
    if not unknown:
        return _("Everything carried weighs %(mass)s g, without the bag.") % facts
    return (
        ngettext(
            "Everything carried weighs %(mass)s g or more, without the bag; the weight of "
            "%(n)d item is not on record.",
            "Everything carried weighs %(mass)s g or more, without the bag; the weights of "
            "%(n)d items are not on record.",
            len(unknown),
        )
        % facts
    )


def weighed(mass_g: int, on: date) -> str:
    """What it weighed on a scale."""
    return _("Weighed on %(day)s, with the bag: %(mass)s g.") % {
        "day": wording.day(on),
        "mass": number_format(mass_g, force_grouping=True),
    }


def too_heavy(limit_g: int) -> str:
    """That what is carried weighs more than the bag may."""
    return _("That is more than the %(limit)s g that its bag may weigh.") % {
        "limit": number_format(limit_g, force_grouping=True)
    }
