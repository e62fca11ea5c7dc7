"""What all seasons but the last said of the last, beside what happened in it."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time

from gearroom.core import clock
from kits.models import Need
from kits.rules.planning import back_test as rules
from kits.rules.planning.back_test import BackTest, LeftOut, Outing
from kits.rules.planning.demand import Rate
from kits.rules.planning.seasons import Season, season_of
from kits.services.planning.records.observations import Observation
from kits.services.planning.records.rates import Records, records
from kits.services.planning.records.wants import wants


@dataclass(frozen=True)
class NeedTest:
    """A need in the last season; `at_least`: perhaps it came up more often, since all that was
    carried went, or a count differed."""

    need: Need
    done: BackTest
    at_least: bool


@dataclass(frozen=True)
class SeasonTest:
    """The last season that is over, from what was on record before it.

    `trips` of it are known and `not_counted` came back and nobody counted. `without_rate`: uses of
    needs that had no rate then, which nothing was expected of, by need. `wants` noted in it, by why
    they are not among the shortages (None: they are); `beyond_list`: shortages of which none was
    noted, since more was used than the list says.
    """

    earlier: Sequence[Season]
    season: Season
    trips: int
    not_counted: int
    whole: BackTest
    needs: Sequence[NeedTest]
    without_rate: Mapping[Need, float]
    wants: Mapping[LeftOut | None, int]
    beyond_list: int

    @property
    def at_least(self) -> bool:
        """Whether perhaps more happened than is on record."""
        return any(each.at_least for each in self.needs)

    @property
    def outside(self) -> list[NeedTest]:
        """The needs that came up more or less often than chance explains."""
        return [each for each in self.needs if not each.done.uses.by_chance]


def back_test(known: Records | None = None) -> SeasonTest | None:
    """How the last season that is over went, beside what was expected of it; None where trips are
    known of fewer than two. A trip belongs to the season of its first day."""
    known = known or records()
    over = _seasons_over(known)
    if len(over) < 2:
        return None
    season = over[-1]
    seen = [each for each in known.observations if season_of(each.trip.trip.first_day) == season]
    cells = _cells(known, seen, records(datetime.combine(season.first, time(), UTC)))
    by_need: dict[int, list[tuple[Rate, list[Outing]]]] = defaultdict(list)
    without: dict[Need, float] = defaultdict(float)
    for rate, of_cell in cells:
        need = of_cell[0].need
        if rate is not None:
            by_need[need].append((rate, [_outing(each) for each in of_cell]))
        elif used := sum(each.uses for each in of_cell):
            without[known.needs[need]] += used
    compared = [each for rate, of_cell in cells if rate is not None for each in of_cell]
    trips = {each.trip.checkout: each.counts for each in seen}
    more = {each.need for each in compared if each.bounded is not None}
    needs = [
        NeedTest(known.needs[need], rules.back_test(own), need in more)
        for need, own in by_need.items()
    ]
    return SeasonTest(
        earlier=over[:-1],
        season=season,
        trips=sum(trips.values()),
        not_counted=len(trips) - sum(trips.values()),
        whole=rules.back_test(cell for own in by_need.values() for cell in own),
        needs=sorted(needs, key=lambda each: -each.done.uses.happened),
        without_rate=without,
        wants=_wants(known, season, seen, {(each.trip.checkout, each.need) for each in compared}),
        beyond_list=sum(_outing(each).short and not each.unmet for each in compared),
    )


def _seasons_over(known: Records) -> list[Season]:
    """The seasons that are over and have a known trip, in order."""
    today = clock.today("UTC")
    found = {season_of(trip.trip.first_day) for trip in known.trips if trip.counts}
    return sorted(season for season in found if season.last < today)


def _cells(
    known: Records, seen: Sequence[Observation], before: Records
) -> list[tuple[Rate | None, list[Observation]]]:
    """What is known of each need in each activity, with its rate as it was believed before."""
    activities = {
        each.trip.trip.activity.key: each.trip.trip.activity.pk
        for each in seen
        if each.trip.trip.activity
    }
    found = _by_cell(each for each in seen if each.counts)
    return [
        (before.rate(known.needs[need], activity, activities.get(activity)).rate, of_cell)
        for (need, activity), of_cell in found.items()
    ]


def _wants(
    known: Records,
    season: Season,
    seen: Iterable[Observation],
    rated: Collection[tuple[int, int]],
) -> Counter[LeftOut | None]:
    """The wants of a season, by why they are not compared; `rated`: trips and needs that are."""
    trips = {
        trip.checkout: trip for trip in known.trips if season_of(trip.trip.first_day) == season
    }
    carried = {(each.trip.checkout, each.need) for each in seen}
    found: Counter[LeftOut | None] = Counter()
    for want in wants(list(trips.values())):
        served = {need for need, items in known.serves.items() if want.item in items}
        on_trip = {need for need in served if (want.trip, need) in carried}
        with_rate = {need for need in on_trip if (want.trip, need) in rated}
        found[
            rules.left_out(
                want,
                counted=trips[want.trip].counts,
                rated=with_rate,
                unrated=on_trip - with_rate,
            )
        ] += 1
    return found


def _by_cell(seen: Iterable[Observation]) -> dict[tuple[int, str], list[Observation]]:
    found: dict[tuple[int, str], list[Observation]] = defaultdict(list)
    for each in seen:
        found[each.need, each.activity].append(each)
    return found


def _outing(seen: Observation) -> Outing:
    """What was not there, or all of which went, was short."""
    short = bool(seen.unmet) or seen.uses > seen.enough_for
    return Outing(seen.days, seen.enough_for, seen.uses, short)
