"""What happened: what was used, what was wanted and not there, what was never used and what was
thrown out unused, of the kits at home in somebody's rooms."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from gearroom.core import clock
from gearroom.core.acts import Actor
from kits.models import (
    DISPOSALS,
    INNER,
    Activity,
    EntryKind,
    Item,
    ItemNeed,
    Kit,
    ListLine,
    Movement,
    Need,
    PlaceKind,
    Trip,
)
from kits.rules.ledger.facts import USED_UP, Criticality
from kits.rules.planning.records.rates import Cell
from kits.rules.planning.records.recorded_use import RecordedUse, recorded_use
from kits.rules.planning.records.wants import Lack, Want
from kits.rules.planning.seasons import Season, season_of, seasons
from kits.services.lookup import find
from kits.services.planning.plans import Purchase, purchases
from kits.services.planning.records.history import PastTrip
from kits.services.planning.records.observations import Observation
from kits.services.planning.records.rates import Recorded, Records, cells, records
from kits.services.planning.records.wants import wants

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
    """What came up in a season: uses `met` from what was carried (`at_least`: perhaps more), and
    wants of what was not there; kits' trips that are known, and how many there were. `over`: its
    last day is past."""

    season: Season
    met: float
    at_least: bool
    unmet: int
    known: int
    trips: int
    over: bool


@dataclass(frozen=True)
class NotThere:
    """Something that was needed and not there, so many times: an item, or somebody's own words.
    `not_on_list`: so many of them with a kit whose list carried nothing for it. `trips` are those
    that the actor may see."""

    item: Item | None
    words: str
    times: int
    not_on_list: int
    trips: Sequence[Trip]


@dataclass(frozen=True)
class NeverUsed:
    """An item of a kit list that none of the known trips used: carried on `known` of `trips` kits'
    trips, with what that can bear. What it is for came up on them, `met_otherwise` so often with
    other items (`at_least`)."""

    item: Item
    must_have: bool
    known: int
    trips: int
    recorded: RecordedUse
    met_otherwise: float
    at_least: bool


@dataclass(frozen=True)
class ThrownOut:
    """Units of an item that were thrown out unused, `expired` of them out of date; their price, as
    far as deliveries say (None: they do not). `must_have`: on a list that a kit follows."""

    item: Item
    must_have: bool
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
    season: Season | None = None,
    everything: Records | None = None,
) -> PastUse:
    """What happened with the kits that are at home in an actor's rooms; of one need or activity, if
    given, as far as uses and seasons go; of one season, if given: its trips, and what was thrown
    out in it."""
    everything = everything or records()
    kits = {kit.pk for kit in find.kits_of(actor) if find.knows_kit(actor, kit)}
    trips = [trip for trip in everything.trips if trip.kit in kits and _is_in(season, trip)]
    noted = wants(trips)
    seen = [
        each
        for each in everything.observations
        if each.trip.kit in kits
        and _is_in(season, each.trip)
        and (need is None or each.need == need.pk)
        and (activity is None or each.activity == activity.key)
    ]
    return PastUse(
        known=sum(trip.counts for trip in trips),
        trips=len(trips),
        needs=_needs(seen, everything),
        seasons=_seasons(
            [trip for trip in trips if activity is None or trip.trip.activity == activity],
            seen,
            noted,
            everything.serves.get(need.pk, {}) if need else None,
        ),
        not_there=_not_there(actor, trips, noted),
        never_used=_never_used(
            trips,
            [
                each
                for each in everything.observations
                if each.trip.kit in kits and _is_in(season, each.trip)
            ],
        ),
        thrown_out=_thrown_out(actor, season),
    )


def _is_in(season: Season | None, trip: PastTrip) -> bool:
    return season is None or season_of(trip.trip.first_day) == season


# ------------------------------------------------------------------------------------------ uses
def _needs(seen: Iterable[Observation], everything: Records) -> list[NeedUse]:
    """Each need with a known trip, the most used first."""
    activities = {each.key: each for each in Activity.objects.all()}
    found = []
    for pk, by_activity in cells(seen).items():
        need = everything.needs[pk]
        group = everything.groups[need.group]
        whole = Recorded()
        for each in by_activity.values():
            whole.join(each)
        parts = [
            _use(need, activities.get(key), own, group.dispersion)
            for key, own in by_activity.items()
        ]
        parts.sort(key=lambda each: -each.recorded.uses)
        found.append(NeedUse(_use(need, None, whole, group.mixed), parts))
    return sorted(found, key=lambda each: (-each.whole.recorded.uses, each.whole.need.name))


def _use(need: Need, activity: Activity | None, own: Recorded, dispersion: float) -> Use:
    return Use(need, activity, recorded_use(own.closed(), dispersion), own.known, own.trips)


def _seasons(
    trips: Sequence[PastTrip],
    seen: Iterable[Observation],
    noted: Iterable[Want],
    serves: Collection[int] | None,
) -> list[SeasonUse]:
    """Every season from the first trip's to the last's, those without a trip too. Where only what
    `serves` one need is looked at: of the trips that were to have something for it, or wanted it.
    """
    of_trip: dict[int, list[Observation]] = defaultdict(list)
    for each in seen:
        of_trip[each.trip.checkout].append(each)
    unmet = Counter(each.trip for each in noted if serves is None or each.item in serves)
    by_season: dict[Season, list[PastTrip]] = defaultdict(list)
    for trip in trips:
        if serves is None or trip.checkout in of_trip or unmet[trip.checkout]:
            by_season[season_of(trip.trip.first_day)].append(trip)
    if not by_season:
        return []
    return [
        _season(season, by_season[season], of_trip, unmet)
        for season in seasons(min(by_season).first, max(by_season).first)
    ]


def _season(
    season: Season,
    trips: Sequence[PastTrip],
    of_trip: Mapping[int, Sequence[Observation]],
    unmet: Counter[int],
) -> SeasonUse:
    seen = [each for trip in trips for each in of_trip.get(trip.checkout, ())]
    return SeasonUse(
        season=season,
        met=sum(each.uses - each.unmet for each in seen),
        at_least=any(each.bounded is not None for each in seen),
        unmet=sum(unmet[trip.checkout] for trip in trips),
        known=sum(trip.counts for trip in trips),
        trips=len(trips),
        over=season.last < clock.today("UTC"),
    )


# --------------------------------------------------------------------------------------- the rest
def _not_there(actor: Actor, trips: Iterable[PastTrip], noted: Iterable[Want]) -> list[NotThere]:
    """What was needed and not there, the most often wanted first."""
    by_checkout = {trip.checkout: trip.trip for trip in trips}
    found: dict[tuple[int | None, str], list[Want]] = defaultdict(list)
    for each in noted:
        found[each.item, each.words].append(each)
    items = Item.objects.in_bulk({item for item, _words in found if item is not None})
    on = {by_checkout[each.trip].pk for of_one in found.values() for each in of_one}
    theirs = set(find.trips_of(actor).filter(pk__in=on).values_list("pk", flat=True))
    rows = [
        NotThere(
            item=None if item is None else items[item],
            words=words,
            times=len(of_one),
            not_on_list=sum(each.lack is Lack.NOT_ON_LIST for each in of_one),
            trips=[trip for each in of_one if (trip := by_checkout[each.trip]).pk in theirs],
        )
        for (item, words), of_one in found.items()
    ]
    return sorted(rows, key=lambda each: (-each.times, each.item.name if each.item else each.words))


def _never_used(trips: Sequence[PastTrip], seen: Iterable[Observation]) -> list[NeverUsed]:
    """Items of lists that went along and none of which a known trip used."""
    needs_of: dict[int, set[int]] = defaultdict(set)
    for item, need in ItemNeed.objects.values_list("item", "need"):
        needs_of[item].add(need)
    by_version: dict[int, list[Observation]] = defaultdict(list)
    for each in seen:
        by_version[each.trip.version].append(each)
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
        needs = needs_of[lines[0].item_id]
        came_up = [o for version in versions for o in by_version[version] if o.need in needs]
        found.append(
            NeverUsed(
                item=lines[0].item,
                must_have=any(line.criticality == Criticality.MUST_HAVE for line in lines),
                known=sum(trip.counts for trip in along),
                trips=len(along),
                recorded=recorded_use(Cell(0, days), 1.0),
                met_otherwise=sum(each.uses - each.unmet for each in came_up),
                at_least=any(each.bounded is not None for each in came_up),
            )
        )
    return sorted(
        found, key=lambda each: (-each.known, each.trips, each.recorded.days, each.item.name)
    )


def _days(trip: Trip) -> int:
    return trip.people * ((trip.last_day - trip.first_day).days + 1)


def _thrown_out(actor: Actor, season: Season | None) -> list[ThrownOut]:
    """What was thrown out without having been used, the dearest first."""
    legs = (
        Movement.objects.filter(
            entry__in=find.entries_of(actor),
            entry__reversed_by__isnull=True,
            from_place__kind__in=INNER,
            to_place__kind__in=THROWN_OUT,
        )
        .exclude(entry__kind=EntryKind.USE)
        .select_related("lot__item", "entry")
    )
    if season is not None:
        legs = legs.filter(entry__occurred_at__date__range=(season.first, season.last))
    by_item: dict[Item, list[Movement]] = defaultdict(list)
    for leg in legs:
        by_item[leg.lot.item].append(leg)
    bought = purchases(item.pk for item in by_item)
    must_have = set(
        ListLine.objects.filter(
            section__version__in=Kit.objects.active().values("list_version"),
            criticality=Criticality.MUST_HAVE,
        ).values_list("item_id", flat=True)
    )
    found = [
        _thrown(item, own, bought.get(item.pk, Purchase()), must_have=item.pk in must_have)
        for item, own in by_item.items()
    ]
    return sorted(found, key=lambda each: (-(each.cost or 0), each.item.name))


def _thrown(
    item: Item, legs: Sequence[Movement], bought: Purchase, *, must_have: bool
) -> ThrownOut:
    units = sum(leg.units for leg in legs)
    expired = sum(
        leg.units
        for leg in legs
        if leg.lot.expiry is not None and leg.lot.expiry < leg.entry.occurred_at.date()
    )
    cost = None if bought.price is None else (bought.price * units).quantize(Decimal("0.01"))
    return ThrownOut(item, must_have, units, expired, cost, bought.currency)
