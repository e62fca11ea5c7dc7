"""What each past trip of a kit says of each need that its list serves."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from kits.models import ItemNeed, ListLine, PackingListVersion
from kits.rules.planning.records.exposure import Known, TripDays, shares, uses
from kits.rules.planning.records.rates import Bounded
from kits.services.planning.records.history import PastTrip

Serves = Mapping[int, Mapping[int, ItemNeed]]
"""What serves each need, by need and item."""


@dataclass(frozen=True)
class Observation:
    """What one kit's trip says of a need: over its share of the trip's participant-days, how many
    uses were recorded (`unmet` of them of something that was not there), and within what bounds it
    is known. `activity` is empty where the trip does not say. `enough_for`: for how many uses its
    list carries something."""

    trip: PastTrip
    need: int
    activity: str
    days: float
    enough_for: int
    uses: float
    unmet: float
    lost_at_count: int
    ran_out: bool

    @property
    def counts(self) -> bool:
        """Whether it is known what was wanted."""
        return self.trip.counts

    @property
    def bounded(self) -> Bounded | None:
        """The bounds of what is not known exactly; None where it is, or nothing is known."""
        if not self.counts:
            return None
        if self.trip.known is Known.BETWEEN and self.lost_at_count:
            return Bounded(self.days, 0, self.lost_at_count)
        return Bounded(self.days, round(self.uses)) if self.ran_out else None


def observations(trips: Sequence[PastTrip], serves: Serves) -> list[Observation]:
    """All that these trips say, each need's participant-days shared among the kits of a trip whose
    list serves it, and the uses of an item among the needs that it serves."""
    carried, people = _lists({trip.version for trip in trips})
    together: dict[int, list[PastTrip]] = defaultdict(list)
    for trip in trips:
        together[trip.trip.pk].append(trip)
    needs_of: dict[int, int] = defaultdict(int)
    for items in serves.values():
        for item in items:
            needs_of[item] += 1
    found = []
    for of_trip in together.values():
        first = of_trip[0].trip
        days = TripDays(first.people, first.first_day, first.last_day)
        for need, items in serves.items():
            serving = [each for each in of_trip if carried[each.version].keys() & items.keys()]
            share = shares(days, {each.checkout: people[each.version] for each in serving})
            found += [
                _observed(each, need, items, needs_of, carried[each.version], share[each.checkout])
                for each in serving
            ]
    return found


def _observed(
    trip: PastTrip,
    need: int,
    items: Mapping[int, ItemNeed],
    needs_of: Mapping[int, int],
    carried: Mapping[int, int],
    days: float,
) -> Observation:
    """What one kit's trip says of a need."""
    taken = sum(
        uses(trip.used[item], row.units_per_use) / needs_of[item] for item, row in items.items()
    )
    unmet = sum(trip.unmet[item] / needs_of[item] for item in items)
    return Observation(
        trip=trip,
        need=need,
        activity=trip.trip.activity.key if trip.trip.activity else "",
        days=days,
        enough_for=sum(carried.get(item, 0) // row.units_per_use for item, row in items.items()),
        uses=taken + unmet,
        unmet=unmet,
        lost_at_count=sum(
            uses(trip.lost_at_count[item], row.units_per_use) for item, row in items.items()
        ),
        ran_out=any(item in trip.ran_out and not trip.unmet[item] for item in items),
    )


def _lists(versions: Iterable[int]) -> tuple[dict[int, dict[int, int]], dict[int, int]]:
    """What each version carries (units by item), and how many people it serves."""
    people = dict(PackingListVersion.objects.filter(pk__in=versions).values_list("pk", "people"))
    carried: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for version, item, units in ListLine.objects.filter(section__version__in=people).values_list(
        "section__version", "item", "carry"
    ):
        carried[version][item] += units
    return carried, people
