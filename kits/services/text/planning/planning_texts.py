"""What is said of plans: sentences of the numbers that `kits.services.planning` works out.

Chances are said as so many of a hundred trips, never in percent; a sentence says no more than its
numbers can bear.
"""

from collections.abc import Sequence
from decimal import Decimal

from django.utils import formats
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.rules.planning.quantities import Bar, Basis
from kits.rules.planning.shares import Edge, of_100, one_in

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
def lacks_something(chance: float, *, lines: int, at_least: bool) -> str:
    """What a whole list comes to on one trip: `chance` that a line of the `lines` with a rate runs
    out; `at_least`: others are left out."""
    if not lines:
        return _("Nothing can be worked out yet: no item on this list has a rate.")
    facts = {"n": of_100_trips(chance, at_least=at_least)}
    n = of_100(chance)
    if n is Edge.HARDLY_ANY and at_least:
        return _(
            "As far as can be worked out, this list is short of something on fewer than 1 out "
            "of 100 trips like this."
        )
    if n is Edge.NEARLY_ALL:
        return _("Expect this list to be short of something on nearly every trip like this.")
    if trips := one_in(chance):
        facts |= {"trips": number(trips), "n": str(n)}
        if at_least:
            return (
                _(
                    "Expect this list to be short of something on at least 1 trip in %(trips)s "
                    "(%(n)s out of 100 trips like this)."
                )
                % facts
            )
        return (
            _(
                "Expect this list to be short of something on 1 trip in %(trips)s (%(n)s out "
                "of 100 trips like this)."
            )
            % facts
        )
    return (
        _("Expect this list to be short of something on %(n)s out of 100 trips like this.") % facts
    )


def lacks_must_have(chance: float, *, lines: int, at_least: bool) -> str:
    """How often one of the `lines` that are must-haves with a rate runs out."""
    if not lines:
        return ""
    if of_100(chance) is Edge.HARDLY_ANY and at_least:
        return _(
            "As far as can be worked out, this list is short of a must-have on fewer than "
            "1 out of 100 trips like this."
        )
    return _("This list is short of a must-have on %(n)s out of 100 trips like this.") % {
        "n": of_100_trips(chance, at_least=at_least)
    }


def of_100_trips(chance: float, *, at_least: bool = False) -> str:
    """How many of a hundred trips: 3, at least 3, fewer than 1, nearly all."""
    match of_100(chance):
        case Edge.HARDLY_ANY:
            return _("fewer than 1")
        case Edge.NEARLY_ALL:
            return _("nearly all")
        case n:
            return _("at least %(n)d") % {"n": n} if at_least else str(n)


def wants_more(chance: float, quantity: int, *, at_least: bool = False) -> str:
    """How many of a hundred such trips want more than a quantity."""
    facts = {"n": of_100_trips(chance, at_least=at_least), "quantity": number(quantity)}
    if quantity == 0:
        return (
            ngettext(
                "Out of 100 trips like this, %(n)s needs at least one.",
                "Out of 100 trips like this, %(n)s need at least one.",
                _grammar(chance),
            )
            % facts
        )
    return (
        ngettext(
            "Out of 100 trips like this, %(n)s needs more than %(quantity)s.",
            "Out of 100 trips like this, %(n)s need more than %(quantity)s.",
            _grammar(chance),
        )
        % facts
    )


def not_worked_out(basis: Basis) -> str:
    """Why it is not said of how many trips a line is short, where it is in a few words."""
    return {
        Basis.LOOSE: _("loose"),
        Basis.COMES_BACK: _("reused"),
        Basis.NO_PURPOSE: _("not known"),
        Basis.NO_RATE: _("not known"),
        Basis.DEMAND: "",
    }[basis]


def enough_as_it_is() -> str:
    """That no more need be carried."""
    return _("yes")


def would_be_enough(units: int, *, at_least: bool) -> str:
    """How many would be enough."""
    return _("no: at least %(n)d") % {"n": units} if at_least else _("no: %(n)d") % {"n": units}


