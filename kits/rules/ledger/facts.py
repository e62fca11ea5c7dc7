"""The facts that rules judge, as small immutable values.

Services load rows into these and rules answer with others; nothing here knows a database, a
clock or a language. Quantities are whole base units of an item, dates are the room's local dates.
"""

import enum
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property


class Kind(enum.StrEnum):
    """What kind of thing an item is."""

    CONSUMABLE = "consumable"
    MEDICINE = "medicine"
    INSTRUMENT = "instrument"
    TOOL = "tool"
    DOCUMENT = "document"


USED_UP = frozenset({Kind.CONSUMABLE, Kind.MEDICINE})
"""A use takes these out of a kit; things of the other kinds come back after it."""


class Criticality(enum.StrEnum):
    """How much a kit may do without a line."""

    ROUTINE = "routine"
    IMPORTANT = "important"
    MUST_HAVE = "must-have"


class Level(enum.StrEnum):
    """How much is left of small stuff that nobody counts."""

    FULL = "full"
    LOW = "low"
    EMPTY = "empty"


class LivesIn(enum.StrEnum):
    """Where a kit spends its days, which decides about frost and heat."""

    STORE = "store"
    VEHICLE = "vehicle"
    HUT = "hut"


@dataclass(frozen=True)
class Weather:
    """What the weather does where kits and shelves are: the months (1 to 12) with frost, heat and
    wet, and how cold (None: just below freezing) and hot it gets in them, in °C. Somebody who knows
    the location wrote it; nothing of it is worked out."""

    frost: frozenset[int] = frozenset()
    heat: frozenset[int] = frozenset()
    wet: frozenset[int] = frozenset()
    coldest_c: int | None = None
    hottest_c: int | None = None


@dataclass(frozen=True)
class Thing:
    """What the rules need to know of an item."""

    id: int
    name: str
    kind: Kind = Kind.CONSUMABLE
    needs_date: bool = True
    sterile: bool = False
    by_eye: bool = False
    latex: bool = False
    child: bool = False
    min_temp_c: int | None = None
    max_temp_c: int | None = None
    keep_dry: bool = False
    opened_life_days: int | None = None
    check_question: str = ""
    goes_with: int | None = None
    for_class: bool = True
    """Whether a class can use it."""


@dataclass(frozen=True)
class Batch:
    """A lot as it is known now. `expiry` is the last good day; None with `needs_date` on its
    thing means that the date is not known. `undated_until` is the last day on which units that
    have to be dated may do without, inside a kit that was just set up."""

    id: int
    thing: Thing
    number: str = ""
    expiry: date | None = None
    opened_on: date | None = None
    recalled: bool = False
    withheld: bool = False
    check_due: date | None = None
    check_passed: bool | None = None
    undated_until: date | None = None


@dataclass(frozen=True)
class Units:
    """Some units of a batch in one place; `place` is a section's key in a kit, a shelf's id in a
    store. `training` marks units set aside for training: they never count, and go into no kit but
    a training kit."""

    batch: Batch
    place: str
    count: int
    training: bool = False


@dataclass(frozen=True)
class Replaced:
    """A thing (its id and name) that a line asked for before and that is used up first; `until` is
    the last day by which kits have the new thing, None where nobody waits for it."""

    id: int
    name: str
    until: date | None = None


@dataclass(frozen=True)
class Line:
    """One line of a kit list. `instead` holds the ids of things that will do instead, those that
    it `replaces` with them."""

    id: int
    section: str
    thing: Thing
    carry: int
    never_below: int
    criticality: Criticality = Criticality.ROUTINE
    instead: frozenset[int] = frozenset()
    replaces: tuple[Replaced, ...] = ()

    @property
    def target(self) -> int:
        """How many units it wants."""
        return max(self.carry, self.never_below)

    @cached_property
    def usable_things(self) -> frozenset[int]:
        """The ids of its thing and of those that will do instead."""
        return self.instead | {self.thing.id}


@dataclass(frozen=True)
class Gap:
    """A need (its name) that a hazard asks for and a list lacks; `carried` units of what serves it,
    too few."""

    need: str
    carried: int = 0


