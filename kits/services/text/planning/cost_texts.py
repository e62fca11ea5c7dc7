"""What is said of what carrying costs and of what goes out of date unused. Never a price of a met
need, and never that something should be left out."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.rules.planning.shares import Guess, guess
from kits.rules.planning.waste import DAYS_A_YEAR, YearlyCost
from kits.services.text.planning.planning_texts import money, number, of_100_trips

ADVISER_DECIDES = _lazy("Your adviser decides.")


def carrying_cost(
    carrying: Decimal | None, waste: Decimal | None, currency: str, *, if_unused: bool
) -> str:
    """What a line comes to in a year; `if_unused`: as if none of it were used."""
    if carrying is None or waste is None:
        return ""
    facts = {"carrying": money(carrying, currency), "waste": money(waste, currency)}
    if if_unused:
        return _("Carrying this item costs %(carrying)s a year here if none is used.") % facts
    if not waste:
        return _("Carrying this item costs %(carrying)s a year here.") % facts
    return (
        _(
            "Carrying this item costs %(carrying)s a year here; %(waste)s of that is for units "
            "that go out of date unused."
        )
        % facts
    )


def kept_cost(carrying: Decimal, currency: str) -> str:
    """What a line comes to in a year whose item comes back after each use."""
    if not carrying:
        return _("This item is reused, so it costs nothing a year here.")
    return _(
        "This item is reused. Replacing expired or lost ones costs %(carrying)s a year here."
    ) % {"carrying": money(carrying, currency)}


def whole_cost(by_currency: Mapping[str, YearlyCost], *, not_known: int) -> str:
    """What all lines come to in a year; of so many it is `not_known`."""
    if not by_currency:
        return _("No delivery on record has a price, so we do not know what this list costs.")
    facts = {
        "carrying": " + ".join(money(each.carrying, code) for code, each in by_currency.items()),
        "waste": " + ".join(money(each.waste, code) for code, each in by_currency.items()),
    }
    if not_known:
        return (
            _(
                "One kit costs at least %(carrying)s a year; at least %(waste)s of that is "
                "for units that go out of date unused."
            )
            % facts
        )
    return (
        _(
            "One kit costs %(carrying)s a year; %(waste)s of that is for units that go out "
            "of date unused."
        )
        % facts
    )


def not_in_the_sum(*, not_known: int, loose: int) -> list[str]:
    """What the sum of a list leaves out."""
    said = []
    if not_known:
        said.append(
            ngettext(
                "%(n)d item is not included: its price or its expiry date is not on record.",
                "%(n)d items are not included: their prices or expiry dates are not on record.",
                not_known,
            )
            % {"n": not_known}
        )
    if loose:
        said.append(
            ngettext(
                "%(n)d item is loose and not counted, so it is not included.",
                "%(n)d items are loose and not counted, so they are not included.",
                loose,
            )
            % {"n": loose}
        )
    return said


def no_price() -> str:
    """Of an item whose deliveries say no price."""
    return _("No delivery of this item has a price on record, so we do not know what it costs.")


def no_shelf_life() -> str:
    """Of an item that needs a date, with no delivery that had one."""
    return _(
        "No delivery of this item has an expiry date on record, so we do not know how "
        "long it keeps."
    )


def none_used(days: float, *, too_few: bool, years: int) -> str:
    """What it means that nothing for a need was used: `too_few` days to tell whether one kit needs
    it once in so many years."""
    facts = {"days": number(days), "years": years}
    if too_few:
        return (
            _(
                "Nothing for this need was used in %(days)s participant-days, which is too few "
                "to call the need rare. Something that one kit needs once in %(years)d years "
                "may simply not have come up yet."
            )
            % facts
        )
    return (
        _(
            "Nothing for this need was used in %(days)s participant-days: this need very likely "
            "comes up less than once in %(years)d years for one kit like this."
        )
        % facts
    )


def no_purpose() -> str:
    """Of an item that nobody said what it is for."""
    return _(
        "Nobody has recorded yet what this item is for, so we do not know how often it is needed."
    )


def hours_to_care(hours: Decimal | None) -> str:
    """How long definitive care was away on such trips, at most."""
    if hours is None:
        return _("It is not on record how many hours away a hospital or doctor was on these trips.")
    return ngettext(
        "On these trips, a hospital or doctor was up to %(hours)s hour away.",
        "On these trips, a hospital or doctor was up to %(hours)s hours away.",
        1 if hours == 1 else 2,
    ) % {"hours": number(hours)}


def keeps_for(days: int) -> str:
    """How long something keeps: in days up to two months, then in months and years."""
    if days < 60:
        return ngettext("%(n)d day", "%(n)d days", days) % {"n": days}
    years, months = divmod(round(days / (DAYS_A_YEAR / 12)), 12)
    in_years = ngettext("%(n)d year", "%(n)d years", years) % {"n": years}
    in_months = ngettext("%(n)d month", "%(n)d months", months) % {"n": months}
    if years and months:
        return _("%(years)s and %(months)s") % {"years": in_years, "months": in_months}
    return in_years if years else in_months


def instead(names: Sequence[str]) -> str:
    """What else in the same kit serves the same need."""
    if not names:
        return _("Nothing else on this list serves the same need.")
    return _("Also on this list for the same need: %(names)s.") % {"names": ", ".join(names)}


# ------------------------------------------------------------------------------- expires unused
def of_100_units(unused: int) -> str:
    """How many of a hundred units bought like this go out of date unused."""
    if unused == 100:
        return _("Out of 100 bought like this, nearly all go out of date unused.")
    if unused == 0:
        return _("Out of 100 bought like this, hardly any go out of date unused.")
    return ngettext(
        "Out of 100 bought like this, %(n)d goes out of date unused.",
        "Out of 100 bought like this, %(n)d go out of date unused.",
        unused,
    ) % {"n": unused}


def unused_not_known() -> str:
    """Of an item that has an expiry date and no rate."""
    return _("We do not know how many go out of date unused, because this item has no rate.")


def no_date() -> str:
    """Of an item that does not expire."""
    return _("This item has no expiry date, so it never goes out of date.")


def replaced_at_its_date() -> str:
    """Of a dated item that comes back after each use."""
    return _("This item is replaced when it goes out of date.")


def fewer(
    quantity: int, *, now: int, saved: Decimal, currency: str, runs_out: float, runs_out_now: float
) -> str:
    """What a smaller quantity comes to than that of `now`, with what it gives up."""
    return _(
        "With %(quantity)d instead of %(now)d, %(money)s less would go out of date each year. "
        "Out of 100 trips like this, %(then)s would need more than is carried; with %(now)d it "
        "is %(before)s."
    ) % {
        "quantity": quantity,
        "now": now,
        "money": money(saved, currency),
        "then": of_100_trips(runs_out),
        "before": of_100_trips(runs_out_now),
    }


def fewer_of(item: str, says: str) -> str:
    """What a smaller quantity of an item comes to."""
    return f"{item}: {says}"


def named(item: str, *, must_have: bool) -> str:
    """An item in a list of several; what is a must-have says so."""
    return _("%(item)s (must-have)") % {"item": item} if must_have else item


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
        "On %(n)d of %(of)d past trips another kit carried this item too: one for both may be "
        "enough.",
        "On %(n)d of %(of)d past trips another kit carried this item too: one for both may be "
        "enough.",
        of,
    ) % {"n": trips, "of": of}


def batch_left(expected: float, units: int) -> str:
    """How many units of a batch in a kit are expected to go out of date unused."""
    if units == 1:
        return {
            Guess.UNLIKELY: _("This item will probably be used in time."),
            Guess.OPEN: _("This item may be used in time, or it may go out of date unused."),
            Guess.LIKELY: _("This item will probably go out of date unused."),
        }[guess(expected)]
    left = round(expected)
    facts = {"all": _("Both") if units == 2 else _("All %(n)d") % {"n": units}}
    if left == 0:
        return _("%(all)s will probably be used in time.") % facts
    if left == units:
        return _("%(all)s will probably go out of date unused.") % facts
    return ngettext(
        "Of these %(units)d, about one will probably go out of date unused.",
        "Of these %(units)d, about %(n)d will probably go out of date unused.",
        left,
    ) % {"units": units, "n": left}
