"""What a season wasted and saved, in one line: true as far as prices are known, and it says how far
that is."""

from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.rules.buying.season_money import Amounts, Cause, Compared, SeasonMoney, Worth
from kits.rules.planning.seasons import season_of
from kits.services.text.planning import past_use_texts
from kits.services.text.planning.planning_texts import money

_CAUSES: Mapping[Cause, str | Promise] = {
    Cause.OUT_OF_DATE: _lazy("out of date"),
    Cause.BOUGHT_KIT: _lazy("from bought kits"),
    Cause.OTHER: _lazy("for other reasons"),
}


def line(of: SeasonMoney, today: date) -> str:
    """All of it; empty where nothing was thrown away, saved or compared."""
    before = of.year_before or Worth()
    parts = [_wasted(of)] if of.all_wasted.units or before.units else []
    parts += [_extras(of.extras)] if of.extras.units else []
    parts += [_bought(of.bought)] if of.bought.units else []
    if not parts:
        return ""
    season = past_use_texts.season(season_of(today))
    return _("%(season)s: %(says)s") % {"season": season, "says": " ".join(parts)}


def _wasted(of: SeasonMoney) -> str:
    if not of.all_wasted.units:
        text = _("Nothing was thrown away unused")
    else:
        causes = ", ".join(f"{_CAUSES[cause]} {_worth(of.wasted[cause])}" for cause in of.wasted)
        text = _("Thrown away unused: %(all)s (%(causes)s)") % {
            "all": _worth(of.all_wasted),
            "causes": causes,
        }
    if of.year_before is not None:
        before = _worth(of.year_before) if of.year_before.units else _("nothing")
        text += _("; in the same weeks a year ago: %(before)s") % {"before": before}
    return f"{text}."


def _worth(of: Worth) -> str:
    """What units would cost at the last price paid, and how many have no price."""
    return " + ".join(_priced(of))


def _priced(of: Worth) -> Iterator[str]:
    yield from _amounts(of.amounts)
    if of.unpriced:
        yield ngettext(
            "%(n)d unit without a price", "%(n)d units without a price", of.unpriced
        ) % {"n": of.unpriced}  # fmt: skip


def _amounts(of: Amounts) -> Iterator[str]:
    return (money(amount, code) for code, amount in of.items())


def _extras(of: Worth) -> str:
    if not of.amounts:
        text = ngettext(
            "%(n)d extra from bought kits went into a kit; no price for it is on record.",
            "%(n)d extras from bought kits went into kits; no price for them is on record.",
            of.units,
        )
        return text % {"n": of.units}
    text = ngettext(
        "%(n)d extra from bought kits went into a kit: it would have cost %(worth)s.",
        "%(n)d extras from bought kits went into kits: they would have cost %(worth)s.",
        of.units,
    )
    return text % {"n": of.units, "worth": _worth(of)}


def _bought(of: Compared) -> str:
    less = {code: amount for code, amount in of.less.items() if amount > 0}
    more = {code: -amount for code, amount in of.less.items() if amount < 0}
    parts = []
    if less:
        parts.append(_("%(money)s less") % {"money": _sum(less)})
    if more:
        parts.append(_("%(money)s more") % {"money": _sum(more)})
    text = ngettext(
        "%(n)d unit was bought for %(difference)s than at the previous price.",
        "%(n)d units were bought for %(difference)s than at the previous prices.",
        of.units,
    )
    if not parts:
        text = ngettext(
            "%(n)d unit was bought for the same amount as at the previous price.",
            "%(n)d units were bought for the same amount as at the previous prices.",
            of.units,
        )
    return text % {"n": of.units, "difference": _(" and ").join(parts)}


def _sum(of: Mapping[str, Decimal]) -> str:
    return " + ".join(_amounts(of))
