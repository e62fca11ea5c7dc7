"""Entries on record as the rule of undoing sees them (see `kits.rules.ledger.undo`)."""

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Q

from gearroom.core.rules.grouping import grouped, summed
from kits.models import (
    AsFound,
    Checkout,
    Entry,
    EntryKind,
    Holding,
    Movement,
    Place,
    PlaceKind,
    Reservation,
    SealChange,
    SealFact,
    WithheldKind,
)
from kits.models.details import (
    AddedDetail,
    CheckOutDetail,
    CorrectLotDetail,
    CountDetail,
    KindDetail,
    LookInsideDetail,
    ResealDetail,
)
from kits.rules.ledger import ReasonCode, Step, Where
from kits.services.ledger import facts

_AT_HOME = (
    EntryKind.RESTOCK,
    EntryKind.RESEAL,
    EntryKind.LOOK_INSIDE,
    EntryKind.TAKE_OUT,
    EntryKind.BUILD,
    EntryKind.STRIP,
    EntryKind.EMPTY,
    EntryKind.LEAVE,
    EntryKind.WEATHER_OUT,
    EntryKind.WEATHER_BACK,
)
_REPORTED = {ReasonCode.WAS_OUT, ReasonCode.WAS_NOT_TAKEN_OUT}
"""What only a report may break: a request would have been refused."""


@dataclass(frozen=True)
class Scope:
    """What an undo is about: kits whole, and batches at places from an entry on."""

    kits: frozenset[int] = frozenset()
    at: frozenset[Where] = frozenset()

    def __or__(self, other: "Scope") -> "Scope":
        return Scope(self.kits | other.kits, self.at | other.at)


@dataclass(frozen=True)
class OnRecord:
    """The steps in recorded order with their entries, what was added to counts and sweeps by
    earlier undos (by the entry that it was added to), and what the places hold now."""

    steps: Sequence[Step]
    entries: dict[int, Entry]
    added: dict[int, list[Entry]] = field(default_factory=dict)
    now: dict[Where, int] = field(default_factory=dict)

    def scope(self, acts: Iterable[Any]) -> Scope:
        """The kits, batches and places that these acts touch."""
        acts = set(acts)
        steps = [step for step in self.steps if step.act in acts]
        kits = {entry.kit_id for step in steps if (entry := self.entries[step.id]).kit_id}
        broken = {unit[0] for step in steps for unit in step.breaks}
        return Scope(
            frozenset(kits | broken),
            frozenset(where for step in steps for where in step.units),
        )


def on_record(act: Hashable, scope: Scope, since: int) -> OnRecord:
    """Load what undoing an act has to look at: its entries, all those in force of the kits, and
    those from `since` on that moved the batches at the places."""
    rows = {entry.pk: entry for entry in _entries(act, scope, since)}
    movements = Movement.objects.filter(entry__in=rows).select_related("from_place", "to_place")
    legs = grouped((leg.entry_id, leg) for leg in movements)
    added = grouped(
        (entry.detail_as(AddedDetail)["again"], entry)
        for entry in rows.values()
        if facts.is_added(entry)
    )
    makes = _Making(rows, legs, added, scope)
    steps = [
        makes.step(entry)
        for entry in sorted(rows.values(), key=lambda entry: entry.pk)
        if not facts.is_added(entry)
    ]
    places = {where[1] for step in steps for where in step.units}
    now = {
        (lot, place): units
        for lot, place, units in Holding.objects.filter(place__in=places).values_list(
            "lot", "place", "units"
        )
    }
    for step in steps:
        for where, units in step.units.items():
            if where[1] < 0:
                now[where] = now.get(where, 0) + units
    return OnRecord(steps, rows, dict(added), now)


def _entries(act: Hashable, scope: Scope, since: int) -> Iterable[Entry]:
    sections = list(
        Place.objects.sections().filter(kit__in=scope.kits).values_list("pk", flat=True)
    )
    lots, places = {lot for lot, _ in scope.at}, {place for _, place in scope.at}
    moved = Movement.objects.filter(
        Q(from_place__in=sections)
        | Q(to_place__in=sections)
        | Q(lot__in=lots, entry__gte=since) & (Q(from_place__in=places) | Q(to_place__in=places))
    )
    return (
        Entry.objects.filter(Q(key=act) | Q(kit__in=scope.kits) | Q(pk__in=moved.values("entry")))
        .filter(reversed_by__isnull=True)
        .exclude(kind=EntryKind.REVERSE)
        .select_related("kit__home_room", "kit__room", "room", "lot", "person", "trip", "checkout")
        .order_by("pk")
    )


