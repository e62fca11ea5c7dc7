"""How sure: where units of a recalled batch certainly are, and where they may be; and how a
recall ends.

A tap that does not say which batch takes, in the book, the oldest one; in the hand it took any.
From then on the book's batches are a guess at both ends of that movement, though the number of
units is not. So for the batches in question a place holds not a number but a range, from the
least to the most there can be, and the movements carry ranges along:

* a movement whose batch was named says that such units were there, and moves just those;
* a movement whose batch was assumed moves at most as many of them as there can be, and at least
  as many as are left when everything else in the place went first;
* a count of the whole place makes it certain again;
* what a count or a use finds beyond the book may be units from anywhere, and what a count misses
  may be lying anywhere: neither makes any place more certain than the hand that found it.

Ranges are kept place by place, so what one place turning out certain would say of another is not
worked out. That errs to one side only: a range may be too wide, never too narrow.
"""

import enum
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass


class Outcome(enum.StrEnum):
    """How a recall ended. Only what its maker withdraws makes its batches good again."""

    FINISHED = "finished"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True)
class Unsettled:
    """What is not accounted for of a recalled batch: units in quarantine, units that the book has
    elsewhere, and places where nobody has looked yet."""

    quarantined: int = 0
    elsewhere: int = 0
    unanswered: int = 0

    def __bool__(self) -> bool:
        return bool(self.quarantined or self.elsewhere or self.unanswered)


@dataclass(frozen=True)
class Leg:
    """Units of a batch that an entry moved, in the order recorded. `reverses` is the id of the
    entry that this leg's entry puts right."""

    entry: int
    batch: int
    from_place: int
    to_place: int
    units: int
    lot_assumed: bool = False
    reverses: int | None = None


@dataclass(frozen=True)
class Counted:
    """A look at all of the item in a place, batch by batch: `units` by batch id are all there
    were. It follows the legs that brought the book in line with it."""

    entry: int
    place: int
    units: Mapping[int, int]


Event = Leg | Counted


@dataclass(frozen=True)
class Bounds:
    """The least and the most units of the batches in question that a place can hold."""

    least: int = 0
    most: int = 0


@dataclass(frozen=True)
class PlaceRange:
    """A place with units of a recalled batch: `least` are certainly of it, `most` may be, counting
    units whose batch number is not known."""

    place: int
    least: int
    most: int


@dataclass(frozen=True)
class RecalledPlaces:
    """Where a recalled batch is: places that certainly hold some, and others that may; each in
    order of place."""

    certain: tuple[PlaceRange, ...]
    maybe: tuple[PlaceRange, ...]


def recalled_places(
    events: Sequence[Event],
    recalled: Collection[int],
    number_not_known: Collection[int] = (),
    *,
    outer: Collection[int],
    unexplained: Collection[int],
) -> RecalledPlaces:
    """Return which inner places hold units of the `recalled` batches.

    `events` are all of one item, in recorded order. `number_not_known` are batches of it without a
    maker's number, any of which may be of a recalled one. `outer` are places that keep no holdings
    (supplier, used, disposed, …), `unexplained` those of them that stand for count differences.
    """
    surely = bounds(events, recalled, outer=outer, unexplained=unexplained)
    perhaps = bounds(events, {*recalled, *number_not_known}, outer=outer, unexplained=unexplained)
    held = [
        PlaceRange(place, surely[place].least, perhaps[place].most)
        for place in sorted(perhaps)
        if place not in outer and perhaps[place].most > 0
    ]
    return RecalledPlaces(
        certain=tuple(x for x in held if x.least > 0),
        maybe=tuple(x for x in held if x.least == 0),
    )


def bounds(
    events: Sequence[Event],
    batches: Collection[int],
    *,
    outer: Collection[int],
    unexplained: Collection[int],
) -> dict[int, Bounds]:
    """Return for each place that the events name how many units of `batches`, taken together, it
    can hold. The arguments are those of `recalled_places`."""
    wanted = frozenset(batches)
    places: dict[int, _Range] = {}
    void = _void(events)
    for event in events:
        if event.entry in void:
            continue
        if isinstance(event, Counted):
            count = sum(n for batch, n in event.units.items() if batch in wanted)
            places[event.place] = _Range(count, count, sum(event.units.values()))
            continue
        source = places.setdefault(event.from_place, _Range())
        target = places.setdefault(event.to_place, _Range())
        named = None if event.lot_assumed else event.batch in wanted
        if event.from_place in unexplained:
            target.find(event.units, named)
        elif event.to_place in unexplained:
            source.miss(event.units, named)
        elif event.from_place in outer:
            target.come(event.units, *_share(event.units, named))
        else:
            target.come(event.units, *source.go(event.units, named))
    return {place: Bounds(x.least, x.most) for place, x in places.items()}


def _void(events: Iterable[Event]) -> set[int]:
    """The entries that did not happen: those that a reversing entry puts right, and the reversing
    entries, which only say so. One that is itself reversed says nothing."""
    reversals = {x.entry: x.reverses for x in events if isinstance(x, Leg) and x.reverses}
    void: set[int] = set()
    for entry in sorted(reversals, reverse=True):
        if entry not in void:
            void.add(reversals[entry])
    return void | set(reversals)


def _share(units: int, named: bool | None) -> tuple[int, int]:
    """The least and most of `units` that are of the batches in question; `named` None: not said."""
    return (units if named else 0), (0 if named is False else units)


class _Range:
    """What a place can hold: `least` to `most` units in question, and no more than `in_all` of
    any batch."""

    def __init__(self, least: int = 0, most: int = 0, in_all: int = 0) -> None:
        self.least, self.most, self.in_all = least, most, in_all

    def go(self, units: int, named: bool | None) -> tuple[int, int]:
        """Take units away; return the least and most in question among them."""
        self.in_all = max(self.in_all, units)
        if named is None:
            gone = (max(0, units - (self.in_all - self.least)), min(units, self.most))
            self.least = max(0, self.least - units)
        elif named:
            gone = (units, units)
            self.least, self.most = max(0, self.least - units), max(0, self.most - units)
        else:
            gone = (0, 0)
        self.in_all -= units
        self.most = min(self.most, self.in_all)
        self.least = min(self.least, self.most)
        return gone

    def come(self, units: int, least: int, most: int) -> None:
        """Add units, `least` to `most` of them in question."""
        self.least += least
        self.most += most
        self.in_all += units

    def find(self, units: int, named: bool | None) -> None:
        """More was in the hand than in the book: named units are certainly there, though they may
        be the ones already reckoned with."""
        if named:
            self.least = max(self.least, units)
        self.come(units, 0, _share(units, named)[1])

    def miss(self, units: int, named: bool | None) -> None:
        """Less was found than in the book. What was missed may have been taken for another batch
        and be there still, so the most stays as it was."""
        if named is not False:
            self.least = max(0, self.least - units)
