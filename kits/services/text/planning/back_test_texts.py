"""What is said of how the last season went beside what was expected of it."""

from collections.abc import Callable, Mapping, Sequence

from django.utils.formats import date_format
from django.utils.translation import gettext as _, ngettext

from kits.rules.planning.back_test import LeftOut, Spread
from kits.rules.planning.seasons import Season
from kits.services.text.planning.past_use_texts import season, used
from kits.services.text.planning.planning_texts import number, times


def expected_shortages(
    earlier: Sequence[Season], of: Season, spread: Spread, *, at_least: bool
) -> str:
    """How many shortages were expected of the last season, and how many there were."""
    return _(
        "%(season)s: about %(expected)s shortages were expected, based on the records of "
        "%(earlier)s. On record: %(happened)s."
    ) % _facts(earlier, of, spread, at_least=at_least)


def expected_uses(earlier: Sequence[Season], of: Season, spread: Spread, *, at_least: bool) -> str:
    """How many uses were expected of the last season, and how many there were."""
    return _(
        "%(season)s: about %(expected)s uses were expected, based on the records of "
        "%(earlier)s. On record: %(happened)s."
    ) % _facts(earlier, of, spread, at_least=at_least)


def _facts(
    earlier: Sequence[Season], of: Season, spread: Spread, *, at_least: bool
) -> dict[str, str]:
    return {
        "earlier": _months(earlier),
        "season": season(of),
        "expected": number(spread.expected),
        "happened": used(spread.happened, at_least=at_least),
    }


def _months(of: Sequence[Season]) -> str:
    """From the first month to the last: Apr 2025 – Jun 2026."""
    first, last = of[0].first, of[-1].last
    if first.year == last.year:
        return f"{date_format(first, 'M')} – {date_format(last, 'M Y')}"
    return f"{date_format(first, 'M Y')} – {date_format(last, 'M Y')}"


def chance_alone(of: Spread, *, at_least: bool = False) -> str:
    """How far chance alone would spread what happens, and whether it did; `at_least`: not all of
    what happened is on record."""
    facts = {"low": number(of.low), "high": number(of.high)}
    if of.low == of.high:
        said = _("Nine out of ten seasons like this would have %(low)s.") % facts
    else:
        said = _("Nine out of ten seasons like this would have from %(low)s to %(high)s.") % facts
    if at_least and of.happened <= of.high:
        return f"{said} " + _(
            "The number on record is not above that, but not everything was counted: there may "
            "have been more."
        )
    if of.by_chance:
        return f"{said} " + _("The actual number agrees with that.")
    if of.happened > of.high:
        return f"{said} " + _("The actual number is above that: rely less on these numbers.")
    return f"{said} " + _("The actual number is below that: rely less on these numbers.")


def outside(needs: int, more: Sequence[str], less: Sequence[str]) -> str:
    """The needs that came up more or less often than chance explains, of so many."""
    if not needs:
        return ""
    count = len(more) + len(less)
    if not count:
        return ngettext(
            "The one need that had a rate came up about as often as expected.",
            "Each of the %(n)d needs that had a rate came up about as often as expected.",
            needs,
        ) % {"n": needs}
    said = ngettext(
        "%(count)d of %(n)d need came up more or less often than chance alone explains.",
        "%(count)d of %(n)d needs came up more or less often than chance alone explains.",
        needs,
    ) % {"count": count, "n": needs}
    parts = [said]
    if more:
        parts.append(_("More often than expected: %(names)s.") % {"names": ", ".join(more)})
        parts.append(_("Plans may include too few items for these needs."))
    if less:
        parts.append(_("Less often than expected: %(names)s.") % {"names": ", ".join(less)})
    parts.append(
        _("By chance alone, about 1 need in 10 would come up more or less often than expected.")
    )
    return " ".join(parts)


_LEFT_OUT: dict[LeftOut, Callable[[int], str]] = {
    LeftOut.NOT_ON_LIST: lambda n: ngettext(
        "%(n)d for which the kit’s list carried nothing",
        "%(n)d for which the kit’s list carried nothing",
        n,
    ),
    LeftOut.OWN_WORDS: lambda n: ngettext(
        "%(n)d noted in people’s own words", "%(n)d noted in people’s own words", n
    ),
    LeftOut.WITHOUT_RATE: lambda n: ngettext(
        "%(n)d for a need that had no rate before", "%(n)d for needs that had no rate before", n
    ),
    LeftOut.NOT_COUNTED: lambda n: ngettext(
        "%(n)d from a kit that was not counted", "%(n)d from kits that were not counted", n
    ),
    LeftOut.NO_NEED: lambda n: ngettext(
        "%(n)d of an item with no need recorded",
        "%(n)d of items with no need recorded",
        n,
    ),
}


def noted_wants(of: Season, wants: Mapping[LeftOut | None, int], beyond_list: int) -> str:
    """How what was noted as not there in a season comes to the shortages that are compared."""
    total, inside = sum(wants.values()), wants.get(None, 0)
    said = [
        ngettext(
            "In %(season)s, %(n)d item was noted as needed but not in the kit.",
            "In %(season)s, %(n)d items were noted as needed but not in the kit.",
            total,
        )
        % {"season": season(of), "n": total}
        if total
        else _("In %(season)s, nothing was noted as needed but not in the kit.")
        % {"season": season(of)}
    ]
    if total:
        said.append(
            ngettext(
                "%(n)d of them is among these shortages.",
                "%(n)d of them are among these shortages.",
                inside,
            )
            % {"n": inside}
            if inside
            else _("None of them is among these shortages.")
        )
    if left := [says(n) % {"n": n} for why, says in _LEFT_OUT.items() if (n := wants.get(why, 0))]:
        said.append(_("Left out: %(parts)s.") % {"parts": "; ".join(left)})
    if beyond_list:
        said.append(
            ngettext(
                "%(n)d shortage was not noted: more was used than the list says.",
                "%(n)d shortages were not noted: more was used than the list says.",
                beyond_list,
            )
            % {"n": beyond_list}
        )
    return " ".join(said)


def average(expected: float) -> str:
    """What was expected of one need, with one decimal place."""
    if 0 < expected < 0.1:
        return _("under %(least)s") % {"least": number(0.1)}
    return number(expected)


def no_test() -> str:
    """Why nothing can be compared yet."""
    return _(
        "This compares the last three complete months with what was expected for them from all "
        "earlier records. That needs trips on record in two such seasons, and there are not "
        "enough yet."
    )


def tested_trips(trips: int, not_counted: int) -> str:
    """How many trips of the last season are compared."""
    said = ngettext(
        "%(n)d trip with a kit is compared.", "%(n)d trips with a kit are compared.", trips
    ) % {"n": trips}
    if not not_counted:
        return said
    left = ngettext(
        "%(n)d more is left out: the kit was not counted afterwards.",
        "%(n)d more are left out: the kits were not counted afterwards.",
        not_counted,
    ) % {"n": not_counted}
    return f"{said} {left}"


def without_rate(need: str, uses: float) -> str:
    """A need that nothing was expected of."""
    return _(
        "%(need)s: needed %(times)s; this need had no rate before, so no number was expected."
    ) % {
        "need": need,
        "times": times(uses),
    }
