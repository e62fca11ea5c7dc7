"""How kits stood on days that are past: judged by the same rule as today, over what is on record
of each day as it is known now.

Batches have the dates that are known now; whether one was opened later, or its maker had not
recalled it yet, is not looked at, so a day is judged a little stricter than it was then.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db.models import Q, Sum

from gearroom.core import clock
from gearroom.core.rules.grouping import grouped, summed
from kits.models import (
    Entry,
    EntryKind,
    Kit,
    LevelFact,
    Lot,
    Movement,
    PackingListVersion,
    Place,
    PlaceKind,
    WithheldFact,
)
from kits.models.details import FollowListDetail
from kits.rules.ledger import KitState, Level, Verdict, judge
from kits.rules.ledger.facts import Units
from kits.services.ledger import facts, kit_state, readiness


@dataclass(frozen=True)
class Day:
    """The verdicts of a day, by the kit's id, of kits whose contents had been entered by then."""

    day: date
    verdicts: Mapping[int, Verdict]

    @property
    def fit(self) -> int:
        """How many were ready, or ready and low."""
        return sum(verdict.fit for verdict in self.verdicts.values())


def judged_on(kits: Sequence[Kit], days: Iterable[date]) -> list[Day]:
    """How kits (with their home rooms) stood at the end of days."""
    if not kits:
        return []
    now = readiness.states([kit.pk for kit in kits])
    past = _Past(kits)
    return [past.judged(day, now) for day in days]


class _Past:
    """What is loaded once for all days."""

    def __init__(self, kits: Sequence[Kit]) -> None:
        self.kits = kits
        ids = [kit.pk for kit in kits]
        self.entered = readiness.contents_entered(ids)
        self.sections = {
            place.pk: place for place in Place.objects.filter(kit__in=ids, kind=PlaceKind.SECTION)
        }
        self.moved = list(
            Movement.objects.filter(Q(to_place__in=self.sections) | Q(from_place__in=self.sections))
            .values_list("entry__occurred_at", "from_place", "to_place", "lot")
            .annotate(total=Sum("units"))
            .order_by("entry__occurred_at")
        )
        lots = Lot.objects.select_related("item").filter(pk__in={row[3] for row in self.moved})
        self.batches = readiness.batches(lots)
        followed = Entry.objects.filter(kit__in=ids, kind=EntryKind.FOLLOW_LIST).order_by("id")
        self.followed = grouped((entry.kit_id or 0, entry) for entry in followed)
        looks = Entry.objects.filter(
            kit__in=ids, detail__looked_inside=True, reversed_by__isnull=True
        ).order_by("occurred_at", "id")
        self.looks = grouped(looks.values_list("kit_id", "occurred_at"))
        wanted = {kit.list_version_id for kit in kits} | {
            entry.detail_as(FollowListDetail)["from"]
            for entries in self.followed.values()
            for entry in entries
        }
        self.versions = PackingListVersion.objects.defer("signed_page").in_bulk(wanted)
        self.lines = readiness.lines_of(wanted)

    def judged(self, day: date, now: Mapping[int, KitState]) -> Day:
        """The verdicts at the end of a day."""
        ends = {kit.pk: clock.end_of_day(day, kit.home_room.time_zone) for kit in self.kits}
        held = self._held(ends)
        levels = self._levels(max(ends.values()))
        on_hold = grouped(
            (kit, kind)
            for kit, _lot, kind in facts.on_hold(
                WithheldFact.objects.filter(facts.then(max(ends.values())), kit__in=list(ends))
            )
        )
        found = {}
        for kit in self.kits:
            if kit.pk not in self.entered or self.entered[kit.pk] > ends[kit.pk]:
                continue
            state = replace(
                self._listed(kit, now[kit.pk], ends[kit.pk], day),
                units=held.get(kit.pk, ()),
                levels=levels.get(kit.pk, {}),
                withheld=tuple(on_hold[kit.pk]),
                away=frozenset(),
                undated_grace_until=None,
                contents_entered=True,
            )
            found[kit.pk] = judge(state, day, day)
        return Day(day, found)

    def _listed(self, kit: Kit, now: KitState, end: datetime, day: date) -> KitState:
        """The kit's list, looks and standing of then."""
        later = [entry for entry in self.followed[kit.pk] if entry.occurred_at > end]
        pk = later[0].detail_as(FollowListDetail)["from"] if later else kit.list_version_id
        version = self.versions[pk]
        looks = [at for at in self.looks[kit.pk] if at <= end]
        waits = kit_state.waiting(kit, end)
        return replace(
            now,
            lines=self.lines.get(pk, ()),
            signed=version.is_signed_on(day),
            signed_until=version.signed_until,
            looked_inside_on=(
                clock.local_date(looks[-1], kit.home_room.time_zone) if looks else None
            ),
            laid_up=kit_state.laid_up_since(kit, end) is not None,
            lost=waits.lost_since is not None,
            waiting_to_be_sorted=waits.to_sort_since is not None,
        )

    def _held(self, ends: Mapping[int, datetime]) -> dict[int, tuple[Units, ...]]:
        """What was in each kit."""
        legs = []
        for at, source, target, lot, units in self.moved:
            for place, sign in ((source, -1), (target, 1)):
                section = self.sections.get(place)
                if section is not None and at <= ends[section.kit_id or 0]:
                    legs.append(((section.pk, lot), sign * units))
        return {
            kit: tuple(rows)
            for kit, rows in grouped(
                (
                    self.sections[place].kit_id or 0,
                    Units(self.batches[lot], self.sections[place].section_key, count),
                )
                for (place, lot), count in summed(legs).items()
                if count > 0
            ).items()
        }

    def _levels(self, end: datetime) -> dict[int, dict[tuple[str, int], Level]]:
        """What was judged by eye last."""
        found: dict[int, dict[tuple[str, int], Level]] = {kit.pk: {} for kit in self.kits}
        rows = LevelFact.objects.filter(facts.then(end), section__in=self.sections).order_by("id")
        for fact in rows:
            section = self.sections[fact.section_id]
            found[section.kit_id or 0][section.section_key, fact.item_id] = Level(fact.level)
        return found
