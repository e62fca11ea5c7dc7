"""What it costs to carry each line of a list, beside what is known of how often it is needed; and
where money is thrown away, what would throw away less. Never a price of a met need."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from kits.models import Item, Kit, ListLine, PackCode, Substitute
from kits.rules.planning import quantities, waste
from kits.rules.planning.quantities import Basis
from kits.rules.planning.records import rates
from kits.rules.planning.waste import LEAST_SAVING, YearlyCost
from kits.services.planning import plans
from kits.services.planning.plans import LinePlan, Plan
from kits.services.planning.records.history import PastTrip
from kits.services.planning.records.rates import NO_ACTIVITY, Records

YEARS = 10
"""What is needed once in so many years is what a few days without use say nothing of."""
WORTH_SAYING = 0.2
"""Where less than this share of what is bought goes out of date, nothing is said of less waste."""
MOSTLY = 0.5


@dataclass(frozen=True)
class Fewer:
    """A smaller quantity that is still enough at the line's service level: the chance that a trip
    wants more, that of today's quantity, and the money a year that would not be thrown away."""

    quantity: int
    runs_out: float
    runs_out_now: float
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
    """A line's plan with what is on record of its needs: `uses` (`at_least`: or more) and
    participant-`days`, how many trips are known; `too_few` whether no use on record leaves it open
    if one such kit needs it once in `YEARS` years; what is carried that serves the same."""

    plan: LinePlan
    uses: float
    at_least: bool
    days: float
    known_trips: int
    trips: int
    too_few: bool
    instead: Sequence[str]
    less_waste: LessWaste


@dataclass(frozen=True)
class Costs:
    """What all lines of a plan cost to carry; in all by currency, of those lines of which it is
    known. `hours` is how far care was at most on such trips, as far as recorded."""

    lines: Sequence[Carrying]
    by_currency: Mapping[str, YearlyCost]
    hours: Decimal | None

    @property
    def loose(self) -> int:
        """How many lines are of what nobody counts."""
        return sum(each.plan.basis is Basis.LOOSE for each in self.lines)

    @property
    def not_known(self) -> int:
        """How many other lines are in no sum, because no price or no date is on record."""
        return sum(each.plan.per_year is None for each in self.lines) - self.loose


def costs(of: Plan, known: Records) -> Costs:
    """What the lines of a plan cost to carry."""
    facts = _Facts(of, known)
    lines = [_carrying(each, of, known, facts) for each in of.lines]
    by_currency = waste.whole(
        (each.purchase.currency, each.per_year) for each in of.lines if each.per_year is not None
    )
    return Costs(lines, by_currency, _hours(of, facts.own))


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
    cells = [each.closed() for each in records]
    uses = sum(each.least for each in cells)
    days = max((each.exposure for each in cells), default=0.0)
    once = rates.one_use_in(YEARS, of.yearly_days)
    same = facts.same_need(item, known)
    return Carrying(
        plan=line,
        uses=uses,
        at_least=any(each.open_ended for each in cells),
        days=days,
        known_trips=max((each.known for each in records), default=0),
        trips=max((each.trips for each in records), default=0),
        too_few=bool(days) and not uses and rates.too_few_to_judge(days, once),
        instead=sorted({facts.carried[each] for each in same if each in facts.carried}),
        less_waste=_less_waste(line, of, facts, same),
    )


def _less_waste(line: LinePlan, of: Plan, facts: _Facts, same: set[int]) -> LessWaste:
    """What would throw away less; of a must-have never that there be fewer."""
    share = line.unused_share
    if share is None or share < WORTH_SAYING or line.line.item.by_eye:
        return LessWaste()
    must_have = line.must_have
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
    saves enough money to speak of."""
    one_use = max(
        (max(range(len(p.units_per_use)), key=p.units_per_use.__getitem__) for p in line.needs),
        default=0,
    )
    units = max(line.enough, one_use + 1)
    if (
        line.demand is None
        or line.change is None
        or line.per_year is None
        or units >= line.quantity
    ):
        return None
    wants = plans.life_demand(line.needs, of.yearly_days, line.purchase)
    cost = plans.yearly_cost(line.purchase, units, wants)
    saved = line.per_year.waste - cost.waste if cost else Decimal(0)
    if saved < LEAST_SAVING:
        return None
    runs_out = quantities.runs_out(line.demand, units)
    return Fewer(units, runs_out, line.change.runs_out, saved)
