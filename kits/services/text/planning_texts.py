"""What is said of plans: sentences of the numbers that `kits.services.planning` works out.

Chances are said as trips of so many, never in percent alone; a sentence says no more than its
numbers can bear.
"""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from django.utils import formats
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.models import NeedGroup, RateSource, StatedRate
from kits.rules.planning.quantities import Bar
from kits.rules.planning.recorded_use import SHOWN_FROM, Bears, RecordedUse
from kits.rules.planning.replay import Shortage
from kits.rules.planning.shares import Share, few_in_many, one_in, share
from kits.rules.planning.studies import STUDIES
from kits.rules.planning.waste import YearlyCost

CAUTION = _lazy(
    "What a kit contains, and who may use it, is decided by your medical adviser, your protocols, "
    "local law and each person’s training. This is arithmetic on your own records; it never says "
    "that anything should be left out."
)
ADVISER_DECIDES = _lazy("Your adviser decides.")


def number(value: float | Decimal) -> str:
    """A number with as many digits as matter: 1,234 · 12 · 4.3 · 0.85 · 0.004."""
    size = abs(float(value))
    places = 0 if size >= 10 else 1 if size >= 1 else 2
    plain = f"{value:.{places}f}" if size >= 0.095 or not size else f"{Decimal(f'{value:.1g}'):f}"
    short = plain.rstrip("0").rstrip(".") if "." in plain else plain
    return formats.number_format(Decimal(short), force_grouping=True)


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


# ------------------------------------------------------------------------------- rates
_GROUPS = {
    NeedGroup.WOUNDS: _lazy("Wounds and bleeding"),
    NeedGroup.FEET: _lazy("Feet and skin"),
    NeedGroup.LIMBS: _lazy("Sprains and broken bones"),
    NeedGroup.ILLNESS: _lazy("Pain and illness"),
    NeedGroup.ALLERGY: _lazy("Bites, stings and allergy"),
    NeedGroup.HEAT_COLD: _lazy("Heat and cold"),
    NeedGroup.SEVERE: _lazy("Life-threatening"),
    NeedGroup.PROTECTION: _lazy("Protection of whoever helps"),
}


def group(value: str) -> str:
    """What a group of needs is called."""
    return str(_GROUPS[NeedGroup(value)])


def prior(stated: StatedRate | None) -> str:
    """What was stated of a need before our own records, and by whom."""
    if stated is None:
        return _("Nobody has stated a rate.")
    name = stated.stated_by.name if stated.stated_by else _("the program")
    if stated.per_1000 is None:
        return _("Left blank by %(name)s.") % {"name": name}
    facts = {"rate": number(stated.per_1000), "name": name}
    if stated.source == RateSource.STUDY:
        study = next((each for each in STUDIES if each.key == stated.study), None)
        if study is not None:
            facts |= {"authors": study.authors, "year": str(study.year)}
            return _("%(rate)s per 1,000, published by %(authors)s, %(year)s.") % facts
    return _("%(rate)s per 1,000, stated by %(name)s.") % facts


def recorded(uses: float, days: float, *, at_least: bool = False) -> str:
    """What our own records hold of a need; `at_least`: more may have been used."""
    if not days:
        return _("No known trips yet.")
    facts = {"n": number(uses), "days": number(days)}
    if not uses:
        if at_least:
            return _("None for certain in %(days)s participant-days.") % facts
        return _("None needed in %(days)s participant-days.") % facts
    one = 1 if uses == 1 else 2
    if at_least:
        return (
            ngettext(
                "Needed at least once in %(days)s participant-days.",
                "Needed at least %(n)s times in %(days)s participant-days.",
                one,
            )
            % facts
        )
    return (
        ngettext(
            "Needed once in %(days)s participant-days.",
            "Needed %(n)s times in %(days)s participant-days.",
            one,
        )
        % facts
    )


def study_rate(what: str, per_1000: float) -> str:
    """What a study found of something."""
    return _("%(what)s: %(rate)s per 1,000.") % {"what": what, "rate": number(per_1000)}


def too_little() -> str:
    """Of a handful of days."""
    return _("Too little to say.")


def below(per_1000: float) -> str:
    """What can be said where no use was recorded."""
    return _("So we can be 95 %% sure that it is below %(rate)s per 1,000 participant-days.") % {
        "rate": number(per_1000)
    }


