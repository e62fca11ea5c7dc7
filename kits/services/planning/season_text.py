"""What the page of a season says, part by part: the same on the page and on paper."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext

from kits.models import PackingListVersion
from kits.rules.ledger import Line
from kits.services.lists import look_again
from kits.services.lists.comparison import VersionsCompared
from kits.services.planning.past_use import NotThere, PastUse, ThrownOut
from kits.services.planning.season_page import Bought, SeasonPage
from kits.services.text import wording
from kits.services.text.planning import past_use_texts, rate_texts
from kits.services.text.planning.planning_texts import money, number, times

NOT_CHECKED = _lazy(
    "Kits are judged by the same rule as today, from what is on record for that day: what was "
    "in each kit, expiry dates, the signature, and whether the kit was on hold or waiting to "
    "be sorted. Anything recalled or opened since then also counts for earlier days. Training "
    "kits are left out."
)


@dataclass(frozen=True)
class Part:
    """A heading and what stands under it."""

    heading: str
    lines: tuple[str, ...]


def title(of: SeasonPage) -> str:
    """What the page is of."""
    return _("The season on one page: %(season)s") % {"season": past_use_texts.season(of.season)}


def as_of(of: SeasonPage) -> str:
    """Of when it is; a season that is not over is said to be so."""
    said = _("As of %(day)s.") % {"day": wording.day(of.today)}
    if of.season.last >= of.today:
        said += " " + _("The season is not over yet.")
    return said


def parts(of: SeasonPage) -> list[Part]:
    """All that is said, in order."""
    return [
        Part(_("Kits ready to go"), tuple(_ready(of))),
        Part(_("Needed but not in the kit"), tuple(_not_there(of.use))),
        Part(_("What was needed, by need, including what was missing"), tuple(_used(of.use))),
        Part(_("Thrown out unused"), tuple(_thrown_out(of.use))),
        Part(_("Bought"), tuple(_bought(of.bought))),
        Part(_("What changes, and why"), tuple(_changes(of))),
        Part(_("Not carried: due for review"), tuple(_look_again(of))),
    ]


def _ready(of: SeasonPage) -> Iterable[str]:
    if not of.judged:
        yield _("No kit’s contents were on record on any of these days.")
        return
    yield ngettext(
        "Based on %(n)d day of the season.",
        "Based on %(n)d days of the season, two weeks apart.",
        len(of.days),
    ) % {"n": len(of.days)}
    yield _(
        "Out of %(all)d times that a kit’s status was looked at, the kit was ready %(fit)d "
        "times (including when it was low on something): %(share)d in 100."
    ) % {"all": of.judged, "fit": of.fit, "share": of.fit * 100 // of.judged}
    for kit, fit, judged in of.least_ready():
        yield _("%(kit)s: ready on %(fit)d of %(judged)d days") % {
            "kit": kit,
            "fit": fit,
            "judged": judged,
        }
    if of.least_ready() and (others := of.always_ready()):
        yield ngettext(
            "%(n)d other kit was ready on every day.",
            "%(n)d other kits were ready on every day.",
            others,
        ) % {"n": others}
    yield str(NOT_CHECKED)


def _not_there(use: PastUse) -> Iterable[str]:
    if not use.not_there:
        yield _("Nothing on record.")
    for each in use.not_there:
        yield f"{_wanted(each)}: {times(each.times)}"


def _wanted(of: NotThere) -> str:
    return of.item.name if of.item else of.words


def _used(use: PastUse) -> Iterable[str]:
    yield past_use_texts.known_trips(use.known, use.trips)
    for each in use.needs:
        if each.whole.recorded.uses:
            yield _("%(need)s: %(uses)s") % {
                "need": rate_texts.word(each.whole.need.name),
                "uses": number(each.whole.recorded.uses),
            }


def _thrown_out(use: PastUse) -> Iterable[str]:
    if not use.thrown_out:
        yield _("Nothing on record.")
        return
    yield past_use_texts.spent(use.spent, sum(each.cost is None for each in use.thrown_out))
    yield from map(_thrown, use.thrown_out)


def _thrown(of: ThrownOut) -> str:
    said = _("%(units)d × %(item)s, %(expired)d of them out of date") % {
        "units": of.units,
        "item": of.item.name,
        "expired": of.expired,
    }
    return said if of.cost is None else f"{said}: {money(of.cost, of.currency)}"


def _bought(of: Bought) -> Iterable[str]:
    if not of.money and not of.unpriced:
        yield _("No delivery on record.")
    if of.money:
        yield _("Deliveries: %(money)s") % {"money": _sums(of.money)}
    if of.unpriced:
        yield ngettext(
            "%(n)d batch came without a price on record and is not included.",
            "%(n)d batches came without a price on record and are not included.",
            of.unpriced,
        ) % {"n": of.unpriced}


def _sums(of: dict[str, Decimal]) -> str:
    return " + ".join(money(amount, code) for code, amount in of.items())


def _changes(of: SeasonPage) -> Iterable[str]:
    if not of.changes:
        yield _("No kit list has changed since the season began, and none has a draft.")
    for each in of.changes:
        yield _version(each.after)
        yield from _lines(each)


def _version(of: PackingListVersion) -> str:
    facts = {"list": of.packing_list.name, "number": of.number}
    if of.published_at is None:
        said = _("%(list)s, version %(number)d (draft)") % facts
    else:
        facts["day"] = wording.day(of.published_at.date())
        said = _("%(list)s, version %(number)d (published on %(day)s)") % facts
    return f"{said}: {of.note}" if of.note else said


def _lines(of: VersionsCompared) -> Iterable[str]:
    why = {
        line.pk: line.reason
        for section in of.after.sections.prefetch_related("lines")
        for line in section.lines.all()
    }
    for line in of.lines.added:
        yield _why(_("New: %(item)s × %(n)d") % _facts(line), why.get(line.id, ""))
    for change in of.lines.changed:
        facts = {**_facts(change.after), "was": change.before.carry}
        yield _why(_("%(item)s: %(was)d before, now %(n)d") % facts, why.get(change.after.id, ""))
    for line in of.lines.removed:
        yield _("No longer on the list: %(item)s") % _facts(line)


def _facts(line: Line) -> dict[str, object]:
    return {"item": line.thing.name, "n": line.carry}


def _why(said: str, reason: str) -> str:
    return f"{said} ({reason})" if reason else said


def _look_again(of: SeasonPage) -> Iterable[str]:
    if not of.look_again:
        yield _("Nothing is due for review.")
    for each in of.look_again:
        for line in each.lines:
            yield f"{each.version.packing_list.name}: {look_again.says(line, of.today)}"


def choices(of: SeasonPage) -> list[tuple[str, str]]:
    """Seasons as a form offers them."""
    return [(f"{each.year}-{each.quarter}", past_use_texts.season(each)) for each in of.seasons]
