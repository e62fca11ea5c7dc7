"""A season on one page, for whoever pays: how kits stood, what was wanted, used, thrown out and
bought, and what changes. Every number comes from what the other pages show."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.rules.grouping import grouped
from kits.models import Kit, PackingListVersion, Receipt
from kits.rules.planning.seasons import Season, season_of
from kits.services.kits import then_judged
from kits.services.lists import comparison, look_again
from kits.services.lists.comparison import VersionsCompared
from kits.services.lists.look_again import DueLines
from kits.services.lookup import find
from kits.services.planning import past_use
from kits.services.planning.past_use import PastUse
from kits.services.planning.records.rates import records

EVERY_DAYS = 14
"""How far apart the days are on which kits are judged: each day takes some time to work out."""


@dataclass(frozen=True)
class Bought:
    """What deliveries cost, by currency; so many have no price on record."""

    money: dict[str, Decimal]
    unpriced: int


@dataclass(frozen=True)
class SeasonPage:
    """All of the page. `seasons` can be chosen from, the newest first; `kits` (ids with names) are
    those that are judged on `days`; `changes`: versions against those before them."""

    season: Season
    seasons: Sequence[Season]
    today: date
    kits: dict[int, str]
    days: Sequence[then_judged.Day]
    use: PastUse
    bought: Bought
    changes: Sequence[VersionsCompared]
    look_again: Sequence[DueLines]

    @property
    def judged(self) -> int:
        """How many verdicts there are in all."""
        return sum(len(day.verdicts) for day in self.days)

    @property
    def fit(self) -> int:
        """How many of them are ready, or ready and low."""
        return sum(day.fit for day in self.days)

    def always_ready(self) -> int:
        """How many kits were ready on each day on which they were judged."""
        judged = {pk for day in self.days for pk in day.verdicts}
        return len(judged) - len(self.least_ready())

    def least_ready(self) -> list[tuple[str, int, int]]:
        """The kits that were not ready on some day: name, days ready, days judged; worst first."""
        judged, fit = Counter[int](), Counter[int]()
        for day in self.days:
            judged.update(day.verdicts.keys())
            fit.update(pk for pk, verdict in day.verdicts.items() if verdict.fit)
        rows = [(self.kits[pk], fit[pk], n) for pk, n in judged.items() if fit[pk] < n]
        return sorted(rows, key=lambda row: (row[1] / row[2], row[0]))


def season_page(actor: Actor, wanted: str = "") -> SeasonPage:
    """The page of a season such as `2026-3`; without one that there was, of the latest that is
    over, or else the latest."""
    everything = records()
    today = clock.today("UTC")
    seasons = [each.season for each in past_use.past_use(actor, everything=everything).seasons]
    season = _chosen(seasons, wanted, today)
    kits = [kit for kit in find.kits_of(actor).active() if find.knows_kit(actor, kit)]
    judged = [kit for kit in kits if not kit.training]
    return SeasonPage(
        season=season,
        seasons=seasons[::-1],
        today=today,
        kits={kit.pk: kit.name for kit in judged},
        days=then_judged.judged_on(judged, _sample(season, today)),
        use=past_use.past_use(actor, season=season, everything=everything),
        bought=_bought(actor, season),
        changes=_changes(kits, season),
        look_again=look_again.of_kits(look_again.due(today), kits),
    )


def _chosen(seasons: Sequence[Season], wanted: str, today: date) -> Season:
    by_key = {key(each): each for each in seasons}
    over = [each for each in seasons if each.last < today]
    return by_key.get(wanted) or next(reversed(over or seasons), season_of(today))


def key(of: Season) -> str:
    """How an address names a season."""
    return f"{of.year}-{of.quarter}"


def _sample(season: Season, today: date) -> list[date]:
    """The days on which kits are judged: every second week, as far as they are past."""
    last = min(season.last, today - timedelta(days=1))
    span = range(0, (last - season.first).days + 1, EVERY_DAYS)
    return [season.first + timedelta(days=n) for n in span]


def _bought(actor: Actor, season: Season) -> Bought:
    rows = Receipt.objects.filter(
        entry__in=find.entries_of(actor),
        entry__reversed_by__isnull=True,
        entry__occurred_at__date__range=(season.first, season.last),
    )
    money: dict[str, Decimal] = {}
    unpriced = 0
    for price, currency in rows.values_list("price", "currency"):
        if price is None:
            unpriced += 1
        else:
            money[currency] = money.get(currency, Decimal(0)) + price
    return Bought(money, unpriced)


def _changes(kits: Sequence[Kit], season: Season) -> list[VersionsCompared]:
    """How these kits' lists have changed since the season began: of each the newest published
    version against the one before the season, however many came between; then its draft against
    the newest published one."""
    lists = {kit.list_version.packing_list_id for kit in kits}
    versions = (
        PackingListVersion.objects.filter(packing_list__in=lists)
        .select_related("packing_list")
        .defer("signed_page")
        .order_by("packing_list__name", "number")
    )
    found = []
    for of_list in grouped((version.packing_list_id, version) for version in versions).values():
        published = [version for version in of_list if version.published_at]
        before = [each for each in published if _published_on(each) < season.first][-1:]
        stages = [*(before or published[:1]), *published[-1:], *of_list[-1:]]
        found += [
            comparison.compared(then, now) for then, now in pairwise(stages) if then.pk != now.pk
        ]
    return found


def _published_on(version: PackingListVersion) -> date:
    return (version.published_at or version.created_at).date()
