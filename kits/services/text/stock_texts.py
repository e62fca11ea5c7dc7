"""What the tables of stock say of an item: how long it lasts, and what that rests on."""

from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.rules.stock.lasting import LONGEST_DAYS, Ends, Lasting

HOW_LONG = _lazy(
    "“How long it lasts” is how long the usable stock on these shelves lasts if "
    "it is used as in the past year, the soonest to expire first. If none was used, it is how "
    "long the stock stays in date. In a busier season it is used up sooner."
)
"""Under a table that says how long items last."""
_DAYS_IN_WEEKS, _DAYS_IN_MONTHS = 14, 61
_A_WEEK, _A_MONTH = 7, 30.4


def lasts(of: Lasting) -> str:
    """How long stock lasts, in words."""
    match of.ends:
        case Ends.NOTHING_THERE:
            return _("none on the shelves")
        case Ends.NOT_KNOWN:
            return _("not used in the past year")
    return how_long(of.days or 0)


def beside(of: Lasting, *, used: bool) -> str:
    """What has to be said beside it; empty where there is nothing."""
    if of.ends is Ends.OUT_OF_DATE and not used:
        return _("until the last of it expires; not used in the past year")
    if of.unused:
        return ngettext(
            "%(n)d expires before it is used", "%(n)d expire before they are used", of.unused
        ) % {"n": of.unused}
    return ""


def how_long(days: int) -> str:
    """A length of time as people say one: days, weeks or months."""
    if days > LONGEST_DAYS:
        return _("more than 2 years")
    if days < 1:
        return _("less than a day")
    if days < _DAYS_IN_WEEKS:
        return ngettext("about %(n)d day", "about %(n)d days", days) % {"n": days}
    if days < _DAYS_IN_MONTHS:
        weeks = round(days / _A_WEEK)
        return ngettext("about %(n)d week", "about %(n)d weeks", weeks) % {"n": weeks}
    months = round(days / _A_MONTH)
    return ngettext("about %(n)d month", "about %(n)d months", months) % {"n": months}
