"""Undoing an act: who may, which later acts fall with it, and what the counts since make of it.

The book after an undo is what it would be if the act had never been written. So the acts are gone
through once more without it. A later one whose precondition fails now, and did not before, falls
too, whole, with all the entries written under its key; then it is gone through again, until
nothing more falls.

A fact has no precondition but the time with a kit that it names, and enough units. A request (to
take a kit, to put it in storage, to release it) needs that it was possible; what is done to a kit
at home needs the kit at home, and who checked it by its whole seal needs a seal to be on. A count
says what is there, whatever was on record: without the act it had another difference.
"""

from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

Where = tuple[int, int]
"""A batch's id and the id of an inner place, or below 0: what may come back to that kit."""

Unit = tuple[int, int | None]
"""A kit's id and a section's (None: the kit as a whole)."""


@dataclass(frozen=True)
class Step:
    """One entry on record, with what it did and what it needed.

    `units` is its net change by batch and place. A count `sets` what it counted and `clears` all
    else in those places; `sweeps` are moves of all there was, from one (batch, place) to another.
    `names` is the time with a kit that it is about. It `opens` one of `unit`, or `ends` what was
    open; `requested`: only where nobody had it. `at_home`: done to a kit that is in. `needs` and
    `makes` are things in force or not (put away, on hold, promised). `breaks` are sections
    opened, `seals` puts a number on `unit`; `by_seal`: only where `unit` has a seal on.
    """

    id: int
    act: Hashable
    units: Mapping[Where, int] = field(default_factory=dict)
    sets: Mapping[Where, int] = field(default_factory=dict)
    clears: frozenset[int] = frozenset()
    sweeps: Sequence[tuple[Where, Where]] = ()
    unit: Unit | None = None
    names: int | None = None
    opens: int | None = None
    ends: bool = False
    requested: bool = False
    at_home: bool = False
    needs: Mapping[Hashable, bool] = field(default_factory=dict)
    makes: Mapping[Hashable, bool] = field(default_factory=dict)
    breaks: frozenset[Unit] = frozenset()
    seals: str = ""
    by_seal: bool = False

    @property
    def absolute(self) -> bool:
        """Whether it moved what there was, rather than so many units."""
        return bool(self.sets or self.clears or self.sweeps)


@dataclass(frozen=True)
class Fallen:
    """What an undo takes with it: the acts besides the one undone, in the order of their first
    entries. `changed` is by how much counts and sweeps that stay would have moved otherwise: by
    entry, the units to add at each batch and place."""

    later: Sequence[Hashable]
    changed: Mapping[int, Mapping[Where, int]]


def without(act: Hashable, steps: Sequence[Step], now: Mapping[Where, int]) -> Fallen:
    """Go through acts once more without one of them.

    `steps` are the entries in force in recorded order: all those of the kits in question, and from
    the undone act on all that touch the batches and places in question. `now` is what those hold.
    """
    start = Counter(now)
    for step in steps:
        start.subtract(step.units)
    first = min(step.id for step in steps if step.act == act)
    before = _walk(steps, start, first, frozenset())
    gone: set[Hashable] = {act}
    while True:
        after = _walk(steps, start, first, frozenset(gone))
        falls = next((s.act for s in steps if s.id in after.failed - before.failed), None)
        if falls is None:
            break
        gone.add(falls)
    later = dict.fromkeys(step.act for step in steps if step.act in gone and step.act != act)
    return Fallen(
        tuple(later),
        {
            step.id: change
            for step in steps
            if step.absolute and step.id > first and step.act not in gone
            if (change := _difference(after.moved[step.id], before.moved[step.id]))
        },
    )


def _difference(then: Mapping[Where, int], was: Mapping[Where, int]) -> dict[Where, int]:
    change = {where: then.get(where, 0) - was.get(where, 0) for where in {*then, *was}}
    return {where: units for where, units in change.items() if units}


class _Walk:
    """The state that acts leave behind them, one after another."""

    def __init__(self, start: Mapping[Where, int], since: int) -> None:
        self.held = Counter(start)
        self.since = since
        self.out: dict[Unit, int] = {}
        self.in_force: dict[Hashable, bool] = {}
        self.seal: dict[Unit, str] = {}
        self.undone: set[int] = set()
        self.failed: set[int] = set()
        self.moved: dict[int, Mapping[Where, int]] = {}

    def take(self, step: Step) -> None:
        change = self._change(step)
        if step.id > self.since and not self._could(step, change):
            self.failed.add(step.id)
        self.moved[step.id] = change
        self.held.update(change)
        self.in_force.update(step.makes)
        self._seals(step)
        if step.unit is not None and step.ends:
            self.out.pop(step.unit, None)
        if step.unit is not None and step.opens is not None:
            self.out[step.unit] = step.opens

    def _change(self, step: Step) -> Mapping[Where, int]:
        if step.id <= self.since or not step.absolute:
            return step.units
        change = dict(step.units)
        for where in self.held:
            if where[1] in step.clears and where not in step.sets:
                change[where] = -self.held[where]
        for where, units in step.sets.items():
            change[where] = units - self.held[where]
        for source, target in step.sweeps:
            change[source] = -self.held[source]
            change[target] = 0
        for source, target in step.sweeps:
            change[target] += self.held[source]
        return change

    def _could(self, step: Step, change: Mapping[Where, int]) -> bool:
        return (
            step.names not in self.undone
            and all(self.in_force.get(what, False) is so for what, so in step.needs.items())
            and (step.unit is None or self._could_with(step, step.unit))
            and all(self.held[at] + by >= 0 for at, by in change.items() if by < 0)
        )

    def _could_with(self, step: Step, unit: Unit) -> bool:
        kit_out = (unit[0], None) in self.out
        return not (
            (step.requested and (kit_out or unit in self.out))
            or (step.at_home and kit_out)
            or (step.by_seal and unit not in self.seal)
        )

    def _seals(self, step: Step) -> None:
        for broken in step.breaks:
            self.seal.pop(broken, None)
            self.seal.pop((broken[0], None), None)
        if step.unit is not None and step.seals:
            self.seal[step.unit] = step.seals


def _walk(
    steps: Iterable[Step], start: Mapping[Where, int], since: int, gone: frozenset[Hashable]
) -> _Walk:
    walk = _Walk(start, since)
    for step in steps:
        if step.act not in gone:
            walk.take(step)
        elif step.opens is not None:
            walk.undone.add(step.opens)
    return walk


# ----------------------------------------------------------------------------------------- who may
OWN_WITHIN = timedelta(hours=24)
"""How long whoever did an act may take it back by themselves; after that the room's keepers do."""


def may_take_back(*, own: bool, keeper: bool, recorded_at: datetime, now: datetime) -> bool:
    """Whether somebody may take back an act written at `recorded_at`: a keeper at any time, others
    what they did themselves within `OWN_WITHIN`. Times are aware."""
    return keeper or (own and now - recorded_at <= OWN_WITHIN)
