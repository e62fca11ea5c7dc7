"""Where units go when each kit that is opened is filled first expired, first out."""

from collections import Counter
from collections.abc import Set

from kits.rules.rotation.spots import Holding, Holds, Spot, Stock


def first_out(stock: Stock, opened: Set[int]) -> Holding:
    """What the spots hold once each opened kit, in the order of the spots, is filled from the
    shelves with what goes out of date first of what lasts long enough for it. What does not last
    gives way to what does; it goes back to the shelves."""
    shelves = {spot.item: Counter(spot.holds) for spot in stock.spots if spot.kit is None}
    after: dict[int, Holds] = {}
    for at, spot in enumerate(stock.spots):
        if spot.kit is not None:
            is_opened = spot.kit in opened
            after[at] = _filled(stock, spot, shelves[spot.item]) if is_opened else spot.holds
    return tuple(
        after[at] if at in after else dict(+shelves[spot.item])
        for at, spot in enumerate(stock.spots)
    )


def _filled(stock: Stock, spot: Spot, shelf: Counter[int]) -> Holds:
    held = Counter(spot.holds)
    lasting = sum(n for batch, n in held.items() if stock.batches[batch].days >= spot.lasts)
    ending = [
        batch
        for batch, units in stock.in_order(held)
        for _ in range(units)
        if batch.days < spot.lasts
    ]
    coming = [
        batch
        for batch, units in stock.in_order(shelf)
        for _ in range(units)
        if batch.days >= spot.lasts
    ][: max(0, spot.wants - lasting)]
    for number, batch in enumerate(coming):
        # While the kit is not full, what ends early stays beside what comes.
        if spot.units + number >= spot.wants and ending:
            out = ending.pop(0)
            held[out.id] -= 1
            shelf[out.id] += 1
        held[batch.id] += 1
        shelf[batch.id] -= 1
    return dict(+held)