def _grammar(chance: float) -> int:
    """1 where a chance is said of one trip, or of fewer; 2 of several."""
    return 1 if of_100(chance) in (1, Edge.HARDLY_ANY) else 2


def units_wanted(bar: Bar) -> str:
    """What a bar of the chart is of: so many units, or so many and more."""
    if bar.or_more:
        return _("%(n)d or more") % {"n": bar.units}
    if bar.or_fewer:
        return _("%(n)d or fewer") % {"n": bar.units}
    return _("none") if bar.units == 0 else str(bar.units)


def with_another(quantity: int, chance: float, *, at_least: bool = False) -> str:
    """What another quantity comes to."""
    return ngettext(
        "Carrying %(quantity)d: %(n)s out of 100 trips like this needs more.",
        "Carrying %(quantity)d: %(n)s out of 100 trips like this need more.",
        _grammar(chance),
    ) % {"quantity": quantity, "n": of_100_trips(chance, at_least=at_least)}


def left_out(basis: Basis, items: int, must_haves: Sequence[str]) -> str:
    """So many items of which nothing is worked out, why, and which of them are must-haves."""
    said = _left_out(basis, items) % {"n": items}
    if not must_haves:
        return said
    names = ", ".join(must_haves)
    return (
        said
        + " "
        + ngettext(
            "A must-have among them: %(names)s.",
            "Must-haves among them: %(names)s.",
            len(must_haves),
        )
        % {"names": names}
    )


def _left_out(basis: Basis, n: int) -> str:
    match basis:
        case Basis.NO_RATE:
            return ngettext(
                "%(n)d item has no rate and is not included.",
                "%(n)d items have no rate and are not included.",
                n,
            )
        case Basis.NO_PURPOSE:
            return ngettext(
                "%(n)d item is left out because nobody has recorded what it is for.",
                "%(n)d items are left out because nobody has recorded what they are for.",
                n,
            )
        case Basis.LOOSE:
            return ngettext(
                "%(n)d item is loose and not counted, so it is not included.",
                "%(n)d items are loose and not counted, so they are not included.",
                n,
            )
        case Basis.COMES_BACK:
            return ngettext(
                "%(n)d item is reusable and is assumed to be in the kit.",
                "%(n)d items are reusable and are assumed to be in the kit.",
                n,
            )
        case Basis.DEMAND:
            return ""


def not_on_the_list() -> str:
    """That a plan knows nothing of what its list does not have."""
    return _("Items that are not on this list are not counted, however often they are needed.")


def usual_activity(activity: str, n: int, of: int) -> str:
    """Why a kit's plan begins with an activity."""
    return _(
        "This kit’s past trips were mostly for %(activity)s (%(n)d of %(of)d), so the numbers "
        "are for that activity. You can choose another activity below."
    ) % {"activity": activity, "n": n, "of": of}


def people_and_days(people: int, days: int) -> dict[str, str]:
    """How many people and days, in words."""
    return {
        "people": ngettext("%(n)s person", "%(n)s people", people) % {"n": number(people)},
        "days": ngettext("%(n)d day", "%(n)d days", days) % {"n": days},
    }


def such_a_trip(people: int, days: int, activity: str) -> str:
    """What trips are spoken of."""
    facts = {**people_and_days(people, days), "activity": activity}
    if activity:
        return _("“A trip like this” means %(people)s for %(days)s, %(activity)s.") % facts
    return _("“A trip like this” means %(people)s for %(days)s.") % facts


def no_rate() -> str:
    """Of an item for which nothing is known of how often it is needed."""
    return _("No rate: nobody has entered how often this item is needed, and no use is on record.")


def comes_back() -> str:
    """Of an item that a use does not use up."""
    return _(
        "This item is reused, so it does not run out. The record does not show how many are "
        "needed at one time."
    )


def serves_nothing() -> str:
    """Of an item that nobody said what it is for."""
    return _("Nobody has recorded yet what this item is for, so nothing can be worked out.")


def loose() -> str:
    """Of what nobody counts."""
    return _("Loose: it is not counted, so nothing can be worked out.")
