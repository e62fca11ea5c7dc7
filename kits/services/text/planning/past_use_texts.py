"""What is said of what happened, and of how the last season went beside what was expected."""

from collections.abc import Mapping
from decimal import Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _, ngettext

from kits.rules.planning.records.recorded_use import RecordedUse
from kits.rules.planning.seasons import Season
from kits.services.text.planning.planning_texts import money, number, times
from kits.services.text.planning.rate_texts import bears


def season(of: Season) -> str:
    """A season by its months: Jul – Sep 2026."""
    return f"{date_format(of.first, 'M')} – {date_format(of.last, 'M Y')}"


# ------------------------------------------------------------------------------- what happened
def known_trips(known: int, trips: int) -> str:
    """Of how many trips it is known what was used."""
    if not trips:
        return _("No kit from your gear rooms has come back from a trip yet.")
    facts = {"known": known, "trips": trips}
    if known == trips:
        return (
            ngettext(
                "Kits from your gear rooms came back from %(trips)d trip, and what was "
                "used is on record.",
                "Kits from your gear rooms came back from %(trips)d trips, and what was used "
                "is on record for all of them.",
                trips,
            )
            % facts
        )
    return (
        _(
            "We know what was used on %(known)d of %(trips)d trips with kits from your gear "
            "rooms; after the others, nothing was counted."
        )
        % facts
    )


def season_name(of: Season, *, over: bool) -> str:
    """A season in a chart or a table: marked while it is not over."""
    if over:
        return season(of)
    return _("%(season)s (not finished)") % {"season": season(of)}


def in_season(
    of: Season, *, over: bool, met: float, at_least: bool, unmet: int, known: int, trips: int
) -> str:
    """What a season's known trips used and did not find."""
    name = season_name(of, over=over)
    if not trips:
        return _("%(season)s: no trips.") % {"season": name}
    return _("%(season)s: %(met)s used, %(unmet)s needed but not in the kit; %(trips)s.") % {
        "season": name,
        "met": used(met, at_least=at_least),
        "unmet": number(unmet),
        "trips": of_trips(known, trips),
    }


def item_in_season(of: Season, *, over: bool, used: int, unmet: int) -> str:
    """What a season used of an item, and how often it was wanted and not there."""
    return _("%(season)s: %(used)s used, %(unmet)s needed but not in the kit.") % {
        "season": season_name(of, over=over),
        "used": number(used),
        "unmet": number(unmet),
    }


def used(count: float, *, at_least: bool) -> str:
    """So many uses, or at least so many."""
    plain = number(count)
    return _("at least %(n)s") % {"n": plain} if at_least else plain


def of_trips(known: int, trips: int) -> str:
    """So many trips known of so many."""
    return ngettext(
        "known for %(known)d of %(trips)d trip",
        "known for %(known)d of %(trips)d trips",
        trips,
    ) % {"known": known, "trips": trips}


def not_there(count: int, not_on_list: int) -> str:
    """How often something was noted as not there, and how often because no list carried it."""
    said = times(count)
    if not not_on_list:
        return said
    if not_on_list == count:
        return _("%(times)s, with nothing for this need on the kit’s list") % {"times": said}
    return _("%(times)s, of which %(absent)s with nothing for this need on the kit’s list") % {
        "times": said,
        "absent": times(not_on_list),
    }


def total_not_there(wants: int) -> str:
    """What counts as wanted and not there."""
    return ngettext(
        "%(n)d missing item was noted. Each note made on a kit’s trip counts once, whether or "
        "not the item was on the list. Notes in people’s own words count too.",
        "%(n)d missing items were noted. Each note made on a kit’s trip counts once, whether "
        "or not the item was on the list. Notes in people’s own words count too.",
        wants,
    ) % {"n": wants}


def met_otherwise(uses: float, *, at_least: bool) -> str:
    """Of an item that was never used, though what it is for came up."""
    if not uses:
        return ""
    facts = {"times": times(int(uses) or uses if at_least else uses)}
    if at_least:
        return (
            _(
                "the need that this item is for came up at least %(times)s and was met with "
                "other items"
            )
            % facts
        )
    return (
        _("the need that this item is for came up %(times)s and was met with other items") % facts
    )


def never_used(of: RecordedUse, known: int, trips: int) -> str:
    """How much is known of an item that was never used, and what that can bear."""
    said = _("None used in %(days)s participant-days, %(trips)s.") % {
        "days": number(of.days),
        "trips": of_trips(known, trips),
    }
    return " ".join([said, *bears(of)[1:]])


def spent(by_currency: Mapping[str, Decimal], unpriced: int) -> str:
    """What all that was thrown out cost."""
    parts = []
    if by_currency:
        sums = " + ".join(money(amount, code) for code, amount in by_currency.items())
        parts.append(_("Thrown out unused: %(money)s at the last price paid.") % {"money": sums})
    if unpriced:
        parts.append(
            ngettext(
                "%(n)d item has no price on record and is not included.",
                "%(n)d items have no price on record and are not included.",
                unpriced,
            )
            % {"n": unpriced}
        )
    return " ".join(parts)
