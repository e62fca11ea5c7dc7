"""How often needs come up here, by activity: from what was stated or published, and our records."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from gearroom.core import clock
from kits.models import ItemNeed, Kit, ListLine, Need, PackingListVersion, StatedRate
from kits.rules.planning import rates
from kits.rules.planning.demand import Rate
from kits.rules.planning.exposure import Known, TripDays, shares, uses
from kits.rules.planning.rates import Bounded, Cell, Group, Prior
from kits.services.planning.history import PastTrip, past_trips

NO_ACTIVITY = ""
"""The key of trips that do not say what they do."""


@dataclass
class _Cell:
    """What was recorded of a need in an activity, trip by trip."""

    exact: list[tuple[float, float]] = field(default_factory=list)  # uses, participant-days
    bounded: list[Bounded] = field(default_factory=list)
    not_counted: int = 0

    def closed(self) -> Cell:
        return Cell(
            sum(n for n, _ in self.exact), sum(days for _, days in self.exact), tuple(self.bounded)
        )


@dataclass(frozen=True)
class NeedRate:
    """What is believed of a need's rate in an activity (None: nothing was stated and none was ever
    used), with what it rests on: the prior and who stated it, uses and participant-days recorded,
    and how many trips are known of how many."""

    need: Need
    activity: str
    rate: Rate | None
    prior: Prior | None
    stated: StatedRate | None
    uses: float
    days: float
    known_trips: int
    trips: int

    @property
    def interval(self) -> tuple[float, float] | None:
        """The middle 90 % of what is believed, in uses a participant-day."""
        return rates.interval(self.rate) if self.rate else None


@dataclass(frozen=True)
class Recorded:
    """What was recorded of a need: its cell, and how many trips are known of how many."""

    cell: Cell
    known_trips: int
    trips: int


@dataclass(frozen=True)
class Records:
    """What all kits' past trips say of every need; made once for an answer."""

    trips: Sequence[PastTrip]
    needs: Mapping[int, Need]
    serves: Mapping[int, Mapping[int, ItemNeed]]
    stated: Mapping[tuple[int, int | None], StatedRate]
    _cells: Mapping[int, Mapping[str, _Cell]]

    @cached_property
    def groups(self) -> dict[str, Group]:
        """What the needs of each group share."""
        found: dict[str, Group] = {}
        for name in {need.group for need in self.needs.values()}:
            members = [need for need in self.needs.values() if need.group == name]
            cells = [self._cells.get(need.pk, {}) for need in members]
            dispersion = rates.group_dispersion(
                cell.exact for of_need in cells for cell in of_need.values()
            )
            shape = rates.group_shape(
                [
                    (
                        self.prior(need.pk, None),
                        {name: cell.closed() for name, cell in of_need.items()},
                    )
                    for need, of_need in zip(members, cells, strict=True)
                ],
                dispersion,
            )
            found[name] = Group(shape, dispersion)
        return found

    def statement(self, need: int, activity: int | None) -> StatedRate | None:
        """What was stated last of a need: of this activity, or else of all."""
        return self.stated.get((need, activity)) or self.stated.get((need, None))

    def prior(self, need: int, activity: int | None) -> Prior | None:
        """What is believed before our own records; None where nothing was stated."""
        said = self.statement(need, activity)
        if said is None or said.per_1000 is None:
            return None
        return Prior(float(said.per_1000) / 1000, float(said.weight))

    def recorded(self, need: int, activity: str | None = None) -> Recorded:
        """What was recorded of a need, in an activity (its key) or in all."""
        of_need = self._cells.get(need, {})
        cells = [of_need.get(activity, _Cell())] if activity is not None else of_need.values()
        whole = _Cell()
        for cell in cells:
            whole.exact += cell.exact
            whole.bounded += cell.bounded
            whole.not_counted += cell.not_counted
        known = len(whole.exact) + len(whole.bounded)
        return Recorded(whole.closed(), known, known + whole.not_counted)

    def rate(self, need: Need, activity: str, activity_id: int | None = None) -> NeedRate:
        """A need's rate in an activity (its key)."""
        of_need = self._cells.get(need.pk, {})
        own = of_need.get(activity, _Cell())
        prior = self.prior(need.pk, activity_id)
        known = len(own.exact) + len(own.bounded)
        return NeedRate(
            need=need,
            activity=activity,
            rate=rates.rate(
                prior,
                {name: cell.closed() for name, cell in of_need.items()},
                activity,
                self.groups[need.group],
            ),
            prior=prior,
            stated=self.statement(need.pk, activity_id),
            uses=own.closed().uses,
            days=own.closed().exposure,
            known_trips=known,
            trips=known + own.not_counted,
        )


