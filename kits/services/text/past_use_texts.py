"""What is said of what happened, and of how the last season went beside what was expected."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _, ngettext

from kits.rules.planning.back_test import Spread
from kits.rules.planning.seasons import Season
from kits.services.text.planning_texts import money, number
from kits.services.text.rate_texts import below as below_rate


def season(of: Season) -> str:
    """A season by its months: Jul – Sep 2026."""
    return f"{date_format(of.first, 'M')} – {date_format(of.last, 'M Y')}"


# ------------------------------------------------------------------------------- what happened
def known_trips(known: int, trips: int) -> str:
    """Of how many trips it is known what was used."""
    if not trips:
        return _("No kit of your gear rooms has come back from a trip yet.")
    facts = {"known": known, "trips": trips}
    if known == trips:
        return (
            ngettext(
                "Your gear rooms’ kits came back from %(trips)d trip, and what was used is known.",
                "Your gear rooms’ kits came back from %(trips)d trips, and what was used is known "
                "for all of them.",
                trips,
            )
            % facts
        )
    return (
        _(
            "What was used is known for %(known)d of %(trips)d trips of your gear rooms’ kits; "
            "after the others nobody counted."
        )
        % facts
    )


def in_season(of: Season, *, met: float, unmet: float, known: int, trips: int) -> str:
    """What a season's known trips used and did not find."""
    if not trips:
        return _("%(season)s: no trips.") % {"season": season(of)}
    return _("%(season)s: %(met)s used, %(unmet)s wanted and not there; %(trips)s.") % {
        "season": season(of),
        "met": number(met),
        "unmet": number(unmet),
        "trips": of_trips(known, trips),
    }


def of_trips(known: int, trips: int) -> str:
    """So many trips known of so many."""
    return ngettext(
        "known for %(known)d of %(trips)d trip", "known for %(known)d of %(trips)d trips", trips
    ) % {"known": known, "trips": trips}


def times(count: int) -> str:
    """How often something was wanted."""
    return ngettext("once", "%(n)d times", count) % {"n": count}


def never_used(*, days: float, known: int, trips: int, below: float | None) -> str:
    """How much is known of an item that was never used, and what that can bear: `below` uses a
    day."""
    said = _("None used in %(days)s participant-days, %(trips)s.") % {
        "days": number(days),
        "trips": of_trips(known, trips),
    }
    return said if below is None else f"{said} {below_rate(below * 1000)}"


def spent(by_currency: Mapping[str, Decimal], unpriced: int) -> str:
    """What all that was thrown out cost."""
    parts = []
    if by_currency:
        sums = " + ".join(money(amount, code) for code, amount in by_currency.items())
        parts.append(_("Thrown out unused: %(money)s at what was paid last.") % {"money": sums})
    if unpriced:
        parts.append(
            ngettext(
                "%(n)d item has no price on record and is not in this.",
                "%(n)d items have no price on record and are not in this.",
                unpriced,
            )
            % {"n": unpriced}
        )
    return " ".join(parts)


# ------------------------------------------------------------------------------- the back-test
def _from(earlier: Sequence[Season]) -> str:
    if len(earlier) == 1:
        return _("From %(season)s alone") % {"season": season(earlier[0])}
    return _("From %(first)s to %(last)s") % {
        "first": season(earlier[0]),
        "last": season(earlier[-1]),
    }


def expected_shortages(earlier: Sequence[Season], of: Season, spread: Spread) -> str:
    """How many shortages were expected of the last season, and how many there were."""
    return _(
        "%(earlier)s it expected %(expected)s shortages in %(season)s; there were %(happened)s."
    ) % _facts(earlier, of, spread)


def expected_uses(earlier: Sequence[Season], of: Season, spread: Spread) -> str:
    """How many uses were expected of the last season, and how many there were."""
    return _(
        "%(earlier)s it expected %(expected)s uses in %(season)s; there were %(happened)s."
    ) % _facts(earlier, of, spread)


def _facts(earlier: Sequence[Season], of: Season, spread: Spread) -> dict[str, str]:
    return {
        "earlier": _from(earlier),
        "season": season(of),
        "expected": number(spread.expected),
        "happened": number(spread.happened),
    }


def chance_alone(of: Spread) -> str:
    """How far chance alone would spread what happens, and whether it did."""
    facts = {"low": of.low, "high": of.high}
    if of.low == of.high:
        said = _("Of ten such seasons, nine would have %(low)d.") % facts
    else:
        said = _("Of ten such seasons, nine would have from %(low)d to %(high)d.") % facts
    if of.by_chance:
        return f"{said} " + _("What happened lies within that.")
    if of.happened > of.high:
        return f"{said} " + _("What happened lies above that: rely on these numbers less.")
    return f"{said} " + _("What happened lies below that: rely on these numbers less.")


def average(expected: float) -> str:
    """What was expected of one need, with one decimal place."""
    if 0 < expected < 0.1:
        return _("under %(least)s") % {"least": number(0.1)}
    return number(expected)


def no_test() -> str:
    """Why nothing can be compared yet."""
    return _(
        "This compares the last three months that are over with what was expected of them from "
        "all that was on record before. It needs known trips in two such seasons; come back then."
    )


def tested_trips(trips: int, not_counted: int) -> str:
    """How many trips of the last season are compared."""
    said = ngettext(
        "%(n)d trip of a kit is compared.", "%(n)d trips of kits are compared.", trips
    ) % {"n": trips}
    if not not_counted:
        return said
    left = ngettext(
        "%(n)d more is left out: nobody counted what was used.",
        "%(n)d more are left out: nobody counted what was used.",
        not_counted,
    ) % {"n": not_counted}
    return f"{said} {left}"


def without_rate(need: str, uses: float) -> str:
    """A need that nothing was expected of."""
    return _("%(need)s: used %(times)s, with no rate before it") % {
        "need": need,
        "times": number(uses),
    }
