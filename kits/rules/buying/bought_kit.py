"""What would become of the lines of a filled kit that might be bought, before it is bought.

Each unit is kept where a kit list wants it, goes on a shelf as an extra where another list wants
it, to teaching, or in the bin. What was done with an item before, and why, is the best guess of
what will be done again; whoever strips the kit decides.
"""

import enum
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from gearroom.core.rules.grouping import summed
from kits.rules.ledger.facts import Kind, Thing

ENOUGH_TIMES = 2
"""So often an item must have gone the same way before that is taken for a habit."""


class Fate(enum.StrEnum):
    """What becomes of an item out of a bought kit."""

    KEEP = "keep"
    SHELF = "shelf"
    TRAINING = "training"
    DISPOSE = "dispose"


class Why(enum.StrEnum):
    """Why a unit would go that way."""

    LISTED = "listed"  # the list of the kit wants it
    INSTEAD = "instead"  # the list wants something that it will do instead of
    EXTRA = "extra"  # another list wants it
    BEFORE = "before"  # so it went the last times
    EXPIRES_FIRST = "expires-first"  # it is out of date before it would be used
    NOT_LISTED = "not-listed"  # no list wants it, or no more of it
    UNKNOWN = "unknown"  # it is no item on record


class Reason(enum.StrEnum):
    """Why whoever broke a kit down did not keep something in it."""

    NARROW = "narrow"
    POOR_ADHESIVE = "poor-adhesive"
    SACHETS = "sachets"
    EXPIRES_FIRST = "expires-first"
    DUPLICATE = "duplicate"
    NOT_TRAINED_FOR = "not-trained-for"


@dataclass(frozen=True)
class KitLine:
    """Units (1 or more) of an item in a bought kit, with their expiry date (None: none printed, or
    not read). `thing` None: no item on record goes by that name."""

    name: str
    thing: Thing | None
    units: int
    expiry: date | None = None


@dataclass(frozen=True)
class Past:
    """What became of an item in kits stripped before: how often, and for which reason most."""

    fate: Fate
    times: int
    reason: str = ""


@dataclass(frozen=True)
class Part:
    """Units of a line that would go one way, and why; `before` where that is what was done;
    `instead`: the item of the list (id) that they stand for where that is another."""

    line: KitLine
    units: int
    fate: Fate
    why: Why
    before: Past | None = None
    instead: int | None = None

    @property
    def serves(self) -> int | None:
        """The item (id) of a list that they count as; None where they are no item on record."""
        return self.instead or (self.line.thing.id if self.line.thing else None)


def habit(past: Iterable[tuple[Fate, str]]) -> Past | None:
    """What was done with an item most often, in more than half of all times and at least twice,
    and the reason given most; None where there is no such habit."""
    known = list(past)
    ((fate, times),) = Counter(fate for fate, _ in known).most_common(1) or [(Fate.KEEP, 0)]
    if times < ENOUGH_TIMES or 2 * times <= len(known):
        return None
    reasons = Counter(reason for each, reason in known if each is fate and reason)
    return Past(fate, times, min(reasons, key=lambda r: (-reasons[r], r)) if reasons else "")


def fates(
    lines: Sequence[KitLine],
    *,
    wanted: Mapping[int, int],
    extras: Mapping[int, int],
    past: Mapping[int, Past],
    through: date,
    will_do: Mapping[int, Sequence[int]] | None = None,
) -> list[Part]:
    """What would become of each line, in parts that add up to it.

    `wanted`: units that the list of the kit to be filled wants, by item; `extras`: those that other
    kits and shelves of the room want besides; `past` habits by item; `will_do`: the items of the
    list that an item may be used instead of, which count once those themselves are in. What is not
    good `through` a day, up to which things are to last, is not kept. Sellers rarely say dates:
    what has none on record is taken to last, and its date is read before it is kept.
    """
    left = {"wanted": dict(wanted), "extras": dict(extras)}
    own = summed(
        (line.thing.id, line.units)
        for line in lines
        if line.thing is not None and _is_kept(line, past.get(line.thing.id), through)
    )
    left["open"] = {item: max(0, units - own[item]) for item, units in wanted.items()}
    # What keeps longest is kept first.
    order = sorted(range(len(lines)), key=lambda n: _last(lines[n], through), reverse=True)
    found = {n: _parts(lines[n], left, past, through, will_do or {}) for n in order}
    return [part for n in range(len(lines)) for part in found[n]]


def _last(line: KitLine, through: date) -> date:
    undated = line.thing is not None and line.thing.needs_date
    return line.expiry or (through if undated else date.max)


def _is_kept(line: KitLine, before: Past | None, through: date) -> bool:
    """Whether it is good for long enough, and was not done without before."""
    lasts = line.expiry is None or line.expiry >= through
    return lasts and (before is None or before.fate not in (Fate.TRAINING, Fate.DISPOSE))


def _parts(
    line: KitLine,
    left: dict[str, dict[int, int]],
    past: Mapping[int, Past],
    through: date,
    will_do: Mapping[int, Sequence[int]],
) -> list[Part]:
    if line.thing is None:
        return [Part(line, line.units, Fate.DISPOSE, Why.UNKNOWN)]
    before = past.get(line.thing.id)
    if line.expiry is not None and line.expiry < through:
        return [Part(line, line.units, _not_used(line.thing), Why.EXPIRES_FIRST)]
    if before is not None and before.fate in (Fate.TRAINING, Fate.DISPOSE):
        fate = _not_used(line.thing) if before.fate is Fate.TRAINING else before.fate
        return [Part(line, line.units, fate, Why.BEFORE, before)]
    parts = []
    rest = line.units
    for which, fate, why in (
        ("wanted", Fate.KEEP, Why.LISTED),
        ("extras", Fate.SHELF, Why.EXTRA),
    ):
        units = min(rest, left[which].get(line.thing.id, 0))
        if units and line.thing.by_eye:
            units = rest  # nobody counts how many of them a kit has
        if units:
            left[which][line.thing.id] = max(0, left[which][line.thing.id] - units)
            rest -= units
            parts.append(Part(line, units, fate, why))
        if fate is Fate.KEEP and not line.thing.by_eye:
            instead = list(_instead(line, rest, left["open"], will_do.get(line.thing.id, ())))
            rest -= sum(part.units for part in instead)
            parts += instead
    if rest and before is not None and before.fate is Fate.SHELF:
        parts.append(Part(line, rest, Fate.SHELF, Why.BEFORE, before))
    elif rest:
        parts.append(Part(line, rest, _not_used(line.thing), Why.NOT_LISTED))
    return parts


def _instead(
    line: KitLine, units: int, still_open: dict[int, int], items: Iterable[int]
) -> Iterator[Part]:
    """Units of a line that stand for items of the list of which too few are in the kit."""
    for item in items:
        if count := min(units, still_open.get(item, 0)):
            still_open[item] -= count
            units -= count
            yield Part(line, count, Fate.KEEP, Why.INSTEAD, instead=item)


def _not_used(thing: Thing) -> Fate:
    """Medicines are never taught with."""
    return Fate.DISPOSE if thing.kind is Kind.MEDICINE else Fate.TRAINING
