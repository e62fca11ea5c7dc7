"""What goes with a kit that is sold or given away: its contents with batches and dates, as of a
time, and what was done to it. No names of people, and nothing that somebody wrote in words: that is
the school's."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.rules.grouping import summed
from kits.models import Entry, EntryKind, Kit, Lot, Movement, Place
from kits.rules.ledger import good_through
from kits.services.ledger import readiness
from kits.services.restocking import emptying
from kits.services.text import wording

ACTS = (
    EntryKind.BUILD,
    EntryKind.STRIP,
    EntryKind.RESTOCK,
    EntryKind.TAKE_OUT,
    EntryKind.LOOK_INSIDE,
    EntryKind.COUNT,
    EntryKind.CHECK,
    EntryKind.RESEAL,
    EntryKind.CHECK_OUT,
    EntryKind.CHECK_IN,
)
"""The acts that its papers name: what was done to it, and when it was out."""
MOST_DAYS = 100


@dataclass(frozen=True)
class Content:
    """Units of a batch in a section; `good_until` is its last good day, None without one."""

    section: Place
    lot: Lot
    units: int
    good_until: date | None
    out_of_date: bool


@dataclass(frozen=True)
class DayOfKit:
    """What was done to the kit on a day, in words, once each."""

    on: date
    acts: Sequence[str]


@dataclass(frozen=True)
class Papers:
    """A kit's papers as of an instant: when it left (`left` is that act), or now."""

    kit: Kit
    as_of: datetime
    left: Entry | None
    contents: Sequence[Content]
    days: Sequence[DayOfKit]


def papers(actor: Actor, kit: Kit) -> Papers:
    """The papers of a kit. Raises NotAllowed for whoever may not sell it."""
    actor.require("edit_kit", kit.home_room_id)
    left = (
        Entry.objects.filter(kit=kit, kind=EntryKind.LEAVE, reversed_by__isnull=True)
        .order_by("-id")
        .first()
    )
    as_of = left.occurred_at if left else clock.now()
    return Papers(kit, as_of, left, _contents(kit, left, as_of), _days(kit))


def _contents(kit: Kit, left: Entry | None, as_of: datetime) -> list[Content]:
    if left is None:
        rows = [(row.place, row.lot, row.units) for row in emptying.inside(kit)]
    else:
        legs = Movement.objects.filter(entry=left).select_related("lot__item", "from_place")
        rows = [(leg.from_place, leg.lot, leg.units) for leg in legs.order_by("id")]
    batches = readiness.batches({lot.pk: lot for _, lot, _ in rows}.values())
    today = clock.local_date(as_of, kit.home_room.time_zone)
    units = summed(((place, lot), count) for place, lot, count in rows)
    return [
        Content(place, lot, count, last, last is not None and last < today)
        for (place, lot), count in units.items()
        for last in [good_through(batches[lot.pk])]
    ]


def _days(kit: Kit) -> list[DayOfKit]:
    entries = Entry.objects.filter(kit=kit, kind__in=ACTS, reversed_by__isnull=True)
    acts: dict[date, dict[str, None]] = {}
    for kind, at in entries.order_by("-occurred_at", "-id").values_list("kind", "occurred_at"):
        on = clock.local_date(at, kit.home_room.time_zone)
        acts.setdefault(on, {})[wording.act(kind)] = None
    return [DayOfKit(on, list(reversed(of))) for on, of in list(acts.items())[:MOST_DAYS]]
