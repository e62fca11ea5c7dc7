"""When to order more: the level at which what is left lasts just until a delivery can come.

The level is the fewest units that the use over the lead time stays within with the wanted
probability, the service level. It is reached by counting what is usable and what is on order.

Use comes in acts of some units each, and acts may come together. How often there is one is
believed to be Gamma from what a room has on record; how many units it takes is as often seen. So
the use over a lead time is a compound negative binomial, whose chances are computed exactly
(`kits.rules.planning.demand`): a thing that goes in strips of 16 is wanted 0, 16 or 32 times, and
no number between helps. Much is believed possible after little use, and no more than that: a thing
never used has no level, unless somebody set one by hand; one that was used is ordered when one unit
is left at the latest. What no kit of a room carries and nobody
there used is not needed, whatever was set for all rooms.

Loose items are not counted. Their use is known where a section that was low or empty is full
again: as much as filled it up went some time since it was last seen full. They are ordered by the
box.
"""

import enum
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from gearroom.core.rules.grouping import summed
from kits.rules.ledger.facts import Level
from kits.rules.planning import demand as demands
from kits.rules.planning.demand import Rate
from kits.rules.planning.quantities import enough_for
from kits.rules.planning.records.rates import group_dispersion

ENOUGH_USES = 8
ENOUGH_DAYS = 90
"""With fewer uses it is little that a level rests on; and a shorter time counts as so many days, so
that the first use of a new thing is not taken for one every few days."""


class Basis(enum.StrEnum):
    """What an order level rests on."""

    BY_HAND = "by-hand"
    BY_HAND_HERE = "by-hand-here"
    USE = "use"
    LITTLE_USE = "little-use"
    NO_USE = "no-use"
    NO_NEED = "no-need"


class Episode(enum.StrEnum):
    """What a stock does to an episode of being low."""

    OPEN = "open"
    CLOSE = "close"
    AS_IT_WAS = "as-it-was"


@dataclass(frozen=True)
class Use:
    """Units (1 or more) of one thing that one act used, on a local date; or at some time after
    `since`, by that date."""

    day: date
    units: int
    since: date | None = None

    def within(self, first: date, last: date) -> float:
        """How much of it is of the days from `first` to `last`: 0 to 1."""
        if self.since is None or self.since >= self.day:
            return float(first <= self.day <= last)
        inside = (min(self.day, last) - max(self.since, first)).days
        return max(0, inside) / (self.day - self.since).days


@dataclass(frozen=True)
class Look:
    """How much of a loose item somebody found, or left, in a section of a kit on a day."""

    day: date
    level: Level


def refills(looks: Iterable[Look], carry: int) -> list[Use]:
    """The use of a loose item in one section, of which a full one has `carry` units (1 or more):
    all of them where it was empty before it was full again, half where it was low. `looks` in order
    of time; a section's first filling is no use."""
    found = []
    full_on, lowest = None, Level.FULL
    for look in looks:
        if look.level is not Level.FULL:
            if lowest is not Level.EMPTY:
                lowest = look.level
            continue
        if full_on is not None and lowest is not Level.FULL:
            units = carry if lowest is Level.EMPTY else (carry + 1) // 2
            found.append(Use(look.day, units, since=full_on))
        full_on, lowest = look.day, Level.FULL
    return found


@dataclass(frozen=True)
class OrderLevel:
    """Order more when usable stock and what is on order come to `units` or fewer. `week_mean` is
    the mean use of a week in units, over `ENOUGH_DAYS` at least; `uses` how many acts it was
    derived from. `counted`: what is taken is written down; of what nobody counts the book knows
    only when there is none."""

    units: int
    basis: Basis
    week_mean: float
    uses: int
    counted: bool = True

    @property
    def down_to(self) -> int:
        """The stock by the book that more is ordered at."""
        return self.units if self.counted else 0

    def reached(self, stock: int) -> bool:
        """Return whether `stock` is down to the level. A level of 0 orders nothing."""
        return self.units > 0 and stock <= self.down_to


@dataclass(frozen=True)
class Setting:
    """What an order level depends on besides use.

    `lead_days`, 0 or more, pass from ordering to having; `service_level`, between 0 and 1, is the
    probability that stock lasts so long. `by_hand` is a level that somebody set, which holds
    whatever was used; where it was not set for this very room (`here`), only while it is `needed`
    there. Of what is not `counted`, whole boxes of `box` units (1 or more) are ordered.
    """

    lead_days: int
    service_level: float = 0.95
    by_hand: int | None = None
    here: bool = False
    needed: bool = True
    counted: bool = True
    box: int = 1

    def __post_init__(self) -> None:
        for wrong, says in (
            (
                self.lead_days < 0,
                f"A lead time of {self.lead_days} days cannot be: give 0 or more.",
            ),
            (
                not 0 < self.service_level < 1,
                f"A service level of {self.service_level} cannot be: give one between 0 and 1.",
            ),
            (
                (self.by_hand or 0) < 0,
                f"An order level of {self.by_hand} cannot be: give 0 or more.",
            ),
            (self.box < 1, f"A box of {self.box} units cannot be: give 1 or more."),
        ):
            if wrong:
                raise ValueError(says)


