"""How often needs come up here, by activity: from what was stated or published, and our records."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Self

from gearroom.core import clock
from kits.models import Activity, ItemNeed, Kit, Need, StatedRate
from kits.rules.planning.demand import Rate
from kits.rules.planning.records import rates
from kits.rules.planning.records.rates import Bounded, Cell, Group, Prior
from kits.services.planning.records.history import PastTrip, past_trips
from kits.services.planning.records.observations import Observation, observations

NO_ACTIVITY = ""
"""The key of trips that do not say what they do; a rate with this key is of all trips together."""


@dataclass
class Recorded:
    """What was recorded of a need, trip by trip."""

    exact: list[tuple[float, float]] = field(default_factory=list)  # uses, participant-days
    bounded: list[Bounded] = field(default_factory=list)
    not_counted: int = 0

    def add(self, seen: Observation) -> None:
        """Add what one kit's trip says."""
        if not seen.counts:
            self.not_counted += 1
        elif bounds := seen.bounded:
            self.bounded.append(bounds)
        else:
            self.exact.append((seen.uses, seen.days))

    def join(self, other: Self) -> None:
        """Add what was recorded elsewhere."""
        self.exact += other.exact
        self.bounded += other.bounded
        self.not_counted += other.not_counted

    @property
    def known(self) -> int:
        """How many kits' trips it is known of."""
        return len(self.exact) + len(self.bounded)

    @property
    def trips(self) -> int:
        """How many kits' trips there were."""
        return self.known + self.not_counted

    def closed(self) -> Cell:
        """All of it together."""
        return Cell(
            sum(n for n, _ in self.exact), sum(days for _, days in self.exact), tuple(self.bounded)
        )


@dataclass(frozen=True)
class NeedRate:
    """What is believed of a need's rate in an activity, or on trips of all of them where no
    activity is given (None: nothing was stated and none was ever used), with what it rests on: the
    prior and who stated it, uses and participant-days recorded, and how many trips are known of how
    many."""

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
    def pooled(self) -> bool:
        """Whether it is of trips of all activities."""
        return self.activity == NO_ACTIVITY

    @property
    def interval(self) -> tuple[float, float] | None:
        """The middle 90 % of what is believed, in uses a participant-day."""
        return rates.interval(self.rate) if self.rate else None


@dataclass(frozen=True)
class Records:
    """What all kits' past trips say of every need; made once for an answer."""

    trips: Sequence[PastTrip]
    needs: Mapping[int, Need]
    serves: Mapping[int, Mapping[int, ItemNeed]]
    stated: Mapping[tuple[int, int | None], StatedRate]
    observations: Sequence[Observation]
    _cells: Mapping[int, Mapping[str, Recorded]]
    _made: dict[tuple[int, int | None], NeedRate] = field(default_factory=dict, compare=False)

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
            found[name] = Group(shape, dispersion, self._mixed(members))
        return found

    def _mixed(self, needs: Iterable[Need]) -> float:
        """How far uses come together on trips of all activities."""
        return rates.group_dispersion(self.recorded(need.pk).exact for need in needs)

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
        """What was recorded of a need, in an activity (its key) or in all (None)."""
        whole = Recorded()
        for key, of_activity in self._cells.get(need, {}).items():
            if activity in (None, key):
                whole.join(of_activity)
        return whole

    def rate_in(self, need: Need, activity: Activity | None) -> NeedRate:
        """A need's rate in an activity, or on trips of all of them (None): worked out once."""
        where = (need.pk, activity.pk if activity else None)
        if where not in self._made:
            key = activity.key if activity else NO_ACTIVITY
            self._made[where] = self.rate(need, key, where[1])
        return self._made[where]

    def rate(self, need: Need, activity: str, activity_id: int | None = None) -> NeedRate:
        """A need's rate in an activity (its key), or on trips of all of them (`NO_ACTIVITY`)."""
        of_need = {key: cell.closed() for key, cell in self._cells.get(need.pk, {}).items()}
        own = self.recorded(need.pk, activity or None)
        prior, group = self.prior(need.pk, activity_id), self.groups[need.group]
        return NeedRate(
            need=need,
            activity=activity,
            rate=rates.rate(prior, of_need, activity, group)
            if activity
            else rates.pooled(prior, of_need, group),
            prior=prior,
            stated=self.statement(need.pk, activity_id),
            uses=own.closed().least,
            days=own.closed().exposure,
            known_trips=own.known,
            trips=own.trips,
        )


def records(before: datetime | None = None) -> Records:
    """What every kit's trips that were over by an instant (now) say of every need."""
    trips = past_trips(Kit.objects.all(), before or clock.now())
    serves: dict[int, dict[int, ItemNeed]] = defaultdict(dict)
    for row in ItemNeed.objects.filter(need__retired_on=None).select_related("item"):
        serves[row.need_id][row.item_id] = row
    statements = StatedRate.objects.select_related("stated_by", "activity").order_by("id")
    if before:  # as it was believed then
        statements = statements.filter(stated_at__lt=before)
    stated = {(row.need_id, row.activity_id): row for row in statements}
    seen = observations(trips, serves)
    return Records(trips, Need.objects.in_bulk(), serves, stated, seen, cells(seen))


def cells(seen: Iterable[Observation]) -> dict[int, dict[str, Recorded]]:
    """What was recorded of each need (by id) in each activity (by key)."""
    found: dict[int, dict[str, Recorded]] = defaultdict(lambda: defaultdict(Recorded))
    for each in seen:
        found[each.need][each.activity].add(each)
    return found
