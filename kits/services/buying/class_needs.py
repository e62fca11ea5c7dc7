"""What the classes of a room need through a season: what its training kits lack, and what classes
used up before. Never a part of what is needed on trips."""

from datetime import date, timedelta

from gearroom.core import clock
from gearroom.core.models import Room
from kits.models import Item, Kit, PlaceKind
from kits.rules.buying import for_class
from kits.rules.buying.order_levels import use_over
from kits.rules.ledger import Units
from kits.services.ledger import readiness
from kits.services.stock import disposing
from kits.services.stock.order_levels import stock_levels, stock_use
from kits.services.stock.order_levels.stock_levels import LOOKS_BACK_DAYS


def needed(room: Room, today: date, through: date) -> dict[int, int]:
    """Units of each item (id) that classes need through a day besides what is set aside for
    training in the room, what is out of date there among it."""
    kits = Kit.objects.filter(home_room=room, retired_on=None, laid_up_since=None, training=True)
    if not (states := readiness.states(kits.values_list("pk", flat=True))):
        return {}
    taught = {thing for s in states.values() for line in s.lines for thing in line.usable_things}
    since = today - timedelta(days=LOOKS_BACK_DAYS)
    items = Item.objects.active().in_bulk(taught)
    first = stock_levels.first_received(items)
    used = {}
    for (_room, item), acts in stock_use.in_class({room.pk: room}, since).items():
        if item in items:
            began = clock.local_date(first[item], room.time_zone) if item in first else since
            used[item] = use_over(
                acts,
                recorded_from=min(max(since, began), today),
                today=today,
                days=(through - today).days,
            )
    return for_class.needed([states[pk] for pk in sorted(states)], _aside(room), used, today)


def _aside(room: Room) -> list[Units]:
    """What is in a room's training box, and what is out of date and could go there."""
    boxes = room.places.filter(kind=PlaceKind.TRAINING).values_list("pk", flat=True)
    old = [row for row in disposing.out_of_date(room) if row.for_class]
    batches = readiness.batches({row.lot.pk: row.lot for row in old}.values())
    rows = [
        *((box, *row) for box, of_box in readiness.units_in(boxes).items() for row in of_box),
        *((row.place.pk, batches[row.lot.pk], row.units) for row in old),
    ]
    return [Units(batch, str(place), units, training=True) for place, batch, units in rows]