def records(before: datetime | None = None) -> Records:
    """What every kit's trips that were over by an instant (now) say of every need."""
    trips = past_trips(Kit.objects.all(), before or clock.now())
    serves: dict[int, dict[int, ItemNeed]] = defaultdict(dict)
    for row in ItemNeed.objects.select_related("item"):
        serves[row.need_id][row.item_id] = row
    stated = {
        (row.need_id, row.activity_id): row
        for row in StatedRate.objects.select_related("stated_by", "activity").order_by("id")
    }
    needs = Need.objects.in_bulk()
    return Records(trips, needs, serves, stated, _cells(trips, serves))


def _cells(
    trips: Sequence[PastTrip], serves: Mapping[int, Mapping[int, ItemNeed]]
) -> dict[int, dict[str, _Cell]]:
    """Each trip's uses of each need that its kit's list serves, over its share of the trip."""
    carried, people = _lists({trip.version for trip in trips})
    together: dict[int, list[PastTrip]] = defaultdict(list)
    for trip in trips:
        together[trip.trip.pk].append(trip)
    shared_by = _needs_of_items(serves)
    found: dict[int, dict[str, _Cell]] = defaultdict(lambda: defaultdict(_Cell))
    for of_trip in together.values():
        first = of_trip[0].trip
        days = TripDays(first.people, first.first_day, first.last_day)
        activity = first.activity.key if first.activity else NO_ACTIVITY
        for need, items in serves.items():
            serving = {
                each.checkout: people[each.version]
                for each in of_trip
                if carried[each.version] & items.keys()
            }
            for each in of_trip:
                share = shares(days, serving).get(each.checkout)
                if share is not None:
                    _add(found[need][activity], each, items, shared_by, share)
    return found


def _add(
    cell: _Cell,
    trip: PastTrip,
    items: Mapping[int, ItemNeed],
    shared_by: Mapping[int, int],
    days: float,
) -> None:
    """Add what one kit's trip says of a need to its cell."""
    if not trip.counts:
        cell.not_counted += 1
        return
    used = sum(
        uses(trip.used[item], row.units_per_use) / shared_by[item] for item, row in items.items()
    ) + sum(trip.unmet[item] / shared_by[item] for item in items)
    lost = sum(uses(trip.lost_at_count[item], row.units_per_use) for item, row in items.items())
    if trip.known is Known.BETWEEN and lost:
        cell.bounded.append(Bounded(days, 0, lost))
    elif any(item in trip.ran_out and not trip.unmet[item] for item in items):
        cell.bounded.append(Bounded(days, round(used)))
    else:
        cell.exact.append((used, days))


def _needs_of_items(serves: Mapping[int, Mapping[int, ItemNeed]]) -> dict[int, int]:
    """How many needs each item serves: its uses are shared among them."""
    found: dict[int, int] = defaultdict(int)
    for items in serves.values():
        for item in items:
            found[item] += 1
    return found


def _lists(versions: Iterable[int]) -> tuple[dict[int, set[int]], dict[int, int]]:
    """What each version carries (items), and how many people it serves."""
    people = dict(PackingListVersion.objects.filter(pk__in=versions).values_list("pk", "people"))
    carried: dict[int, set[int]] = defaultdict(set)
    for version, item in ListLine.objects.filter(section__version__in=people).values_list(
        "section__version", "item"
    ):
        carried[version].add(item)
    return carried, people
