"""What is said on the first day: what a row of the first kit leaves open, and what goes out of date
soon."""

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.services.text.planning.planning_texts import money as with_currency
from kits.services.text.wording import day

QUESTIONS: dict[str, str | Promise] = {
    "name": _lazy("Enter the name of the item."),
    "count": _lazy("Enter whole numbers."),
    "nothing": _lazy("Enter how many there are, or how many there should be."),
    "date": _lazy("Enter the expiry date as printed, or tick that none is printed."),
    "number": _lazy(
        "Enter the batch number (LOT), so that a recall finds it, or tick that none is printed."
    ),
}
"""What is asked about a row, by the word for it."""


def goes_out_of_date(
    by: date, units: int, unpriced: int, money: Mapping[str, Decimal], items: Sequence[str]
) -> str:
    """What of a kit goes out of date by a day, with its price where that is on record."""
    facts = {"day": day(by), "units": units, "n": unpriced, "items": "; ".join(items)}
    if not units:
        return _("Nothing in this kit goes out of date by %(day)s.") % facts
    if not money:
        return (
            ngettext(
                "%(units)d unit goes out of date by %(day)s: %(items)s. No price is on record.",
                "%(units)d units go out of date by %(day)s: %(items)s. No price is on record.",
                units,
            )
            % facts
        )
    sums = (with_currency(amount, currency) for currency, amount in sorted(money.items()))
    facts["money"] = ", ".join(sums)
    text = _("Items worth %(money)s go out of date by %(day)s: %(items)s.") % facts
    if unpriced:
        text += " " + (
            ngettext(
                "%(n)d unit has no price on record.",
                "%(n)d units have no price on record.",
                unpriced,
            )
            % facts
        )
    return text
