"""What a list comes to for a trip: how likely each line is to run out, what expires unused, and
what carrying costs. It never says that anything should be left out."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from gearroom.core import clock
from kits.models import (
    Activity,
    EntryKind,
    Kit,
    ListLine,
    Movement,
    PackingListVersion,
    PlaceKind,
    Receipt,
)
from kits.rules.buying import receipts as deliveries
from kits.rules.buying.receipts import Delivery
from kits.rules.ledger.facts import USED_UP, Criticality
from kits.rules.planning import demand as demands, quantities, waste
from kits.rules.planning.demand import Probabilities
from kits.rules.planning.quantities import Basis, OneMore
from kits.rules.planning.records import units_per_use
from kits.rules.planning.waste import YearlyCost
from kits.services.planning.records.history import PastTrip
from kits.services.planning.records.rates import NO_ACTIVITY, NeedRate, Records, records

SERVICE_LEVELS = {
    Criticality.MUST_HAVE: 0.99,
    Criticality.IMPORTANT: 0.95,
    Criticality.ROUTINE: 0.90,
}
"""The chance with which a line is to be enough for a trip, by its priority."""
DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class Purchase:
    """What our deliveries say of an item: the price of a unit, in a currency, and for how many days
    it was good when it came (the middle of all deliveries); None where none says it."""

    price: Decimal | None = None
    currency: str = ""
    shelf_life_days: int | None = None


@dataclass(frozen=True)
class NeedPart:
    """What one need asks of a line: its rate, and the chances of 1, 2 … units a use."""

    rate: NeedRate
    units_per_use: Sequence[float]

    def demand(self, days: float) -> Probabilities | None:
        """Chances of 0, 1, 2 … units wanted over so many participant-days; None without a rate."""
        if self.rate.rate is None:
            return None
        units = demands.units_of_use(self.units_per_use)
        return demands.demand(self.rate.rate, days, units)


@dataclass(frozen=True)
class LinePlan:
    """What a line comes to. `demand` is None where its `basis` is not how often it is wanted:
    nothing is said of how many are enough then. `per_year` is as if none were used where nothing is
    known of that, and None for what is loose. `unused_share` of a fresh fill's units go out of date
    unused, on average."""

    line: ListLine
    basis: Basis
    needs: Sequence[NeedPart]
    planned_days: float
    demand: Probabilities | None
    quantity: int
    service_level: float
    enough: int
    change: OneMore | None
    purchase: Purchase
    expires_unused: float | None
    unused_share: float | None
    per_year: YearlyCost | None

    @property
    def at_least(self) -> bool:
        """Whether more may be wanted than is worked out: a need of it has no rate."""
        return self.demand is not None and any(part.rate.rate is None for part in self.needs)

    @property
    def must_have(self) -> bool:
        """Whether a kit may not do without it."""
        return self.line.criticality == Criticality.MUST_HAVE


@dataclass(frozen=True)
class KitYear:
    """What a year of one kit is: participant-days, and units by item that counts found missing."""

    days: float
    lost: Mapping[int, float]


@dataclass(frozen=True)
class Plan:
    """What a version of a list comes to for so many people and days of an activity.

    `lacks_something` is the chance that at least one line with a rate runs out on one trip, and
    `lacks_must_have` that a must-have does. `yearly_days` are the participant-days a year that one
    such kit had, as far as recorded.
    """

    version: PackingListVersion
    people: int
    days: int
    activity: str
    planned_days: float
    yearly_days: float
    lines: Sequence[LinePlan]
    lacks_something: float
    lacks_must_have: float

    def on(self, basis: Basis) -> list[LinePlan]:
        """The lines with a basis."""
        return [each for each in self.lines if each.basis is basis]


def plan(
    version: PackingListVersion,
    *,
    people: int | None = None,
    days: int | None = None,
    activity: Activity | None = None,
    known: Records | None = None,
) -> Plan:
    """A version's plan; for as many people and days as the list serves unless told."""
    known = known or records()
    people, days = people or version.people, days or version.days
    planned = float(people * days)
    lines = list(
        ListLine.objects.filter(section__version=version)
        .select_related("item", "section")
        .order_by("section__position", "position", "id")
    )
    bought = purchases(line.item_id for line in lines)
    sizes = sizes_of_use(known)
    year = kit_year(version, known.trips)
    found = [
        _line(line, known, activity, planned, year, bought.get(line.item_id, Purchase()), sizes)
        for line in lines
    ]
    return Plan(
        version=version,
        people=people,
        days=days,
        activity=activity.key if activity else NO_ACTIVITY,
        planned_days=planned,
        yearly_days=year.days,
        lines=found,
        lacks_something=_lacks(found),
        lacks_must_have=_lacks(each for each in found if each.must_have),
    )


