"""What happened: what was used, what was wanted and not there, what was never used and what was
thrown out unused, of the kits at home in somebody's rooms."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from gearroom.core.acts import Actor
from kits.models import (
    DISPOSALS,
    INNER,
    Activity,
    EntryKind,
    Item,
    ListLine,
    Movement,
    Need,
    PlaceKind,
    Trip,
    UnmetNeed,
)
from kits.rules.ledger.facts import Kind
from kits.rules.planning import rates as rules
from kits.rules.planning.recorded_use import RecordedUse, recorded_use
from kits.rules.planning.seasons import Season, season_of, seasons
from kits.services.lookup import find
from kits.services.planning.history import PastTrip
from kits.services.planning.observations import Observation
from kits.services.planning.plans import Purchase, purchases
from kits.services.planning.rates import Recorded, Records, cells, records

USED_UP = (Kind.CONSUMABLE, Kind.MEDICINE)
"""What is written down when it is used."""
THROWN_OUT = tuple(kind for kind in DISPOSALS if kind != PlaceKind.RETURNED)
"""Where units go that are thrown out: what goes back to its maker is not."""


@dataclass(frozen=True)
class Use:
    """Uses of a need in an activity (None: the trip does not say, or all of them together), with
    how many kits' trips they are known of."""

    need: Need
    activity: Activity | None
    recorded: RecordedUse
    known: int
    trips: int


@dataclass(frozen=True)
class NeedUse:
    """Uses of a need in all activities, then in each."""

    whole: Use
    activities: Sequence[Use]


@dataclass(frozen=True)
class SeasonUse:
    """Uses of a season: `met` from what was carried, `unmet` of what was not there; kits' trips
    that are known, and how many there were."""

    season: Season
    met: float
    unmet: float
    known: int
    trips: int


@dataclass(frozen=True)
class NotThere:
    """Something that was needed and not there, so many times: an item, or somebody's own words;
    `trips` are those that the actor may see."""

    item: Item | None
    words: str
    times: int
    trips: Sequence[Trip]


@dataclass(frozen=True)
class NeverUsed:
    """An item of a kit list that none of the known trips used: carried on `known` of `trips` kits'
    trips, over so many participant-days; the rate of its use lies below `below` a day with 95 %."""

    item: Item
    must_have: bool
    known: int
    trips: int
    days: float
    below: float | None


@dataclass(frozen=True)
class ThrownOut:
    """Units of an item that were thrown out unused, `expired` of them out of date; their price, as
    far as deliveries say (None: they do not)."""

    item: Item
    units: int
    expired: int
    cost: Decimal | None
    currency: str


@dataclass(frozen=True)
class PastUse:
    """All that happened. `trips` are kits' trips that are over, `known` those of which it is known
    what was used."""

    known: int
    trips: int
    needs: Sequence[NeedUse]
    seasons: Sequence[SeasonUse]
    not_there: Sequence[NotThere]
    never_used: Sequence[NeverUsed]
    thrown_out: Sequence[ThrownOut]

    @property
    def spent(self) -> dict[str, Decimal]:
        """What was thrown out cost in all, by currency."""
        found: dict[str, Decimal] = {}
        for each in self.thrown_out:
            if each.cost is not None:
                found[each.currency] = found.get(each.currency, Decimal(0)) + each.cost
        return found


def past_use(
    actor: Actor,
    *,
    need: Need | None = None,
    activity: Activity | None = None,
    everything: Records | None = None,
) -> PastUse:
    """What happened with the kits that are at home in an actor's rooms; of one need or activity, if
    given, as far as uses and seasons go."""
    everything = everything or records()
    kits = {kit.pk for kit in find.kits_of(actor) if find.knows_kit(actor, kit)}
    trips = [trip for trip in everything.trips if trip.kit in kits]
    seen = [
        each
        for each in everything.observations
        if each.trip.kit in kits
        and (need is None or each.need == need.pk)
        and (activity is None or each.activity == activity.key)
    ]
    return PastUse(
        known=sum(trip.counts for trip in trips),
        trips=len(trips),
        needs=_needs(seen, everything),
        seasons=_seasons(seen),
        not_there=_not_there(actor, trips),
        never_used=_never_used(trips),
        thrown_out=_thrown_out(actor),
    )


# ------------------------------------------------------------------------------------------ uses
def _needs(seen: Iterable[Observation], everything: Records) -> list[NeedUse]:
    """Each need with a known trip, the most used first."""
    activities = {each.key: each for each in Activity.objects.all()}
    found = []
    for pk, by_activity in cells(seen).items():
        need = everything.needs[pk]
        dispersion = everything.groups[need.group].dispersion
        whole = Recorded()
        for each in by_activity.values():
            whole.join(each)
        parts = [
            _use(need, activities.get(key), own, dispersion) for key, own in by_activity.items()
        ]
        parts.sort(key=lambda each: -each.recorded.uses)
        found.append(NeedUse(_use(need, None, whole, dispersion), parts))
    return sorted(found, key=lambda each: (-each.whole.recorded.uses, each.whole.need.name))


