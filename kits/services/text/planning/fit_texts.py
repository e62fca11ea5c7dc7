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
                    "The contents will not fit: this much did not fit before. Move these "
                    "elsewhere, or choose smaller ones: %(move)s."
                )
                % facts
            )
        case Fits.WILL_NOT_CLOSE:
            return _(
                "The contents will not fit: this much did not fit before. Move something "
                "elsewhere, or choose something smaller."
            )
        case Fits.TIGHT:
            return (
                _(
                    "The contents may not fit: they take up %(volume)s ml, and there is "
                    "probably room for about %(takes)s ml. Move these elsewhere, or choose "
                    "smaller ones: %(move)s."
                )
                % facts
            )
        case Fits.EXPECTED:
            return _("The contents should fit.")
        case Fits.CLOSED_BEFORE:
            return _("The contents fit: this much has fitted before.")
    return _(
        "It is not known yet whether the contents fit. When you seal the kit, enter "
        "whether the bag closed."
    )


def section(name: str, says: str) -> str:
    """What is said of one section (pouch)."""
    return _("%(section)s: %(says)s") % {"section": name, "says": says}


def mass(mass_g: int, unknown: Sequence[str]) -> str:
    """What all that is carried weighs, as far as known."""
    facts = {"mass": number_format(mass_g, force_grouping=True), "n": len(unknown)}
    if not mass_g and not unknown:
        return _("This list has no items yet.")
    if not mass_g:
        return _("The weight is not known: no item has a weight on record.")
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
    return _("That is more than the %(limit)s g that the bag may weigh.") % {
        "limit": number_format(limit_g, force_grouping=True)
    }