@dataclass(frozen=True)
class KitState:
    """A kit as it is, with all that its readiness depends on.

    `levels` maps (section, thing id) to a by-eye level; a by-eye line without one is not known
    and counts as empty. `away` holds the keys of sections that are out on their own.
    `hazards` is what its list serves; `gaps` has, by hazard, what it lacks for others that it is
    made for. `signed_until` is the last day of the list's signature.
    `weather` is that of the location it is kept at; None where none is on record, and what
    `lives_in` may reach is taken.
    `contents_entered` False: nobody has recorded what is in it. `expired_always_stops`: its room
    lets anything out of date inside stop it. `undated_grace_until`: the last day on which sterile
    units without a known date may stay inside, the day after its contents were entered; medicines
    never.
    """

    id: int
    name: str
    lines: tuple[Line, ...]
    units: tuple[Units, ...]
    levels: dict[tuple[str, int], Level] = field(default_factory=dict)
    away: frozenset[str] = frozenset()
    lives_in: LivesIn = LivesIn.STORE
    weather: Weather | None = None
    serves_people: int = 0
    serves_days: int = 0
    hazards: frozenset[str] = frozenset()
    gaps: Mapping[str, tuple[Gap, ...]] = field(default_factory=dict)
    signed_until: date | None = None
    signed: bool = True
    looked_inside_on: date | None = None
    look_interval_days: int = 365
    training: bool = False
    laid_up: bool = False
    lost: bool = False
    waiting_to_be_sorted: bool = False
    withheld: tuple[str, ...] = ()
    contents_entered: bool = True
    expired_always_stops: bool = False
    undated_grace_until: date | None = None

    @property
    def look_by(self) -> date | None:
        """The last day by which somebody has to look inside again; None where nobody has yet."""
        looked = self.looked_inside_on
        return look_by(looked, self.look_interval_days) if looked else None


def look_by(looked_inside_on: date, every_days: int) -> date:
    """Return the last day by which a kit has to be looked inside again."""
    left = (date.max - looked_inside_on).days
    return looked_inside_on + timedelta(days=min(every_days, left))


@dataclass(frozen=True)
class TripNeeds:
    """What a trip asks of its kits together. Days are counted inclusive of both ends."""

    people: int
    first_day: date
    last_day: date
    hazards: frozenset[str] = frozenset()
    children: bool = False
    latex_free: bool = False

    @property
    def days(self) -> int:
        """How many days the trip lasts, both ends counted."""
        return (self.last_day - self.first_day).days + 1


class Weight(enum.IntEnum):
    """What a reason does to a verdict, worst last."""

    NOTE = 1  # a remark; the word stays what it is
    LOW = 2  # it goes without a reason, and is on the restock list
    SHORT = 3  # goes with a reason of whoever may give one
    STOPS = 4  # may not go


class Word(enum.StrEnum):
    """A verdict in one word, best first."""

    READY = "ready"
    LOW = "low"
    SHORT = "short"
    DO_NOT_TAKE = "do-not-take"
    NOT_SET_UP = "not-set-up"


@dataclass(frozen=True)
class Reason:
    """One reason of a verdict: a stable code, what it does, and the facts a sentence needs.

    `priority` is that of the line that is below its minimum; None for every other reason.
    """

    code: str
    weight: Weight
    facts: dict[str, object] = field(default_factory=dict)
    priority: Criticality | None = None

    @property
    def by_phone(self) -> bool:
        """It stops the kit, and somebody who may can clear it by telephone: a must-have line
        below its minimum."""
        return self.weight is Weight.STOPS and self.priority is Criticality.MUST_HAVE


@dataclass(frozen=True)
class Verdict:
    """The answer to "ready?" through one date, worst reason first. `set_up` False: nobody has
    entered what is in the kit, so nothing is known to be missing."""

    through: date
    reasons: tuple[Reason, ...] = ()
    set_up: bool = True

    @property
    def worst(self) -> Weight:
        """The gravest weight of its reasons; NOTE where there is none."""
        return max((reason.weight for reason in self.reasons), default=Weight.NOTE)

    @property
    def word(self) -> Word:
        """The verdict in one word."""
        if self.worst is Weight.STOPS:
            return Word.DO_NOT_TAKE
        if not self.set_up:
            return Word.NOT_SET_UP
        return {Weight.SHORT: Word.SHORT, Weight.LOW: Word.LOW}.get(self.worst, Word.READY)

    @property
    def fit(self) -> bool:
        """It is ready, or at most low."""
        return self.word in (Word.READY, Word.LOW)

    @property
    def may_go(self) -> bool:
        """Nothing stops it; where it is short, only with a reason of whoever may give one."""
        return self.word is not Word.DO_NOT_TAKE

    @property
    def by_phone(self) -> bool:
        """Only must-have lines below their minimum stop it: it can be cleared by telephone."""
        stops = [reason for reason in self.reasons if reason.weight is Weight.STOPS]
        return bool(stops) and all(reason.by_phone for reason in stops)

    def short_only_on(self, *priorities: Criticality) -> bool:
        """Whether every reason that makes it short is a line of one of these priorities."""
        return all(
            reason.priority in priorities
            for reason in self.reasons
            if reason.weight is Weight.SHORT
        )
