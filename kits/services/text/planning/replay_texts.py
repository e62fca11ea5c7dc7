"""What is said of a list taken on past trips."""

from collections import Counter
from collections.abc import Iterable, Sequence
from decimal import Decimal

from django.utils.translation import gettext as _, ngettext

from kits.rules.planning.replay import Replay, Shortage
from kits.services.text.planning.planning_texts import money, number, times


def of_all_kits(trips: int) -> str:
    """That no kit follows a list, so that it is taken on every known trip."""
    if not trips:
        return _("No kit uses this list, and no trip with another kit is on record yet.")
    return ngettext(
        "No kit uses this list yet. This is based on the one trip on record, whichever kit was "
        "taken.",
        "No kit uses this list yet. This is based on all %(n)d trips on record, whichever kits "
        "were taken.",
        trips,
    ) % {"n": trips}


def whose_trips(trips: int, kits: Sequence[str], others: int) -> str:
    """Whose trips are looked at: kits by name, and how many of other gear rooms."""
    names = list(kits)
    if others:
        names.append(
            ngettext("%(n)d kit from another gear room", "%(n)d kits from other gear rooms", others)
            % {"n": others}
        )
    facts = {"n": trips, "kits": ", ".join(names)}
    if not trips:
        return _("No trip with %(kits)s is on record yet.") % facts
    return (
        ngettext(
            "Based on %(n)d recorded trip with %(kits)s.",
            "Based on %(n)d recorded trips with %(kits)s.",
            trips,
        )
        % facts
    )


def replayed(of: Replay) -> list[str]:
    """On how many of past trips a list lacks something, each reason by itself."""
    if not of.counted:
        return [_("No past trip has a record yet of what was used.")]
    if not of.shortages and of.perhaps_trips:
        said = [_("Nothing was noted as missing.")]
    elif not of.shortages:
        said = [
            ngettext(
                "On that trip, this list would have had enough of everything that was needed.",
                "On all these trips, this list would have had enough of everything that was "
                "needed.",
                of.counted,
            )
        ]
    else:
        said = [_not_on_list(of.not_on_list_trips), _ran_out(of.ran_out_trips)]
    if of.stood_in_trips:
        said.append(_stood_in(of.stood_in_trips))
    if of.perhaps_trips:
        said.append(_perhaps(of.perhaps_trips, also=bool(of.shortages)))
    return said


def _not_on_list(trips: int) -> str:
    if not trips:
        return _("Nothing was needed that is not on this list.")
    return ngettext(
        "On %(n)d trip, something was needed that is not on this list at all.",
        "On %(n)d trips, something was needed that is not on this list at all.",
        trips,
    ) % {"n": trips}


def _ran_out(trips: int) -> str:
    if not trips:
        return _("As far as is known, nothing on this list would have run out.")
    return ngettext(
        "On %(n)d trip, something on this list would have run out.",
        "On %(n)d trips, something on this list would have run out.",
        trips,
    ) % {"n": trips}


def _stood_in(trips: int) -> str:
    return ngettext(
        "On %(n)d trip, there was not enough of an item, but something else on this list "
        "would have done instead.",
        "On %(n)d trips, there was not enough of an item, but something else on this list "
        "would have done instead.",
        trips,
    ) % {"n": trips}


def _perhaps(trips: int, *, also: bool) -> str:
    if also:
        return ngettext(
            "On %(n)d more trip, something may have run out: everything that was carried "
            "was used up.",
            "On %(n)d more trips, something may have run out: everything that was carried "
            "was used up.",
            trips,
        ) % {"n": trips}
    return ngettext(
        "On %(n)d trip, something may have run out: everything that was carried was used up.",
        "On %(n)d trips, something may have run out: everything that was carried was used up.",
        trips,
    ) % {"n": trips}


def as_now(now: Replay) -> str:
    """The same two of the version in use."""
    if not now.shortages:
        return _("The version in use would have had enough of everything that was needed.")
    return _(
        "The version in use: something that is not on it was needed on %(absent)s; something "
        "on it would have run out on %(ran_out)s."
    ) % {"absent": _trips(now.not_on_list_trips), "ran_out": _trips(now.ran_out_trips)}


def _trips(count: int) -> str:
    if not count:
        return _("no trip")
    return ngettext("%(n)d trip", "%(n)d trips", count) % {"n": count}


def shortage(item: str, short: Shortage) -> str:
    """What a trip lacked; *at least* where all that was carried then went."""
    facts = {"item": item, "wanted": number(short.wanted), "lacking": number(short.lacking)}
    facts["stood_in"] = number(short.stood_in)
    if short.stood_in and not short.lacking and short.at_least:
        return (
            _(
                "%(item)s: at least %(wanted)s needed; for %(stood_in)s of them something else "
                "would have done"
            )
            % facts
        )
    if short.stood_in and not short.lacking:
        return (
            _(
                "%(item)s: %(wanted)s needed; for %(stood_in)s of them something else would have "
                "done"
            )
            % facts
        )
    if not short.lacking:
        return _("%(item)s: at least %(wanted)s needed") % facts
    if short.at_least:
        return (
            _(
                "%(item)s: at least %(wanted)s needed, at least %(lacking)s short (everything "
                "was used up)"
            )
            % facts
        )
    if not short.on_list:
        return _("%(item)s: %(wanted)s needed") % facts
    return _("%(item)s: %(wanted)s needed, %(lacking)s short") % facts


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
        return _("This version weighs the same as the version in use.")
    return (
        _("This version weighs %(g)s g less than the version in use.")
        if grams > 0
        else _("This version weighs %(g)s g more than the version in use.")
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
        return _("With the version in use, the same amount of money is thrown away.")
    return (
        _("With this list, %(money)s less is thrown away.")
        if amount > 0
        else _("With this list, %(money)s more is thrown away.")
    ) % facts


def not_counted(trips: int, wants: int) -> str:
    """Trips that a replay leaves out, and what was noted as not there on them."""
    said = ngettext(
        "%(n)d trip is left out: what was used was not counted when the kit came back.",
        "%(n)d trips are left out: what was used was not counted when the kits came back.",
        trips,
    ) % {"n": trips}
    if not wants:
        return said
    left = ngettext(
        "%(n)d item noted as missing on those trips is also left out.",
        "%(n)d items noted as missing on those trips are also left out.",
        wants,
    ) % {"n": wants}
    return f"{said} {left}"


def own_words(words: Sequence[str], others: int) -> str:
    """Wants in somebody's own words, which no list can be asked for; `others` are of kits that the
    reader may not read about."""
    count = len(words) + others
    said = _listed(words)
    if others:
        said.append(
            ngettext("%(n)d from another gear room", "%(n)d from other gear rooms", others)
            % {"n": others}
        )
    return ngettext(
        "%(n)d missing item that was noted in somebody’s own words is not counted here: %(words)s.",
        "%(n)d missing items that were noted in people’s own words are not counted here: "
        "%(words)s.",
        count,
    ) % {"n": count, "words": ", ".join(said)}


def _listed(words: Iterable[str]) -> list[str]:
    """Each once, with how often where it is more."""
    return [
        each if count == 1 else _("%(words)s (%(times)s)") % {"words": each, "times": times(count)}
        for each, count in Counter(words).items()
    ]
