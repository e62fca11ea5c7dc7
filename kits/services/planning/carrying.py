"""What it costs to carry each line of a list, beside what is known of how often it is needed; and
where money is thrown away, what would throw away less. Never a price of a met need."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kits.models import Item, Kit, ListLine, PackCode, Substitute
from kits.rules.ledger.facts import Criticality
from kits.rules.planning import quantities, rates
from kits.rules.planning.waste import YearlyCost
from kits.services.planning import plans
from kits.services.planning.history import PastTrip
from kits.services.planning.plans import LinePlan, Plan
from kits.services.planning.rates import NO_ACTIVITY, Records

YEARS = 10
"""How often something would have to be needed is said as once in so many years."""
WORTH_SAYING = 0.2
"""Where less than this share of what is bought goes out of date, nothing is said of less waste."""
MOSTLY = 0.5


@dataclass(frozen=True)
class Fewer:
    """A smaller quantity that is still enough at the line's service level: the chance that a trip
    wants more, and the money a year that would not be thrown away."""

    quantity: int
    runs_out: float
    saved: Decimal


@dataclass(frozen=True)
class LessWaste:
    """What would throw away less of a line. `smaller_pack`: units in the smallest pack on record,
    which is more than is carried; `undated`: items for the same need that do not expire; `shared`:
    on how many of its past trips another kit carried it too, of how many."""

    fewer: Fewer | None = None
    smaller_pack: int | None = None
    undated: Sequence[str] = ()
    shared: tuple[int, int] | None = None


@dataclass(frozen=True)
class Carrying:
    """A line's plan with what is on record of its needs: `uses` and participant-`days`, how many
    trips are known; `once_in_years` is the rate of one use in `YEARS` years of this kit, and
    `too_few` whether no use on record leaves that open; what is carried that serves the same."""

    plan: LinePlan
    uses: float
    days: float
    known_trips: int
    trips: int
    once_in_years: float
    too_few: bool
    instead: Sequence[str]
    less_waste: LessWaste

    @property
    def below(self) -> float | None:
        """The rate that it is very likely below where no use is on record."""
        return rates.none_seen(self.days) if self.days and not self.uses else None


@dataclass(frozen=True)
class Costs:
    """What all lines of a plan cost to carry; in all by currency, of those lines whose price is
    known. `hours` is how far care was at most on such trips, as far as recorded."""

    lines: Sequence[Carrying]
    by_currency: Mapping[str, YearlyCost]
    hours: Decimal | None


def costs(of: Plan, known: Records) -> Costs:
    """What the lines of a plan cost to carry."""
    facts = _Facts(of, known)
    lines = [_carrying(each, of, known, facts) for each in of.lines]
    sums: dict[str, YearlyCost] = {}
    for each in of.lines:
        if each.per_year is not None:
            so_far = sums.get(each.purchase.currency, YearlyCost(Decimal(0), Decimal(0)))
            sums[each.purchase.currency] = YearlyCost(
                so_far.carrying + each.per_year.carrying, so_far.waste + each.per_year.waste
            )
    return Costs(lines, sums, _hours(of, facts.own))


class _Facts:
    """What all lines ask of the catalogue and of past trips, loaded once."""

    def __init__(self, of: Plan, known: Records) -> None:
        items = [each.line.item_id for each in of.lines]
        self.carried = {each.line.item_id: each.line.item.name for each in of.lines}
        self.substitutes: dict[int, set[int]] = defaultdict(set)
        for item, other in Substitute.objects.filter(item__in=items).values_list(
            "item_id", "instead_id"
        ):
            self.substitutes[item].add(other)
        self.packs: dict[int, int] = {}
        for item, units in PackCode.objects.filter(item__in=items).values_list(
            "item_id", "units_per_pack"
        ):
            self.packs[item] = min(units, self.packs.get(item, units))
        self.undated = dict(
            Item.objects.active().filter(needs_date=False).values_list("pk", "name")
        )
        kits = set(
            Kit.objects.filter(list_version__packing_list=of.version.packing_list_id).values_list(
                "pk", flat=True
            )
        )
        self.own = [
            trip
            for trip in known.trips
            if trip.kit in kits and of.activity in (NO_ACTIVITY, _activity(trip))
        ]
        self.versions = _versions_with(items, known.trips)
        self.kits_of_trip: dict[int, list[PastTrip]] = defaultdict(list)
        for trip in known.trips:
            self.kits_of_trip[trip.trip.pk].append(trip)

    def same_need(self, item: int, known: Records) -> set[int]:
        """Other items that serve a need of this one, and what the catalogue says will do."""
        found = set(self.substitutes[item])
        for items in known.serves.values():
            if item in items:
                found |= items.keys()
        return found - {item}

    def shared(self, item: int) -> tuple[int, int] | None:
        """On how many past trips another kit carried an item too; None where none did."""
        carrying = self.versions[item]
        own = {trip.trip.pk for trip in self.own if trip.version in carrying}
        both = sum(
            len({each.kit for each in self.kits_of_trip[trip] if each.version in carrying}) > 1
            for trip in own
        )
        return (both, len(own)) if both else None


def _activity(trip: PastTrip) -> str:
    return trip.trip.activity.key if trip.trip.activity else NO_ACTIVITY


def _versions_with(items: Sequence[int], trips: Sequence[PastTrip]) -> dict[int, set[int]]:
    """The versions of past trips' lists that carry each of these items."""
    found: dict[int, set[int]] = defaultdict(set)
    rows = ListLine.objects.filter(
        item__in=items, section__version__in={trip.version for trip in trips}
    )
    for item, version in rows.values_list("item_id", "section__version_id"):
        found[item].add(version)
    return found