def order_level(
    uses: Iterable[Use], *, recorded_from: date, today: date, setting: Setting
) -> OrderLevel:
    """Return at how many units to order.

    `recorded_from` is the first day whose use would have been recorded (the day the thing was
    first stocked, or the start of the year looked at); uses before it or after `today` are left
    out. Raises `ValueError` when `today` is before `recorded_from`.
    """
    days = (today - recorded_from).days + 1
    if days < 1:
        raise ValueError("Use has to be recorded from today or before.")
    known = _within(uses, recorded_from, today)
    week_mean = 7 * sum(use.units * share for use, share in known) / max(days, ENOUGH_DAYS)
    units, basis = _level(known, days, today, setting)
    return OrderLevel(units, basis, week_mean, len(known), setting.counted)


def _within(uses: Iterable[Use], first: date, last: date) -> list[tuple[Use, float]]:
    """The acts of the days from `first` to `last`, each with how much of it is of them."""
    shares = ((use, use.within(first, last)) for use in uses if use.units > 0)
    return [(use, share) for use, share in shares if share > 0]


def _level(
    known: Sequence[tuple[Use, float]], days: int, today: date, setting: Setting
) -> tuple[int, Basis]:
    if setting.by_hand is not None and setting.here:
        return setting.by_hand, Basis.BY_HAND_HERE
    if not setting.needed:
        return 0, Basis.NO_NEED
    if setting.by_hand is not None:
        return setting.by_hand, Basis.BY_HAND
    if not known:
        return 0, Basis.NO_USE
    enough = max(1, enough_units(known, days, today, setting))
    if not setting.counted:
        enough = -(-enough // setting.box) * setting.box
    little = len(known) < ENOUGH_USES or days < ENOUGH_DAYS
    return enough, Basis.LITTLE_USE if little else Basis.USE


def enough_units(
    known: Sequence[tuple[Use, float]], days: int, today: date, setting: Setting
) -> int:
    """The fewest units that use over the lead time stays within as often as asked, 0 or more, from
    acts (one or more) with how much of each is of the `days` up to `today`."""
    return _enough(*_demand(known, days, today), setting.lead_days, setting.service_level)


def use_over(
    uses: Iterable[Use], *, recorded_from: date, today: date, days: int
) -> tuple[float, ...]:
    """Chances of 0, 1, 2 … units used in the next `days` (0 or more), from what was used since
    `recorded_from`; none for certain where nothing was."""
    known = _within(uses, recorded_from, today)
    if not known:
        return (1.0,)
    rate, sizes, lump = _demand(known, (today - recorded_from).days + 1, today)
    lumps = demands.demand(rate, days, demands.units_of_use(sizes))
    found = [0.0] * (lump * (len(lumps) - 1) + 1)
    found[::lump] = [float(chance) for chance in lumps / lumps.sum()]
    return tuple(found)


def _demand(
    known: Sequence[tuple[Use, float]], days: int, today: date
) -> tuple[Rate, tuple[float, ...], int]:
    """How often there is an act in a day; the chances that it takes 1, 2 … lumps; and the units of
    a lump, from acts (one or more) with how much of each is of the `days` up to `today`."""
    acts = sum(share for _, share in known)
    together = _dispersion([use.day for use, _ in known], today, days)
    rate = Rate(acts / together, max(days, ENOUGH_DAYS) / together, together)
    lump = math.gcd(*(use.units for use, _ in known))
    sizes = [0.0] * (max(use.units for use, _ in known) // lump)
    for use, share in known:
        sizes[use.units // lump - 1] += share / acts
    return rate, tuple(sizes), lump


@lru_cache(maxsize=4096)
def _enough(
    rate: Rate, sizes: tuple[float, ...], lump: int, lead_days: int, service_level: float
) -> int:
    """Kept, since pages ask for the same levels until somebody uses something."""
    wants = demands.demand(rate, lead_days, demands.units_of_use(sizes))
    return lump * enough_for(wants, service_level)


def _dispersion(acts: Sequence[date], today: date, days: int) -> float:
    """How far acts come together in the whole weeks that end with `today`."""
    used = summed(((today - day).days // 7, 1) for day in acts)
    weeks = [(float(used[ago]), 7.0) for ago in range(days // 7)]
    return group_dispersion([weeks])


def episode(is_open: bool, stock: int, level: int, margin: int | None = None) -> Episode:
    """Return what `stock` (usable units and units on order) does to an episode of being low.

    One opens when stock is down to the level, and closes only when it is above the level by more
    than `margin` units, so that a unit back and forth does not tell anyone twice. Without a
    margin it is a fifth of the level, at least 1.
    """
    if margin is None:
        margin = max(1, level // 5)
    if not is_open and stock <= level:
        return Episode.OPEN
    if is_open and stock > level + margin:
        return Episode.CLOSE
    return Episode.AS_IT_WAS