def between(mean: float, low: float, high: float) -> str:
    """A rate and the middle 90 % of what is believed of it, per 1,000."""
    return _(
        "About %(mean)s per 1,000 participant-days; we can be 90 %% sure that it is between "
        "%(low)s and %(high)s."
    ) % {"mean": number(mean), "low": number(low), "high": number(high)}


def bears(of: RecordedUse) -> list[str]:
    """What our records hold of a need, and what that can bear."""
    said = [recorded(of.uses, of.days, at_least=of.at_least)]
    match of.bears:
        case Bears.NOTHING if of.days:
            said.append(too_little())
        case Bears.NONE_USED if of.high is not None:
            said.append(below(of.high * 1000))
        case Bears.TOO_FEW:
            said.append(_("Too few to say how often: it is shown from %d uses on.") % SHOWN_FROM)
        case Bears.RATE if of.low is not None and of.high is not None:
            said.append(between(of.uses / of.days * 1000, of.low * 1000, of.high * 1000))
    return said


def known_trips(known: int, trips: int) -> str:
    """Of how many trips it is known what was used."""
    return ngettext(
        "Known for %(known)d of %(trips)d trip.", "Known for %(known)d of %(trips)d trips.", trips
    ) % {"known": known, "trips": trips}


# ------------------------------------------------------------------------------- what it costs
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


# ------------------------------------------------------------------------------- replay
def replayed(trips: int, short: int) -> str:
    """On how many of past trips a list runs short."""
    if not trips:
        return _("There is no past trip yet of which it is known what was used.")
    facts = {"n": short, "trips": trips}
    if trips == 1:
        return (
            _("On your one known trip it runs short.")
            if short
            else _("On your one known trip it does not run short.")
        )
    if not short:
        return _("On your %(trips)d known trips it never runs short.") % facts
    return (
        ngettext(
            "On your %(trips)d known trips it runs short once.",
            "On your %(trips)d known trips it runs short on %(n)d.",
            short,
        )
        % facts
    )


def short_now(trips: int) -> str:
    """On how many of the same trips the version in use runs short."""
    if not trips:
        return _("The version in use never runs short on them.")
    return ngettext(
        "The version in use runs short on one of them.",
        "The version in use runs short on %(n)d of them.",
        trips,
    ) % {"n": trips}


def shortage(item: str, short: Shortage) -> str:
    """What a trip lacked; *at least* where all that was carried then went."""
    facts = {"item": item, "wanted": short.wanted, "lacking": short.lacking}
    if short.at_least:
        return (
            _("%(item)s: at least %(wanted)d wanted, at least %(lacking)d short (all went)") % facts
        )
    return _("%(item)s: %(wanted)d wanted, %(lacking)d short") % facts


def weighs_less(grams: int, unknown: int) -> str:
    """How much it weighs beside the version that is followed now; `unknown`: changed items without
    a weight."""
    if unknown:
        return ngettext(
            "%(n)d changed item has no weight on record, so the difference in weight is not known.",
            "%(n)d changed items have no weight on record, so the difference in weight is not "
            "known.",
            unknown,
        ) % {"n": unknown}
    facts = {"g": number(abs(grams))}
    if not grams:
        return _("It weighs the same as the version in use.")
    return (
        _("It carries %(g)s g less than the version in use.")
        if grams > 0
        else _("It carries %(g)s g more than the version in use.")
    ) % facts


def wastes_less(amount: Decimal, currency: str, unknown: int) -> str:
    """How much money it throws away beside the version that is followed now; `unknown`: changed
    items without a price."""
    if unknown:
        return ngettext(
            "%(n)d changed item has no price on record, so the difference in money is not known.",
            "%(n)d changed items have no price on record, so the difference in money is not known.",
            unknown,
        ) % {"n": unknown}
    facts = {"money": money(abs(amount), currency)}
    if not amount:
        return _("It throws away as much money as the version in use.")
    return (
        _("It throws away %(money)s less.") if amount > 0 else _("It throws away %(money)s more.")
    ) % facts


def not_counted(trips: int) -> str:
    """Trips that a replay leaves out."""
    return ngettext(
        "%(n)d trip is left out: the kit came back and nobody counted what was used.",
        "%(n)d trips are left out: the kit came back and nobody counted what was used.",
        trips,
    ) % {"n": trips}
