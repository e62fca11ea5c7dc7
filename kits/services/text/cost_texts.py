"""What is said of what carrying costs and of what goes out of date unused. Never a price of a met
need, and never that something should be left out."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.rules.planning.waste import YearlyCost
from kits.services.text.planning_texts import money, number, wants_more

ADVISER_DECIDES = _lazy("Your adviser decides.")


def carrying_cost(
    carrying: Decimal | None, waste: Decimal | None, currency: str, *, if_unused: bool
) -> str:
    """What a line comes to in a year; `if_unused`: as if none of it were used."""
    if carrying is None or waste is None:
        return ""
    facts = {"carrying": money(carrying, currency), "waste": money(waste, currency)}
    if if_unused:
        return _("%(carrying)s a year here if none is used.") % facts
    if not waste:
        return _("%(carrying)s a year here.") % facts
    return _("%(carrying)s a year here; %(waste)s of it goes out of date unused.") % facts


def whole_cost(by_currency: Mapping[str, YearlyCost]) -> str:
    """What all lines come to in a year, of those whose price is known."""
    if not by_currency:
        return _("No delivery on record has a price, so what this list costs is not known.")
    return _("%(carrying)s a year for one kit, of which %(waste)s goes out of date unused.") % {
        "carrying": " + ".join(money(each.carrying, code) for code, each in by_currency.items()),
        "waste": " + ".join(money(each.waste, code) for code, each in by_currency.items()),
    }


def no_price() -> str:
    """Of an item whose deliveries say no price."""
    return _("No delivery on record has its price, so what it costs is not known.")


def no_shelf_life() -> str:
    """Of an item that needs a date, with no delivery that had one."""
    return _("No delivery on record has its expiry date, so how long it keeps is not known.")


def too_few_to_judge(years: int, per_1000: float) -> str:
    """Why no use on record does not mean that none is needed."""
    return _(
        "That is too few to judge: one use in %(years)d years would be %(rate)s per 1,000."
    ) % {"years": years, "rate": number(per_1000)}


def hours_to_care(hours: Decimal | None) -> str:
    """How long definitive care was away on such trips, at most."""
    if hours is None:
        return _("Hours to care: not on record.")
    return _("Hours to care: up to %(hours)s.") % {"hours": number(hours)}


def instead(names: Sequence[str]) -> str:
    """What else in the same kit serves the same need."""
    if not names:
        return _("Nothing else on this list serves the same need.")
    return _("Also on this list for the same need: %(names)s.") % {"names": ", ".join(names)}


# ------------------------------------------------------------------------------- expires unused
def of_100_units(unused: int) -> str:
    """How many of a hundred units bought like this go out of date unused."""
    if unused == 100:
        return _("Nearly all of 100 bought like this go out of date unused.")
    if unused == 0:
        return _("Of 100 bought like this, hardly any goes out of date unused.")
    return ngettext(
        "Of 100 bought like this, %(n)d goes out of date unused.",
        "Of 100 bought like this, %(n)d go out of date unused.",
        unused,
    ) % {"n": unused}


def no_date() -> str:
    """Of an item that does not expire."""
    return _("It has no expiry date: none goes out of date.")


def fewer(now: int, quantity: int, chance: float, saved: Decimal, currency: str) -> str:
    """What a smaller quantity comes to, with what it gives up."""
    return _(
        "With %(quantity)d instead of %(now)d, %(money)s less a year would go out of date. %(says)s"
    ) % {
        "quantity": quantity,
        "now": now,
        "money": money(saved, currency),
        "says": wants_more(chance, quantity),
    }


def smaller_pack(units: int, carried: int) -> str:
    """Of packs that hold more than is carried."""
    return _(
        "The smallest pack on record holds %(units)d, and this list carries %(carried)d: a smaller "
        "pack would leave fewer to go out of date."
    ) % {"units": units, "carried": carried}


def undated(names: Sequence[str]) -> str:
    """Of items for the same need that do not expire."""
    return _("For the same need, without an expiry date: %(names)s.") % {"names": ", ".join(names)}


def shared(trips: int, of: int) -> str:
    """Of trips on which another kit carried the item too."""
    return ngettext(
        "On %(n)d of %(of)d past trips another kit carried it too: one for both may be enough.",
        "On %(n)d of %(of)d past trips another kit carried it too: one for both may be enough.",
        of,
    ) % {"n": trips, "of": of}


def batch_left(expected: float, units: int) -> str:
    """How many of a batch in a kit are expected to go out of date unused."""
    facts = {"n": number(expected), "units": units}
    if expected < 0.05:
        return ngettext(
            "Expected to be used in time.",
            "All %(units)d are expected to be used in time.",
            units,
        ) % {**facts}
    return (
        ngettext(
            "Of this one, %(n)s is expected to go out of date unused.",
            "Of these %(units)d, about %(n)s are expected to go out of date unused.",
            units,
        )
        % facts
    )