def _hours(of: Plan, own: Sequence[PastTrip]) -> Decimal | None:
    hours = [t.trip.hours_to_care for t in own if t.trip.hours_to_care is not None]
    return max(hours, default=None)


def _carrying(line: LinePlan, of: Plan, known: Records, facts: _Facts) -> Carrying:
    item = line.line.item_id
    activity = of.activity or None
    records = [known.recorded(part.rate.need.pk, activity) for part in line.needs]
    uses = sum(each.closed().least for each in records)
    days = max((each.closed().exposure for each in records), default=0.0)
    once = rates.one_use_in(YEARS, of.yearly_days)
    same = facts.same_need(item, known)
    return Carrying(
        plan=line,
        uses=uses,
        days=days,
        known_trips=max((each.known for each in records), default=0),
        trips=max((each.trips for each in records), default=0),
        once_in_years=once,
        too_few=bool(days) and not uses and rates.too_few_to_judge(days, once),
        instead=sorted({facts.carried[each] for each in same if each in facts.carried}),
        less_waste=_less_waste(line, of, facts, same),
    )


def _less_waste(line: LinePlan, of: Plan, facts: _Facts, same: set[int]) -> LessWaste:
    """What would throw away less; of a must-have never that there be fewer."""
    share = line.unused_share
    if share is None or share < WORTH_SAYING or line.line.item.by_eye:
        return LessWaste()
    must_have = line.line.criticality == Criticality.MUST_HAVE
    item = line.line.item_id
    pack = facts.packs.get(item)
    return LessWaste(
        fewer=None if must_have else _fewer(line, of),
        smaller_pack=pack if pack and pack > line.quantity and share >= MOSTLY else None,
        undated=sorted(facts.undated[each] for each in same if each in facts.undated),
        shared=None if must_have else facts.shared(item),
    )


def _fewer(line: LinePlan, of: Plan) -> Fewer | None:
    """The quantity that is enough, one use's units at least, where it is less than is carried and
    throws away less."""
    one_use = max(
        (max(range(len(p.units_per_use)), key=p.units_per_use.__getitem__) for p in line.needs),
        default=0,
    )
    units = max(line.enough, one_use + 1)
    if line.demand is None or line.per_year is None or units >= line.quantity:
        return None
    wants = plans.life_demand(line.needs, of.yearly_days, line.purchase)
    cost = plans.yearly_cost(line.purchase, units, wants)
    saved = line.per_year.waste - cost.waste if cost else Decimal(0)
    if saved <= 0:
        return None
    return Fewer(units, quantities.runs_out(line.demand, units), saved)
