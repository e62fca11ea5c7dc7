"""What is said of plans: sentences of the numbers that `kits.services.planning` works out.

Chances are said as trips of so many, never in percent alone; a sentence says no more than its
numbers can bear.
"""

from decimal import Decimal

from django.utils import formats
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.rules.planning.quantities import Bar
from kits.rules.planning.shares import Share, few_in_many, one_in, share

CAUTION = _lazy(
    "What a kit contains, and who may use it, is decided by your medical adviser, your protocols, "
    "local law and each person’s training. This is arithmetic on your own records; it never says "
    "that anything should be left out."
)


def number(value: float | Decimal) -> str:
    """A number with as many digits as matter: 1,234 · 12 · 4.3 · 0.85 · 0.004."""
    size = abs(float(value))
    places = 0 if size >= 10 else 1 if size >= 1 else 2
    plain = f"{value:.{places}f}" if size >= 0.095 or not size else f"{Decimal(f'{value:.1g}'):f}"
    short = plain.rstrip("0").rstrip(".") if "." in plain else plain
    return formats.number_format(Decimal(short), force_grouping=True)


def times(count: float) -> str:
    """How often something was wanted: once, twice, 3 times, about 2.5 times."""
    if count != int(count):
        return _("about %(n)s times") % {"n": number(count)}
    if count in (1, 2):
        return _("once") if count == 1 else _("twice")
    return _("%(n)s times") % {"n": number(count)}


def money(amount: Decimal, currency: str) -> str:
    """An amount with its currency's code (ISO 4217)."""
    return f"{formats.number_format(amount, decimal_pos=2, force_grouping=True)} {currency}".strip()


# ------------------------------------------------------------------------------- how many
def lacks_something(chance: float, *, lines: int, without_rate: int) -> str:
    """What a whole list comes to on one trip: `chance` that a line of the `lines` with a rate runs
    out; `without_rate` lines are left out."""
    if not lines:
        return _("Nothing can be said yet: no item on this list has a rate.")
    said = _of_trips(chance)
    if not without_rate:
        return said
    left = ngettext(
        "%(n)d item has no rate and is left out of this.",
        "%(n)d items have no rate and are left out of this.",
        without_rate,
    ) % {"n": without_rate}
    return f"{said} {left}"


def _of_trips(chance: float) -> str:
    if few := few_in_many(chance):
        if chance >= 0.9995:
            return _("Expect it to lack something on nearly every trip.")
        return _("Expect it to lack something on %(n)s trips in 100.") % {"n": few}
    if trips := one_in(chance):
        return _("Expect it to lack something on 1 trip in %(n)s.") % {"n": number(trips)}
    return _("It lacks something on fewer than 1 trip in 1,000.")


def wants_more(chance: float, quantity: int) -> str:
    """How many of so many such trips want more than a quantity."""
    of = share(chance)
    facts = {"n": number(of.n), "of": number(of.of), "quantity": number(quantity)}
    if quantity == 0:
        return _wants_any(of, facts)
    if of.n == of.of:
        return _("Nearly every such trip wants more than %(quantity)s.") % facts
    if of.n == 0:
        return (
            _("Of %(of)s such trips, fewer than 1 is expected to want more than %(quantity)s.")
            % facts
        )
    return (
        ngettext(
            "Of %(of)s such trips, %(n)s wants more than %(quantity)s.",
            "Of %(of)s such trips, %(n)s want more than %(quantity)s.",
            of.n,
        )
        % facts
    )


def _wants_any(of: Share, facts: dict[str, str]) -> str:
    if of.n == of.of:
        return _("Nearly every such trip wants at least one.")
    if of.n == 0:
        return _("Of %(of)s such trips, fewer than 1 is expected to want any.") % facts
    return (
        ngettext(
            "Of %(of)s such trips, %(n)s wants at least one.",
            "Of %(of)s such trips, %(n)s want at least one.",
            of.n,
        )
        % facts
    )


def chance(value: float) -> str:
    """A chance in a table: 3 of 100; fewer than 1 of 1,000."""
    of = share(value)
    facts = {"n": number(of.n), "of": number(of.of)}
    if of.n == 0:
        return _("fewer than 1 of %(of)s") % facts
    if of.n == of.of:
        return _("nearly all")
    return _("%(n)s of %(of)s") % facts


def units_wanted(bar: Bar) -> str:
    """What a bar of the chart is of: so many units, or so many and more."""
    if bar.or_more:
        return _("%(n)d or more") % {"n": bar.units}
    if bar.or_fewer:
        return _("%(n)d or fewer") % {"n": bar.units}
    return _("none") if bar.units == 0 else str(bar.units)


def with_another(quantity: int, of_trips: float) -> str:
    """What another quantity comes to."""
    return _("With %(quantity)d, %(share)s such trips want more.") % {
        "quantity": quantity,
        "share": chance(of_trips),
    }


def such_a_trip(people: int, days: int, activity: str) -> str:
    """What trips are spoken of."""
    facts = {
        "people": ngettext("%(n)s person", "%(n)s people", people) % {"n": number(people)},
        "days": ngettext("%(n)d day", "%(n)d days", days) % {"n": days},
        "activity": activity,
    }
    if activity:
        return _("Such a trip: %(people)s for %(days)s, %(activity)s.") % facts
    return _("Such a trip: %(people)s for %(days)s.") % facts


def no_rate() -> str:
    """Of an item for which nothing is known of how often it is needed."""
    return _("No rate: nobody has said how often it is needed, and it was never used on record.")


def serves_nothing() -> str:
    """Of an item that nobody said what it is for."""
    return _("Nobody has said yet what this item is for, so nothing can be worked out.")


def loose() -> str:
    """Of what nobody counts."""
    return _("Loose: nobody counts it, so nothing is worked out.")
