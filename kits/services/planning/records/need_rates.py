"""How often each need comes up, as the page of rates shows it: by our records alone, by what was
stated before them, and by both together."""

from collections.abc import Sequence
from dataclasses import dataclass

from kits.models import Activity, Need, StatedRate
from kits.rules.planning.records.recorded_use import RecordedUse, recorded_use
from kits.services.planning.records.rates import NO_ACTIVITY, NeedRate, Records


@dataclass(frozen=True)
class Ours:
    """What our records alone bear of a need, in an activity (None: the trips do not say, or all
    activities together); of how many trips it is known."""

    activity: Activity | None
    use: RecordedUse
    known: int
    trips: int


@dataclass(frozen=True)
class NeedRow:
    """A need with what our records bear, in all and by activity, and what plans take for it."""

    need: Need
    ours: Ours
    taken: NeedRate
    activities: Sequence[Ours]


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
    """One need; `activities` are those that its records are shown by."""
    each_of = [
        _ours(known, need, each, each.key if each else NO_ACTIVITY) for each in (*activities, None)
    ]
    return NeedRow(
        need=need,
        ours=_ours(known, need, None, None),
        taken=known.rate_in(need, activity),
        activities=[ours for ours in each_of if ours.trips],
    )


def _ours(known: Records, need: Need, activity: Activity | None, key: str | None) -> Ours:
    recorded = known.recorded(need.pk, key)
    group = known.groups[need.group]
    use = recorded_use(recorded.closed(), group.mixed if key is None else group.dispersion)
    return Ours(activity, use, recorded.known, recorded.trips)


def statements(need: Need) -> list[StatedRate]:
    """All that was stated of a need, the latest first."""
    return list(
        StatedRate.objects.filter(need=need).select_related("activity", "stated_by").order_by("-id")
    )
