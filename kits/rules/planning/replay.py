"""What a list would have come to on trips that are over: no chances, only what was recorded.

Each trip is packed afresh with what the list carries. What was wanted of an item is taken from the
line that carries it, then from lines that stand in for it; what is left is a shortage. Between
trips the kit is filled again, and what reached its date is thrown out and bought anew.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal


@dataclass(frozen=True)
class Line:
    """What a list carries of an item (1 or more units), and what a unit weighs, costs and lasts.

    `stands_in` says for which other items it serves, and how many of its units do for one of
    theirs. None: not known, or (`shelf_life_days`) without a date.
    """

    item: int
    carry: int
    mass_g: int | None = None
    price: Decimal | None = None
    shelf_life_days: int | None = None
    stands_in: Mapping[int, float] = field(default_factory=dict)


@dataclass(frozen=True)
class PastTrip:
    """What was wanted of each item on a trip with the kit, in units, what was not in it included.

    `at_least`: items of which all that was carried went, so that more may have been wanted.
    `known` is False where the kit came back and nobody counted.
    """

    trip: int
    first: date
    wanted: Mapping[int, int]
    at_least: frozenset[int] = frozenset()
    known: bool = True


@dataclass(frozen=True)
class Shortage:
    """An item of which a trip wanted more than the list carries; `at_least`: or even more.

    `on_list`: the list carries it, or something that stands in for it, and that ran out. For
    `stood_in` units something else on the list did instead. Nothing `lacking`: it was just enough
    then, or perhaps not, since all that was carried then went.
    """

    trip: int
    item: int
    wanted: int
    lacking: int
    at_least: bool
    on_list: bool
    stood_in: int = 0


@dataclass(frozen=True)
class Replay:
    """What a list came to on past trips.

    `perhaps` are items of which all that was carried then went, that this list has enough for as
    far as is recorded; `stood_in` those of which something else on it met all that was lacking.
    `thrown_out` has units by item that went out of date; `waste` their price, and `mass_g` what the
    list weighs, both of the lines whose price or mass is known. `unpriced` and `unweighed` are the
    items left out there.
    """

    counted: int
    not_counted: Sequence[int]
    shortages: Sequence[Shortage]
    perhaps: Sequence[Shortage]
    stood_in: Sequence[Shortage]
    thrown_out: Mapping[int, int]
    waste: Decimal
    mass_g: int
    unpriced: frozenset[int]
    unweighed: frozenset[int]

    @property
    def short_trips(self) -> int:
        """Trips on which it lacked something."""
        return len({each.trip for each in self.shortages})

    @property
    def not_on_list_trips(self) -> int:
        """Trips on which something was wanted that is not on the list at all."""
        return len({each.trip for each in self.shortages if not each.on_list})

    @property
    def ran_out_trips(self) -> int:
        """Trips on which something on the list ran out."""
        return len({each.trip for each in self.shortages if each.on_list})

    @property
    def stood_in_trips(self) -> int:
        """Trips on which something else on the list did instead of an item, and was enough."""
        return len({each.trip for each in self.stood_in})

    @property
    def perhaps_trips(self) -> int:
        """Trips that lacked nothing as far as is recorded, and perhaps did."""
        short = {each.trip for each in self.shortages}
        return len({each.trip for each in self.perhaps} - short)


def replay(lines: Sequence[Line], trips: Sequence[PastTrip]) -> Replay:
    """Take a list on past trips, in the order of their days."""
    in_order = sorted(
        (trip for trip in trips if trip.known), key=lambda trip: (trip.first, trip.trip)
    )
    taken: dict[int, list[tuple[date, int]]] = {line.item: [] for line in lines}
    shortages: list[Shortage] = []
    for trip in in_order:
        short, used = _pack(lines, trip)
        shortages += short
        for item, units in used.items():
            taken[item].append((trip.first, units))
    over = in_order[-1].first if in_order else None
    thrown = {
        line.item: gone
        for line in lines
        if over and (gone := _thrown_out(line, in_order[0].first, over, taken[line.item]))
    }
    return Replay(
        counted=len(in_order),
        not_counted=[trip.trip for trip in trips if not trip.known],
        shortages=[each for each in shortages if each.lacking],
        perhaps=[each for each in shortages if not each.lacking and each.at_least],
        stood_in=[each for each in shortages if not each.lacking and each.stood_in],
        thrown_out=thrown,
        waste=sum(
            (line.price * thrown.get(line.item, 0) for line in lines if line.price is not None),
            Decimal(0),
        ),
        mass_g=sum(line.mass_g * line.carry for line in lines if line.mass_g is not None),
        unpriced=frozenset(line.item for line in lines if line.price is None),
        unweighed=frozenset(line.item for line in lines if line.mass_g is None),
    )


def _pack(lines: Sequence[Line], trip: PastTrip) -> tuple[list[Shortage], dict[int, int]]:
    """What a trip lacks, or perhaps lacks, and what it takes of each line."""
    on_list = {line.item for line in lines}.union(*(line.stands_in for line in lines))
    left = {line.item: line.carry for line in lines}
    lacking: dict[int, int] = {}
    beyond: dict[int, int] = {}
    for item, wanted in trip.wanted.items():
        own = min(wanted, left.get(item, 0))
        if own:
            left[item] -= own
        if wanted > own:
            lacking[item] = beyond[item] = wanted - own
    # Substitutes cover shortage only, once every line has given what it carries for its own item.
    for item in list(lacking):
        for line in lines:
            ratio = line.stands_in.get(item)
            if ratio and lacking[item]:
                covered = min(lacking[item], int(left[line.item] / ratio))
                left[line.item] -= _units(covered, ratio)
                lacking[item] -= covered
    short = [
        Shortage(
            trip.trip,
            item,
            wanted,
            lacking.get(item, 0),
            at_least=item in trip.at_least,
            on_list=item in on_list,
            stood_in=beyond.get(item, 0) - lacking.get(item, 0),
        )
        for item, wanted in trip.wanted.items()
        if item in beyond or (wanted and item in trip.at_least)
    ]
    return short, {line.item: line.carry - left[line.item] for line in lines}


def _units(covered: int, ratio: float) -> int:
    """Units that stand in for `covered` units of another item."""
    return -int(-covered * ratio // 1)


def _thrown_out(line: Line, first: date, last: date, taken: Sequence[tuple[date, int]]) -> int:
    """Units that reached their date unused from a first full kit on, used soonest first."""
    if line.shelf_life_days is None:
        return 0
    life = timedelta(days=line.shelf_life_days)
    batches = [(first + life, line.carry)]
    gone = 0
    for day, units in [*taken, (last, 0)]:
        while batches and batches[0][0] < day:
            end, left = batches.pop(0)
            gone += left
            if left:
                _add(batches, end + timedelta(days=1) + life, left)
        missing = units
        while missing and batches:
            end, left = batches[0]
            take = min(left, missing)
            missing -= take
            batches[0] = (end, left - take)
            if left == take:
                batches.pop(0)
        _add(batches, day + life, units - missing)
    return gone


def _add(batches: list[tuple[date, int]], end: date, units: int) -> None:
    """Put a batch in its place by date."""
    if units:
        batches.append((end, units))
        batches.sort()
