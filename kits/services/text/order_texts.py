"""What is said of orders to suppliers: what lines are for, and how far orders are."""

from collections.abc import Mapping
from datetime import date

from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.models import OrderLine
from kits.rules.buying.order_lines import Basis
from kits.rules.buying.order_plan import Found
from kits.rules.buying.orders import OrderState
from kits.rules.ledger.facts import Criticality
from kits.services.text.planning.planning_texts import number
from kits.services.text.wording import day

STATES: Mapping[OrderState, str | Promise] = {
    OrderState.DRAFT: _lazy("Draft"),
    OrderState.ORDERED: _lazy("Ordered"),
    OrderState.PARTLY_ARRIVED: _lazy("Partly arrived"),
    OrderState.RECEIVED: _lazy("Received"),
    OrderState.CANCELLED: _lazy("Cancelled"),
}
BASES: Mapping[Basis, str | Promise] = {
    Basis.COMING_TRIPS: _lazy("by how often it is needed, on the trips that are coming"),
    Basis.TRIPS_A_YEAR_AGO: _lazy(
        "by how often it is needed, on as many trips as in the same weeks a year ago"
    ),
    Basis.RECORDED_USE: _lazy("by what was used in the past year"),
    Basis.NO_USE: _lazy("no use is on record"),
}
"""What the use in a season was worked out from."""
HARDLY = 0.1
"""Fewer units than that, on average, are not worth naming."""
_FOUND: Mapping[Found, str | Promise] = {
    Found.BEST: _lazy("No other order would be more than %(percent)d %% cheaper."),
    Found.STOPPED: _lazy(
        "The calculation ran out of time before it was certain of the best order: another order "
        "might be up to %(percent)d %% cheaper."
    ),
    Found.BY_HAND: _lazy(
        "The calculation ran out of time: this order buys each item where it costs least. "
        "Another order might be up to %(percent)d %% cheaper."
    ),
}


def reason(
    *, for_kits: int, for_use: int, for_class: int, more: int, basis: Basis, through: date
) -> str:
    """Why so many units are ordered."""
    parts = []
    if for_kits:
        parts.append(
            ngettext(
                "%(n)d for kits that will be short by %(day)s",
                "%(n)d for kits that will be short by %(day)s",
                for_kits,
            )
            % {"n": for_kits, "day": day(through)}
        )
    if for_use:
        text = _("%(n)d for use until %(day)s (%(basis)s)")
        parts.append(text % {"n": for_use, "day": day(through), "basis": BASES[basis]})
    if for_class:
        parts.append(_("%(n)d for the class") % {"n": for_class})
    if more:
        text = _("%(n)d more than needed")
        parts.append(text % {"n": more})
    return ", ".join(parts)


def reason_of(line: OrderLine, through: date) -> str:
    """Why a line of an order that was worked out through a day has so many units."""
    return reason(
        for_kits=line.for_kits,
        for_use=line.for_use,
        for_class=line.for_class,
        more=line.more,
        basis=Basis(line.basis),
        through=through,
    )


def without_of(line: OrderLine, through: date) -> str:
    """What it costs to do without a line of an order that was worked out through a day."""
    return without(
        kits=line.without_kits,
        use=line.without_use,
        for_class=line.for_class,
        matters=line.matters,
        through=through,
    )


def without(
    *, kits: int | None, use: float | None, for_class: int, matters: str, through: date
) -> str:
    """What it costs to do without a line through a day; nothing where that was not worked out. It
    never says that one may."""
    if kits is None or use is None:
        return ""
    parts = []
    if kits:
        text = ngettext(
            "kits will be short of %(n)d by %(day)s",
            "kits will be short of %(n)d by %(day)s",
            kits,
        )
        parts.append(text % {"n": kits, "day": day(through)})
    if use >= HARDLY:
        text = _("on average %(n)s more are needed until %(day)s than there are")
        parts.append(text % {"n": number(use), "day": day(through)})
    if not parts and for_class:
        text = ngettext(
            "Without this, classes are short of %(n)d.",
            "Without this, classes are short of %(n)d.",
            for_class,
        )
        return text % {"n": for_class}
    if not parts:
        return _("Without this, fewer than %(n)s would be missing on average.") % {
            "n": number(HARDLY)
        }
    text = _("Without this: %(lacks)s.") % {"lacks": _(" and ").join(parts)}
    return f"{_('Must-have.')} {text}" if matters == Criticality.MUST_HAVE else text


def how_good(found: Found, within: float) -> str:
    """How good a plan is beside any other."""
    return str(_FOUND[found]) % {"percent": max(1, round(within * 100))}


def overdue(*, ordered_on: date, expected_on: date) -> str:
    """That an order is not here although it was expected."""
    text = _("ordered %(ordered)s, expected %(expected)s, not here yet")
    return text % {"ordered": day(ordered_on), "expected": day(expected_on)}
