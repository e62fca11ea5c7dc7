"""A list taken on past trips, beside what was carried then."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from gearroom.core import clock
from gearroom.core.acts import Actor
from kits.models import Item, Kit, ListLine, PackingListVersion
from kits.rules.planning import replay as rules
from kits.rules.planning.replay import Line, Replay, Shortage
from kits.services.lookup import find
from kits.services.planning.plans import Purchase, purchases
from kits.services.planning.records.history import PastTrip, past_trips
from kits.services.planning.records.stand_ins import stands_in


@dataclass(frozen=True)
class TripShortage:
    """What one past trip lacks with a list, or perhaps lacks, and with which kit it went."""

    trip: PastTrip
    kit: Kit
    item: Item
    short: Shortage


@dataclass(frozen=True)
class Comparison:
    """What a list came to on past trips of these kits, and what the list came to that is followed
    now (None: it is the same). Differences are of the list less of what is followed now.
    `changed`: items of which there are more or fewer. `currency` of the prices; empty where they
    have several, or none. `nobody_follows`: no kit follows the list, so these are all kits."""

    version: PackingListVersion
    kits: Sequence[Kit]
    trips: Sequence[PastTrip]
    done: Replay
    now: Replay | None
    items: Mapping[int, Item]
    changed: frozenset[int] = frozenset()
    currency: str = ""
    nobody_follows: bool = False

    @property
    def shortages(self) -> list[TripShortage]:
        """What the trips lack, in their order."""
        return self._with_trips(self.done.shortages)

    @property
    def perhaps(self) -> list[TripShortage]:
        """What was just enough as far as is recorded, and perhaps was not."""
        return self._with_trips(self.done.perhaps)

    @property
    def stood_in(self) -> list[TripShortage]:
        """What something else on the list did instead of."""
        return self._with_trips(self.done.stood_in)

    def _with_trips(self, shortages: Iterable[Shortage]) -> list[TripShortage]:
        trips = {trip.checkout: trip for trip in self.trips}
        kits = {kit.pk: kit for kit in self.kits}
        return [
            TripShortage(
                trips[short.trip], kits[trips[short.trip].kit], self.items[short.item], short
            )
            for short in shortages
        ]

    @property
    def own_words(self) -> list[tuple[PastTrip, str]]:
        """What was noted as not there in own words: no list can be asked for it."""
        return [(trip, words) for trip in self.trips for words in trip.own_words]

    @property
    def wants_not_counted(self) -> int:
        """How often an item was noted as not there on trips that are left out."""
        return sum(trip.unmet.total() for trip in self.trips if not trip.counts)

    @property
    def unweighed(self) -> frozenset[int]:
        """Items changed that have no weight."""
        return self.changed & self._both("unweighed")

    @property
    def unpriced(self) -> frozenset[int]:
        """Items changed that have no price."""
        return self.changed & self._both("unpriced")

    def _both(self, name: str) -> frozenset[int]:
        found: frozenset[int] = getattr(self.done, name)
        return found | getattr(self.now, name) if self.now else found

    @property
    def lighter_g(self) -> int:
        """Grams that it carries less than what is followed now."""
        return self.now.mass_g - self.done.mass_g if self.now else 0

    @property
    def saved(self) -> Decimal:
        """Money thrown away less than with what is followed now."""
        return self.now.waste - self.done.waste if self.now else Decimal(0)


def of_version(version: PackingListVersion, kit: Kit | None = None) -> Comparison:
    """Take a version (a draft too) on the past trips of a kit, or of all kits that follow the list
    (of all kits there are, where none does), each with what was wanted of that kit then."""
    followers = Kit.objects.filter(list_version__packing_list=version.packing_list)
    kits = [kit] if kit else list(followers)
    if nobody_follows := not kits:
        kits = list(Kit.objects.all())
    trips = past_trips(kits, clock.now())
    followed = kit.list_version if kit else version
    if not kit:
        newest = version.packing_list.versions.filter(published_at__isnull=False)
        followed = newest.order_by("-number").first() or version
    past = [_as_past(trip) for trip in trips]
    before, after = lines_of(followed), lines_of(version)
    done = rules.replay(after, past)
    return Comparison(
        version=version,
        kits=kits,
        trips=trips,
        done=done,
        now=None if followed.pk == version.pk else rules.replay(before, past),
        items=Item.objects.in_bulk(
            {each.item for each in (*done.shortages, *done.perhaps, *done.stood_in)}
        ),
        changed=_changed(before, after),
        currency=_currency({version.pk, followed.pk}),
        nobody_follows=nobody_follows,
    )


def _changed(before: Sequence[Line], after: Sequence[Line]) -> frozenset[int]:
    amounts = {(line.item, line.carry) for line in before} ^ {
        (line.item, line.carry) for line in after
    }
    return frozenset(item for item, _units in amounts)


def visible_trips(actor: Actor, done: Comparison) -> set[int]:
    """The trips of it, by id, as far as somebody may see them."""
    on = {trip.trip.pk for trip in done.trips}
    return set(find.trips_of(actor).filter(pk__in=on).values_list("pk", flat=True))


def visible_words(actor: Actor, done: Comparison) -> list[str]:
    """The own words of it, as far as somebody may read them: those of kits all of whose story is
    for them."""
    theirs = {kit.pk for kit in done.kits if find.knows_kit(actor, kit)}
    return [words for trip, words in done.own_words if trip.kit in theirs]


def _as_past(trip: PastTrip) -> rules.PastTrip:
    return rules.PastTrip(
        trip=trip.checkout,
        first=trip.trip.first_day,
        wanted=trip.wanted(),
        at_least=trip.ran_out,
        known=trip.counts,
    )


def _currency(versions: set[int]) -> str:
    items = ListLine.objects.filter(section__version__in=versions).values_list("item_id", flat=True)
    found = {each.currency for each in purchases(items).values() if each.price is not None}
    return found.pop() if len(found) == 1 else ""


def lines_of(version: PackingListVersion) -> list[Line]:
    """What a version carries, as a replay takes it: an item on several lines is one."""
    rows = list(ListLine.objects.filter(section__version=version).select_related("item"))
    carried: dict[int, int] = defaultdict(int)
    for row in rows:
        carried[row.item_id] += row.carry
    items = {row.item_id: row.item for row in rows}
    bought = purchases(carried)
    instead = stands_in(carried)
    found: list[Line] = []
    for item, units in carried.items():
        purchase = bought.get(item, Purchase())
        found.append(
            Line(
                item=item,
                carry=units,
                mass_g=items[item].mass_g,
                price=purchase.price,
                shelf_life_days=purchase.shelf_life_days if items[item].needs_date else None,
                stands_in=instead.get(item, {}),
            )
        )
    return found
