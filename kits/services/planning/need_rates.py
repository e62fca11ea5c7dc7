"""How often each need comes up, as the page of rates shows it: by our records alone, by what was
stated before them, and by both together; by activity from enough uses on."""

from collections.abc import Sequence
from dataclasses import dataclass

from kits.models import Activity, Need, StatedRate
from kits.rules.planning import rates
from kits.services.planning.rates import NO_ACTIVITY, NeedRate, Recorded, Records

ENOUGH_USES = 20
"""From so many recorded uses on, an activity's own rate is shown."""
HANDFUL = 30.0
"""Fewer participant-days say nothing."""


@dataclass(frozen=True)
class Ours:
    """What our records alone say: uses a participant-day, with the middle 90 % of what can be
    believed; or, where nothing was used, what it is very likely below. None: too little to say."""

    recorded: Recorded
    mean: float | None = None
    interval: tuple[float, float] | None = None
    below: float | None = None

    @property
    def uses(self) -> float:
        """Uses recorded, of those within bounds the least."""
        cell = self.recorded.cell
        return cell.uses + sum(each.least for each in cell.bounded)

    @property
    def days(self) -> float:
        """Participant-days over which they were."""
        return self.recorded.cell.exposure


@dataclass(frozen=True)
class OfActivity:
    """What was recorded in one activity; `shown`: whether its own rate may be."""

    activity: Activity | None
    ours: Ours
    shown: bool


@dataclass(frozen=True)
class NeedRow:
    """A need with what our records say of it, and what plans take for it."""

    need: Need
    ours: Ours
    taken: NeedRate
    activities: Sequence[OfActivity]


def rows(known: Records, activity: Activity | None = None) -> list[NeedRow]:
    """Every need that is not retired, in its group's order; what plans take is of an activity."""
    activities = list(Activity.objects.order_by("name"))
    needs = [need for need in known.needs.values() if need.retired_on is None]
    return [
        row(known, need, activity, activities)
        for need in sorted(needs, key=lambda need: (need.group, need.name))
    ]


def row(
    known: Records, need: Need, activity: Activity | None, activities: Sequence[Activity]
) -> NeedRow:
    """One need."""
    key = activity.key if activity else NO_ACTIVITY
    dispersion = known.groups[need.group].dispersion
    found: list[OfActivity] = []
    for each in (*activities, None):
        of_one = known.recorded(need.pk, each.key if each else NO_ACTIVITY)
        if of_one.trips:
            ours = _ours(of_one, dispersion)
            found.append(OfActivity(each, ours, ours.uses >= ENOUGH_USES))
    return NeedRow(
        need=need,
        ours=_ours(known.recorded(need.pk), dispersion),
        taken=known.rate(need, key, activity.pk if activity else None),
        activities=found,
    )


def _ours(recorded: Recorded, dispersion: float) -> Ours:
    cell = recorded.cell
    if cell.exposure < HANDFUL:
        return Ours(recorded)
    if not cell.uses and not cell.bounded:
        return Ours(recorded, below=rates.none_seen(cell.exposure))
    alone = rates.posterior(rates.VAGUE_SHAPE, 0.0, cell, dispersion)
    return Ours(recorded, alone.mean, rates.interval(alone))


def statements(need: Need) -> list[StatedRate]:
    """All that was stated of a need, the latest first."""
    return list(
        StatedRate.objects.filter(need=need).select_related("activity", "stated_by").order_by("-id")
    )