class _Making:
    """Makes steps of loaded rows."""

    def __init__(
        self,
        entries: dict[int, Entry],
        legs: dict[int, list[Movement]],
        added: dict[int, list[Entry]],
        scope: Scope,
    ) -> None:
        self.legs, self.added, self.scope = legs, added, scope
        kits = {entry.kit_id for entry in entries.values() if entry.kit_id}
        self.sections = {
            (place.kit_id, place.section_key): place.pk
            for place in Place.objects.sections().filter(kit__in=kits)
        }
        self.opened = dict(
            Checkout.objects.filter(opened_by__in=entries).values_list("opened_by", "pk")
        )
        self.breaks = grouped(
            (entry, (kit, section))
            for entry, kit, section in SealFact.objects.filter(
                entry__in=entries, what=SealChange.BROKEN
            ).values_list("entry", "kit", "section")
        )
        self.promises = {
            row.pk: row.trip
            for row in Reservation.objects.filter(kit__in=kits).select_related("trip")
        }

    def step(self, entry: Entry) -> Step:
        """One entry as a step."""
        kind = EntryKind(entry.kind)
        more: dict[str, Any] = {}
        if entry.kit_id is not None:
            section = self.sections.get((entry.kit_id, facts.section_key(entry) or ""))
            more["unit"] = (entry.kit_id, section)
            if not facts.is_history(entry):
                more |= _custody(kind, entry, self.opened.get(entry.pk))
            more |= self._conditions(kind, entry)
        return Step(
            id=entry.pk,
            act=entry.key,
            units=self._units(entry),
            names=entry.checkout_id,
            at_home=kind in _AT_HOME,
            breaks=frozenset(self.breaks[entry.pk]),
            seals=entry.detail_as(ResealDetail)["number"] if kind == EntryKind.RESEAL else "",
            by_seal=kind == EntryKind.LOOK_INSIDE
            and entry.detail_as(LookInsideDetail).get("as_found") == AsFound.SEALED,
            **self._absolute(kind, entry),
            **more,
        )

    def _units(self, entry: Entry) -> dict[Where, int]:
        legs = [
            leg for each in (entry, *self.added.get(entry.pk, ())) for leg in self.legs[each.pk]
        ]
        return summed(
            ((leg.lot_id, place), units)
            for leg in legs
            for at, units in ((leg.from_place, -leg.units), (leg.to_place, leg.units))
            for place in _counted_at(at, entry)
        )

    def _absolute(self, kind: EntryKind, entry: Entry) -> dict[str, Any]:
        if kind == EntryKind.COUNT:
            count = entry.detail_as(CountDetail)
            return {
                "sets": {
                    (int(lot), int(place)): units
                    for place, lots in count.get("counted", {}).items()
                    for lot, units in lots.items()
                },
                "clears": frozenset(count["places"] if count.get("complete") else ()),
            }
        if kind == EntryKind.RECALL:
            moves = {
                ((leg.lot_id, leg.from_place_id), (leg.lot_id, leg.to_place_id))
                for leg in self.legs[entry.pk]
            }
            return {"sweeps": sorted(moves)}
        if kind == EntryKind.CORRECT_LOT:
            booked_over = entry.detail_as(CorrectLotDetail)["booked_over"]
            over = {int(lot): to for lot, to in booked_over.items()}
            at = {*self._units(entry), *self.scope.at}
            return {
                "sweeps": sorted(
                    ((lot, place), (over[lot], place)) for lot, place in at if lot in over
                )
            }
        return {}

    def _conditions(self, kind: EntryKind, entry: Entry) -> dict[str, Any]:
        """What an act needs to be in force or not, and what is in force by it."""
        kit = entry.kit_id
        if kind in (EntryKind.WITHHOLD, EntryKind.RELEASE):
            kept = ("put on hold", kit, entry.detail_as(KindDetail)["kind"])
            if kind == EntryKind.WITHHOLD:
                return {"makes": {kept: True}}
            return {"needs": {kept: True}, "makes": {kept: False}}
        if kind == EntryKind.COUNT and entry.detail_as(CountDetail).get("looked_inside"):
            return {"makes": {("put on hold", kit, WithheldKind.MIXED): False}}
        if kind in (EntryKind.LAY_UP, EntryKind.WAKE):
            away, lay_up = ("put away", kit), kind == EntryKind.LAY_UP
            return {"needs": {away: not lay_up}, "makes": {away: lay_up}, "requested": lay_up}
        if kind == EntryKind.RESERVE and entry.trip is not None:
            trip = entry.trip
            clashes = [
                other.pk
                for other in self.promises.values()
                if other.pk != trip.pk
                and other.first_day <= trip.last_day
                and trip.first_day <= other.last_day
            ]
            return {
                "needs": {("promised", kit, other): False for other in clashes},
                "makes": {("promised", kit, trip.pk): True},
            }
        if kind == EntryKind.UNRESERVE:
            promised = ("promised", kit, entry.trip_id)
            return {"needs": {promised: True}, "makes": {promised: False}}
        return {}


def _counted_at(place: Place, entry: Entry) -> list[int]:
    """The places (ids) that hold what an entry moves. What may come back is one place of a room,
    but each kit's own: so it counts as held for the kit too, by its id with a minus.
    """
    own = place.kind == PlaceKind.AWAY and entry.kit_id is not None
    return [*([place.pk] if place.inner else []), *([-(entry.kit_id or 0)] if own else [])]


def _custody(kind: EntryKind, entry: Entry, opens: int | None) -> dict[str, Any]:
    if kind == EntryKind.CHECK_OUT:
        reported = entry.detail_as(CheckOutDetail).get("already_gone")
        requested = not reported and not _REPORTED.intersection(entry.irregular)
        needs = {("put away", entry.kit_id): False} if requested else {}
        return {"opens": opens, "requested": requested, "needs": needs}
    taken = kind == EntryKind.EMERGENCY
    return {"opens": opens} if taken else {"ends": kind == EntryKind.CHECK_IN}
