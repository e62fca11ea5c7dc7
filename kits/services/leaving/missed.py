"""Which kit of a room would be missed least, and what each costs to keep."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.models import Room
from kits.models import Checkout, Holding, Kit, Trip
from kits.rules.leaving import missed as rule
from kits.rules.leaving.missed import Busy, KitOfList
from kits.rules.ledger import good_through
from kits.services.ledger import readiness
from kits.services.lookup import find, promises
from kits.services.planning.plans import purchases

YEAR_DAYS = 365


@dataclass(frozen=True)
class SpareKit:
    """A kit, how far it would be missed, the trips of which none could have gone with another
    (`past`), or can (`coming`), and what of its contents goes out of date within a year: units, and
    money by currency, of those with a price on record."""

    kit: Kit
    missed: rule.Missed
    past: Sequence[Trip]
    coming: Sequence[Trip]
    units_ending: int
    money_ending: dict[str, Decimal]


def spare_kits(actor: Actor, room: Room) -> list[SpareKit]:
    """The kits at home in a room, the one that would be missed least first; of equal ones what
    costs most to keep. Training kits and lost ones are left out; kits in storage are not counted
    on. Raises NotAllowed."""
    actor.require("edit_kit", room.pk)
    kits = {
        kit.pk: kit
        for kit in find.kits_of(actor)
        .active()
        .filter(home_room=room, training=False, lost_since=None)
        .order_by("name")
    }
    past, trips = _past(kits, room)
    promised = promises.of_kits(kits)
    ahead = [each.trip for its in promised.values() for each in its]
    trips |= {trip.pk: trip for trip in ahead}
    coming = [
        Busy(kit, each.trip.pk, each.trip.first_day, each.trip.last_day)
        for kit, its in promised.items()
        for each in its
    ]
    ending, states = _ending(kits, room), readiness.states(kits)
    rows = rule.missed(
        [
            KitOfList(
                kit.pk, kit.list_version.packing_list_id, kit.laid_up_since is None, states[kit.pk]
            )
            for kit in kits.values()
        ],
        past,
        coming,
        {pk: readiness.needs_of(trip) for pk, trip in trips.items()},
    )
    found = [
        SpareKit(
            kits[row.kit],
            row,
            [trips[pk] for pk in row.past_without],
            [trips[pk] for pk in row.coming_without],
            *ending.get(row.kit, (0, {})),
        )
        for row in rows
    ]
    return sorted(found, key=lambda row: (row.missed.order, -row.units_ending))


def _past(kits: dict[int, Kit], room: Room) -> tuple[list[Busy], dict[int, Trip]]:
    """When the kits were with somebody within the last year, and the trips that they were on."""
    today = clock.today(room.time_zone)
    outs = (
        Checkout.objects.not_undone()
        .of_whole_kits()
        .filter(kit__in=kits, out_at__date__gte=today - timedelta(days=YEAR_DAYS))
        .select_related("trip")
        .order_by("out_at", "id")
    )
    busy, trips = [], {}
    for out in outs:
        first = clock.local_date(out.out_at, room.time_zone)
        last = clock.local_date(out.in_at, room.time_zone) if out.in_at else today
        busy.append(Busy(out.kit_id, out.trip_id, first, max(first, last)))
        if out.trip is not None:
            trips[out.trip.pk] = out.trip
    return busy, trips


def _ending(kits: dict[int, Kit], room: Room) -> dict[int, tuple[int, dict[str, Decimal]]]:
    """What goes out of date in each kit within a year: units, and money by currency."""
    until = clock.today(room.time_zone) + timedelta(days=YEAR_DAYS)
    rows = list(
        Holding.objects.on_hand().filter(place__kit__in=kits).select_related("lot__item", "place")
    )
    batches = readiness.batches({row.lot_id: row.lot for row in rows}.values())
    ending = [row for row in rows if (last := good_through(batches[row.lot_id])) and last <= until]
    bought = purchases({row.lot.item_id for row in ending})
    units: Counter[int] = Counter()
    money: dict[int, Counter[str]] = {}
    for row in ending:
        kit = row.place.kit_id or 0
        units[kit] += row.units
        of = bought.get(row.lot.item_id)
        if of is not None and of.price is not None:
            pence = round(of.price * row.units * 100)
            money.setdefault(kit, Counter())[of.currency] += pence
    return {
        kit: (count, {code: Decimal(pence) / 100 for code, pence in money.get(kit, {}).items()})
        for kit, count in units.items()
    }
