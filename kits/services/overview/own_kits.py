"""The kits of somebody who works alone, and what goes out of date in them and on the shelves."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import Kit, PlaceKind
from kits.services.overview import kits_overview
from kits.services.overview.kits_overview import Overview
from kits.services.stock import views
from kits.services.stock.views import ExpiringBatch, HeldBatch

LOOKS_AHEAD_DAYS = 90


@dataclass(frozen=True)
class OwnKit:
    """A kit at a glance; `soon`: how many batches in it go out of date soon, or did already."""

    row: Overview
    soon: int


@dataclass(frozen=True)
class Expiring:
    """What goes out of date soon in a kit, or (None) on the shelves."""

    kit: Kit | None
    batches: Sequence[ExpiringBatch]


@dataclass(frozen=True)
class OwnKits:
    """The kits by name, those in storage last; what goes out of date `through` a day, by kit and
    then on the shelves."""

    kits: Sequence[OwnKit]
    expiring: Sequence[Expiring]
    today: date
    through: date

    @property
    def all_ready(self) -> bool:
        """There are kits in use, and each of them is ready, or at most low."""
        used = [each.row for each in self.kits if each.row.kit.laid_up_since is None]
        return bool(used) and all(row.judged.verdict.fit for row in used)


def own_kits(actor: Actor, room: Room) -> OwnKits:
    """The kits in use of somebody who works alone in a room."""
    today = clock.today(room.time_zone)
    through = today + timedelta(days=LOOKS_AHEAD_DAYS)
    held = views.held_batches(actor, kinds=(PlaceKind.SHELF, PlaceKind.SECTION))
    by_kit = grouped((row.place.kit, row) for row in held)
    soon = {
        kit: batches
        for kit, rows in by_kit.items()
        if (batches := _expiring(rows, through)) and not (kit and kit.retired_on)
    }
    kits = sorted(kits_overview.listed(actor), key=lambda kit: kit.laid_up_since is not None)
    return OwnKits(
        kits=[
            OwnKit(row, len(soon.get(row.kit, ()))) for row in kits_overview.overviews(actor, kits)
        ],
        expiring=[
            Expiring(kit, batches)
            for kit, batches in sorted(
                soon.items(), key=lambda each: (each[0] is None, each[0].name if each[0] else "")
            )
        ],
        today=today,
        through=through,
    )


def _expiring(rows: Sequence[HeldBatch], through: date) -> list[ExpiringBatch]:
    return views.expiring_through(rows, through)
