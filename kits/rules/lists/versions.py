"""Two versions of a kit list against each other, and a kit against a version it does not follow.

A line is the same line in two versions when it asks for the same thing in the same section;
section keys stay from version to version.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from gearroom.core.rules.grouping import summed
from kits.rules.ledger.facts import Criticality, KitState, Line
from kits.rules.restocking.picking import restock


@dataclass(frozen=True)
class LineChange:
    """A line that is in both versions and asks for something else in the later one."""

    before: Line
    after: Line

    @property
    def what(self) -> tuple[str, ...]:
        """The fields that differ, of `carry`, `never_below` and `criticality`."""
        fields = ("carry", "never_below", "criticality")
        return tuple(f for f in fields if getattr(self.before, f) != getattr(self.after, f))


@dataclass(frozen=True)
class Comparison:
    """What a later version has that the earlier had not, has no more, and has otherwise."""

    added: tuple[Line, ...] = ()
    removed: tuple[Line, ...] = ()
    changed: tuple[LineChange, ...] = ()


def compare(before: Sequence[Line], after: Sequence[Line]) -> Comparison:
    """Return how `after` differs from `before`, each part in the order of its own version."""
    was = {(line.section, line.thing.id): line for line in before}
    now = {(line.section, line.thing.id): line for line in after}
    pairs = [LineChange(was[where], now[where]) for where in now if where in was]
    return Comparison(
        added=tuple(line for where, line in now.items() if where not in was),
        removed=tuple(line for where, line in was.items() if where not in now),
        changed=tuple(pair for pair in pairs if pair.what),
    )


@dataclass(frozen=True)
class Difference:
    """What following other lines would mean for a kit: units by thing id that it would want over
    what it wants now (`more`), and want no more (`fewer`)."""

    more: dict[int, int]
    fewer: dict[int, int]


def difference(kit: KitState, lines: Sequence[Line], today: date) -> Difference:
    """Return what `kit` would want from the shelf if it followed `lines`, against what it wants
    as it is. What is inside is usable as of `today`, and counts for either."""
    now, then = _wanted(kit, today), _wanted(replace(kit, lines=tuple(lines)), today)
    change = {thing: then[thing] - now[thing] for thing in {*now, *then}}
    return Difference(
        more={thing: n for thing, n in sorted(change.items()) if n > 0},
        fewer={thing: -n for thing, n in sorted(change.items()) if n < 0},
    )


def spare(kit: KitState, lines: Sequence[Line]) -> dict[int, int]:
    """Return the units inside, by thing id, of things that no line of `lines` would use."""
    useful = frozenset[int]().union(*(line.usable_things for line in lines))
    return summed((x.batch.thing.id, x.count) for x in kit.units if x.batch.thing.id not in useful)


def must_haves_gone(now: Sequence[Line], then: Sequence[Line]) -> set[int]:
    """Return the things, by id, of which `now` has a must-have and `then` has no line."""
    must_haves = {line.thing.id for line in now if line.criticality is Criticality.MUST_HAVE}
    return must_haves - {line.thing.id for line in then}


def _wanted(kit: KitState, today: date) -> Counter[int]:
    return summed((row.thing.id, row.count) for row in restock(kit, (), today, today).missing)