def _lacks(lines: Iterable[LinePlan]) -> float:
    return quantities.lacks_something(each.change.runs_out for each in lines if each.change)


def _line(
    line: ListLine,
    known: Records,
    activity: Activity | None,
    planned: float,
    year: KitYear,
    bought: Purchase,
    sizes: Mapping[int, Mapping[int, int]],
) -> LinePlan:
    """What one line comes to."""
    parts, one_use = _parts(line, known, activity, sizes.get(line.item_id, {}))
    basis = quantities.basis(
        loose=line.item.by_eye,
        used_up=line.item.kind in USED_UP,
        needs=len(parts),
        with_rate=sum(part.rate.rate is not None for part in parts),
    )
    wants = _together(parts, planned) if basis is Basis.DEMAND else None
    priority = Criticality(line.criticality)
    level = SERVICE_LEVELS[priority]
    unused, share, cost = _money(line, basis, parts, year, bought)
    return LinePlan(
        line=line,
        basis=basis,
        needs=parts,
        planned_days=planned,
        demand=wants,
        quantity=line.carry,
        service_level=level,
        enough=quantities.proposed(
            wants,
            level=level,
            minimum=line.never_below,
            units_per_use=one_use,
            one_use_at_least=priority is not Criticality.ROUTINE,
        ),
        change=quantities.one_more(wants, line.carry) if wants is not None else None,
        purchase=bought,
        expires_unused=unused,
        unused_share=share,
        per_year=cost,
    )


def _parts(
    line: ListLine, known: Records, activity: Activity | None, sizes: Mapping[int, int]
) -> tuple[list[NeedPart], int]:
    """What each need asks of a line, and the most units that one use is stated to take."""
    parts, one_use = [], 1
    for need_id, items in known.serves.items():
        if row := items.get(line.item_id):
            rate = known.rate_in(known.needs[need_id], activity)
            parts.append(NeedPart(rate, units_per_use.chances(row.units_per_use, sizes)))
            one_use = max(one_use, row.units_per_use)
    return parts, one_use


def _together(parts: Sequence[NeedPart], days: float) -> Probabilities | None:
    """The sum of what needs ask of a line, as far as they have rates."""
    wants = [each for part in parts if (each := part.demand(days)) is not None]
    return quantities.together(wants) if wants else None


def _money(
    line: ListLine, basis: Basis, parts: Sequence[NeedPart], year: KitYear, bought: Purchase
) -> tuple[float | None, float | None, YearlyCost | None]:
    """The chance that a unit of a fresh fill goes out of date unused, the share of its units that
    do, and what the line comes to in a year; None where what it rests on is not known."""
    life, price = bought.shelf_life_days, bought.price
    if basis is Basis.LOOSE or (line.item.needs_date and life is None):
        return None, None, None
    if basis is Basis.COMES_BACK:
        lost = year.lost.get(line.item_id, 0.0)
        kept = None if price is None else waste.cost_of_keeping(price, line.carry, life, lost)
        return None, None, kept
    wants = life_demand(parts, year.days, bought)
    unused: float | None = 0.0
    share: float | None = 0.0
    if life is not None:
        unused, share = None, None
        if wants is not None:
            unused = 1 - quantities.runs_out(wants, line.carry - 1)
            share = waste.left_of_fresh_fill(wants, line.carry) / line.carry
    return unused, share, yearly_cost(bought, line.carry, wants)