def _use(need: Need, activity: Activity | None, own: Recorded, dispersion: float) -> Use:
    return Use(need, activity, recorded_use(own.closed(), dispersion), own.known, own.trips)


def _seasons(seen: Sequence[Observation]) -> list[SeasonUse]:
    """Every season from the first trip's to the last's, those without a trip too."""
    if not seen:
        return []
    days = [each.trip.trip.first_day for each in seen]
    by_season: dict[Season, list[Observation]] = defaultdict(list)
    for each in seen:
        by_season[season_of(each.trip.trip.first_day)].append(each)
    return [_season(season, by_season[season]) for season in seasons(min(days), max(days))]


def _season(season: Season, seen: Sequence[Observation]) -> SeasonUse:
    trips = {each.trip.checkout: each for each in seen}
    unmet = sum(each.unmet for each in seen)
    return SeasonUse(
        season=season,
        met=sum(each.uses for each in seen) - unmet,
        unmet=unmet,
        known=sum(each.counts for each in trips.values()),
        trips=len(trips),
    )


# --------------------------------------------------------------------------------------- the rest
def _not_there(actor: Actor, trips: Iterable[PastTrip]) -> list[NotThere]:
    """What was needed and not there, the most often wanted first."""
    by_checkout = {trip.checkout: trip.trip for trip in trips}
    found: dict[tuple[Item | None, str], list[Trip]] = defaultdict(list)
    rows = UnmetNeed.objects.filter(
        entry__checkout__in=by_checkout, entry__reversed_by__isnull=True
    ).select_related("item", "entry")
    for row in rows:
        found[row.item, row.words].append(by_checkout[row.entry.checkout_id or 0])
    on = {trip.pk for each in found.values() for trip in each}
    seen = set(find.trips_of(actor).filter(pk__in=on).values_list("pk", flat=True))
    return sorted(
        (
            NotThere(item, words, len(each), [trip for trip in each if trip.pk in seen])
            for (item, words), each in found.items()
        ),
        key=lambda each: (-each.times, each.item.name if each.item else each.words),
    )


def _never_used(trips: Sequence[PastTrip]) -> list[NeverUsed]:
    """Items of lists that went along and none of which a known trip used."""
    touched = {item for trip in trips for item in (*trip.used, *trip.unmet, *trip.lost_at_count)}
    on_lists: dict[int, list[ListLine]] = defaultdict(list)
    for line in (
        ListLine.objects.filter(
            section__version__in={trip.version for trip in trips},
            item__kind__in=USED_UP,
            item__by_eye=False,
        )
        .exclude(item__in=touched)
        .select_related("item", "section")
    ):
        on_lists[line.item_id].append(line)
    found = []
    for lines in on_lists.values():
        versions = {line.section.version_id for line in lines}
        along = [trip for trip in trips if trip.version in versions]
        days = sum(_days(trip.trip) for trip in along if trip.counts)
        found.append(
            NeverUsed(
                item=lines[0].item,
                must_have=any(line.criticality == "must-have" for line in lines),
                known=sum(trip.counts for trip in along),
                trips=len(along),
                days=days,
                below=rules.none_seen(days) if days else None,
            )
        )
    return sorted(found, key=lambda each: (-each.known, each.trips, each.days, each.item.name))


def _days(trip: Trip) -> int:
    return trip.people * ((trip.last_day - trip.first_day).days + 1)


def _thrown_out(actor: Actor) -> list[ThrownOut]:
    """What was thrown out without having been used, the dearest first."""
    legs = list(
        Movement.objects.filter(
            entry__in=find.entries_of(actor),
            entry__reversed_by__isnull=True,
            from_place__kind__in=INNER,
            to_place__kind__in=THROWN_OUT,
        )
        .exclude(entry__kind=EntryKind.USE)
        .select_related("lot__item", "entry")
    )
    by_item: dict[Item, list[Movement]] = defaultdict(list)
    for leg in legs:
        by_item[leg.lot.item].append(leg)
    bought = purchases(item.pk for item in by_item)
    found = [_thrown(item, own, bought.get(item.pk, Purchase())) for item, own in by_item.items()]
    return sorted(found, key=lambda each: (-(each.cost or 0), each.item.name))


def _thrown(item: Item, legs: Sequence[Movement], bought: Purchase) -> ThrownOut:
    units = sum(leg.units for leg in legs)
    expired = sum(
        leg.units
        for leg in legs
        if leg.lot.expiry is not None and leg.lot.expiry < leg.entry.occurred_at.date()
    )
    cost = None if bought.price is None else (bought.price * units).quantize(Decimal("0.01"))
    return ThrownOut(item, units, expired, cost, bought.currency)
