"""What was used of an item, and wanted and not there, season by season."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from gearroom.core import clock
from gearroom.core.acts import Actor
from kits.models import EntryKind, Item, Movement, PlaceKind, UnmetNeed
from kits.rules.planning.seasons import Season, season_of, seasons
from kits.services.lookup import find


@dataclass(frozen=True)
class ItemSeason:
    """Units of an item that a season used, and how often it was `unmet`: wanted and not there.
    `over`: its last day is past."""

    season: Season
    met: int
    unmet: int
    over: bool
    at_least: bool = False


def by_season(actor: Actor, item: Item, today: date) -> list[ItemSeason]:
    """Every season from the first use or want that somebody may see to today's; none where there
    was neither. Of an item that is judged by eye nobody counts what was used."""
    seen = find.entries_of(actor).filter(reversed_by__isnull=True)
    used = _by_season(
        Movement.objects.filter(
            entry__in=seen.filter(kind=EntryKind.USE).values("pk"),
            lot__item=item,
            to_place__kind=PlaceKind.USED,
        ).values_list("entry__occurred_at", "units")
    )
    unmet = _by_season(
        (at, 1)
        for at in UnmetNeed.objects.filter(entry__in=seen.values("pk"), item=item).values_list(
            "entry__occurred_at", flat=True
        )
    )
    first = min((*used, *unmet), default=None)
    if first is None:
        return []
    return [
        ItemSeason(each, used[each], unmet[each], each.last < today)
        for each in seasons(first.first, max(today, max((*used, *unmet)).first))
    ]


def _by_season(rows: Iterable[tuple[datetime, int]]) -> Counter[Season]:
    found: Counter[Season] = Counter()
    for at, units in rows:
        found[season_of(clock.local_date(at, "UTC"))] += units
    return found
