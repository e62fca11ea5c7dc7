"""All that one person's weekly email is made of."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from gearroom.core.models import Person, Room
from kits.models import (
    Checkout,
    Clearance,
    Kit,
    ListChange,
    Lot,
    Notice,
    PackingListVersion,
    Place,
    RecallPlace,
    UnmetNeed,
)
from kits.rules.buying.season_money import SeasonMoney
from kits.rules.ledger import ReasonCode
from kits.rules.mail import digest as rule
from kits.services.lists.look_again import DueLines
from kits.services.orders.on_order import OpenLine
from kits.services.restocking.recounts import CountJob
from kits.services.rotation.editions import OldEdition
from kits.services.rotation.rotation import RoomRotation
from kits.services.stock.away import UnitsAway
from kits.services.weather.jobs import WeatherJob


@dataclass(frozen=True)
class BatchInPlace:
    """Units of a batch somewhere, with what is to be said of them: a last good day, or why an
    instrument wants its check and by when."""

    lot: Lot
    place: Place
    units: int
    day: date | None = None
    fault: ReasonCode | None = None


@dataclass
class Week:
    """All that one person's weekly email is made of."""

    person: Person
    today: date
    zone: str
    minutes_a_kit: int
    own: Sequence[Kit]
    """The kits that they answer for or stand in for."""
    rooms: Sequence[Room]
    kits: list[rule.KitWeek] = field(default_factory=list)
    recalled: list[list[tuple[RecallPlace, Person | None]]] = field(default_factory=list)
    """The kits to look into by recall, each with who has it now."""
    medicines: list[Notice] = field(default_factory=list)
    held_back: list[Notice] = field(default_factory=list)
    order: list[rule.ToOrder] = field(default_factory=list)
    overdue_orders: list[OpenLine] = field(default_factory=list)
    """What was ordered for their rooms, expected before today, and is not here."""
    money: SeasonMoney = field(default_factory=SeasonMoney)
    """What their rooms threw away and saved this season."""
    not_back: list[tuple[Checkout, datetime]] = field(default_factory=list)
    """What is past due, with when that was."""
    lost: list[tuple[Kit, datetime]] = field(default_factory=list)
    to_sign: list[PackingListVersion] = field(default_factory=list)
    signatures_end: list[tuple[PackingListVersion, date]] = field(default_factory=list)
    look_again: list[DueLines] = field(default_factory=list)
    """What lists leave out that is due for another look."""
    changes_due: list[ListChange] = field(default_factory=list)
    """Changes to several lists that are due for another look."""
    uncleared: list[Clearance] = field(default_factory=list)
    to_count: list[CountJob] = field(default_factory=list)
    unmet: list[UnmetNeed] = field(default_factory=list)
    away: list[UnitsAway] = field(default_factory=list)
    weather: list[WeatherJob] = field(default_factory=list)
    checks: list[BatchInPlace] = field(default_factory=list)
    undated: list[BatchInPlace] = field(default_factory=list)
    ending: list[BatchInPlace] = field(default_factory=list)
    off_shelves: list[BatchInPlace] = field(default_factory=list)
    shelves: dict[int, Place] = field(default_factory=dict)
    old_editions: dict[int, list[OldEdition]] = field(default_factory=dict)
    """Old editions of documents in their kits, by the kit's id."""
    rotations: list[RoomRotation] = field(default_factory=list)
    """What to use first in those of their rooms where that saves something."""

    @property
    def horizon(self) -> date:
        """The last day that its kits are judged for."""
        return rule.horizon(self.today)
