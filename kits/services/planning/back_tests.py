"""What all seasons but the last said of the last, beside what happened in it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time

from gearroom.core import clock
from kits.models import Need
from kits.rules.planning import back_test as rules
from kits.rules.planning.back_test import BackTest, Outing
from kits.rules.planning.demand import Rate
from kits.rules.planning.seasons import Season, season_of
from kits.services.planning.observations import Observation
from kits.services.planning.rates import Records, records


@dataclass(frozen=True)
class NeedTest:
    """A need in the last season."""

    need: Need
    done: BackTest


@dataclass(frozen=True)
class SeasonTest:
    """The last season that is over, from what was on record before it.

    `trips` of it are known and `not_counted` came back and nobody counted. `without_rate`: uses of
    needs that had no rate then, which nothing was expected of, by need.
    """

    earlier: Sequence[Season]
    season: Season
    trips: int
    not_counted: int
    whole: BackTest
    needs: Sequence[NeedTest]
    without_rate: Mapping[Need, float]


def back_test(known: Records | None = None) -> SeasonTest | None:
    """How the last season that is over went, beside what was expected of it; None where trips are
    known of fewer than two. A trip belongs to the season of its first day."""
    known = known or records()
    today = clock.today("UTC")
    over = sorted(
        {
            s
            for trip in known.trips
            if trip.counts and (s := season_of(trip.trip.first_day)).last < today
        }
    )
    if len(over) < 2:
        return None
    season = over[-1]
    before = records(datetime.combine(season.first, time(), UTC))
    seen = [each for each in known.observations if season_of(each.trip.trip.first_day) == season]
    activities = {
        each.trip.trip.activity.key: each.trip.trip.activity.pk
        for each in seen
        if each.trip.trip.activity
    }
    with_rate: dict[int, list[tuple[Rate, list[Outing]]]] = defaultdict(list)
    without: dict[Need, float] = {}
    for (need, activity), of_cell in _by_cell(each for each in seen if each.counts).items():
        rate = before.rate(known.needs[need], activity, activities.get(activity)).rate
        if rate is not None:
            with_rate[need].append((rate, [_outing(each) for each in of_cell]))
        elif used := sum(each.uses for each in of_cell):
            without[known.needs[need]] = without.get(known.needs[need], 0) + used
    trips = {each.trip.checkout: each.counts for each in seen}
    needs = [NeedTest(known.needs[need], rules.back_test(own)) for need, own in with_rate.items()]
    return SeasonTest(
        earlier=over[:-1],
        season=season,
        trips=sum(trips.values()),
        not_counted=len(trips) - sum(trips.values()),
        whole=rules.back_test(cell for own in with_rate.values() for cell in own),
        needs=sorted(needs, key=lambda each: -each.done.uses.happened),
        without_rate=without,
    )


def _by_cell(seen: Iterable[Observation]) -> dict[tuple[int, str], list[Observation]]:
    found: dict[tuple[int, str], list[Observation]] = defaultdict(list)
    for each in seen:
        found[each.need, each.activity].append(each)
    return found


def _outing(seen: Observation) -> Outing:
    """What was not there, or all of which went, was short."""
    short = bool(seen.unmet) or seen.uses > seen.enough_for
    return Outing(seen.days, seen.enough_for, seen.uses, short)