def life_demand(parts: Sequence[NeedPart], yearly: float, bought: Purchase) -> Probabilities | None:
    """What needs ask of a line while a fresh fill keeps, or in a year where it does not expire;
    None without a rate."""
    life = bought.shelf_life_days
    return _together(parts, yearly * (life / DAYS_A_YEAR if life else 1))


def yearly_cost(bought: Purchase, units: int, wants: Probabilities | None) -> YearlyCost | None:
    """What so many units come to in a year, as if none were used where it is not known how many
    are (None); None without a price."""
    if bought.price is None:
        return None
    used = demands.NONE if wants is None else wants
    return waste.cost_per_year(bought.price, units, used, bought.shelf_life_days)


def kit_year(version: PackingListVersion, trips: Sequence[PastTrip]) -> KitYear:
    """A year of a kit that follows this list, over the time since its first trip; as many people
    and days as the list is made for, twice a month, where it never went."""
    kits = set(
        Kit.objects.filter(list_version__packing_list=version.packing_list_id).values_list(
            "pk", flat=True
        )
    )
    own = [trip for trip in trips if trip.kit in kits]
    if not own:
        return KitYear(24.0 * version.people * version.days, {})
    first = min(trip.trip.first_day for trip in own)
    years = max((clock.today("UTC") - first) / timedelta(days=DAYS_A_YEAR), 1.0)
    kit_years = len({trip.kit for trip in own}) * years
    days = sum(
        trip.trip.people * ((trip.trip.last_day - trip.trip.first_day).days + 1) for trip in own
    )
    lost: Counter[int] = sum((trip.lost_at_count for trip in own), Counter())
    return KitYear(days / kit_years, {item: units / kit_years for item, units in lost.items()})


def purchases(items: Iterable[int]) -> dict[int, Purchase]:
    """What deliveries say of items: the latest price of a unit, and the usual shelf life."""
    receipts = list(
        Receipt.objects.filter(lot__item__in=set(items), entry__reversed_by__isnull=True)
        .select_related("lot", "entry")
        .order_by("entry__occurred_at", "id")
    )
    units: dict[tuple[int, int], int] = defaultdict(int)
    for entry, lot, count in Movement.objects.filter(
        entry__in=[receipt.entry_id for receipt in receipts],
        entry__kind=EntryKind.RECEIVE,
        from_place__kind=PlaceKind.SUPPLIER,
    ).values_list("entry", "lot", "units"):
        units[entry, lot] += count
    known = [
        Delivery(
            item=receipt.lot.item_id,
            supplier=receipt.supplier,
            came_on=receipt.entry.occurred_at.date(),
            units=count,
            price=receipt.price if count else None,
            currency=receipt.currency,
            expiry=receipt.lot.expiry,
        )
        for receipt in receipts
        for count in [units[receipt.entry_id, receipt.lot_id]]
    ]
    prices, lives = deliveries.prices(known), deliveries.shelf_lives(known)
    found: dict[int, Purchase] = {}
    for item in {each.item for each in known}:
        paid, life = prices.get(item), lives.get((item, None))
        found[item] = Purchase(
            paid[-1].each if paid else None,
            paid[-1].currency if paid else "",
            life.days if life else None,
        )
    return found


def sizes_of_use(known: Records) -> dict[int, dict[int, int]]:
    """How many units one use took, by item: from reports that name a single incident."""
    found: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    legs = Movement.objects.filter(
        entry__kind=EntryKind.USE,
        entry__reversed_by__isnull=True,
        entry__checkout__in=[trip.checkout for trip in known.trips],
        to_place__kind=PlaceKind.USED,
    ).exclude(entry__incident="")
    together: dict[tuple[int, int], int] = defaultdict(int)
    for entry, item, units in legs.values_list("entry", "lot__item", "units"):
        together[entry, item] += units
    for (_, item), units in together.items():
        found[item][units] += 1
    return found
