"""What each type of event says: numbers, codes and times, and nothing that names a person. Beside
each type stands what it means to whoever reads the events."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated


@dataclass(frozen=True)
class Custody:
    """Who has a kit, or a section of it on its own, once the act is done."""

    entry: Annotated[int, "The entry of the act."]
    kit: Annotated[int, "The kit."]
    section: Annotated[str | None, "The key of the section that went on its own; null: the kit."]
    out: Annotated[bool, "Whether somebody has it now, after this."]
    checkout: Annotated[int | None, "The checkout that this opened, changed or closed; null: none."]
    holder: Annotated[int | None, "Who has it now: a person's id; null: nobody who is known."]
    trip: Annotated[int | None, "The trip that it is or was out on; null: none."]
    due_at: Annotated[datetime | None, "When it is due back; null: no time is set, or it is back."]
    late: Annotated[
        bool,
        "Reported late, after the kit had changed hands again: who has it now stays as it was.",
    ]


@dataclass(frozen=True)
class Overdue:
    """A kit, or a section of it on its own, that is not back when it was due."""

    kit: Annotated[int, "The kit."]
    section: Annotated[str | None, "The key of the section that is out on its own; null: the kit."]
    checkout: Annotated[int, "The checkout."]
    holder: Annotated[int | None, "Who has it: a person's id; null: not known."]
    trip: Annotated[int | None, "The trip that it is out on; null: none."]
    due_at: Annotated[datetime, "When it was due."]


@dataclass(frozen=True)
class Readiness:
    """How a kit stands for the question that it is judged by now: for the trip that it is out on;
    else the next that it is reserved for, within seven days; else today."""

    kit: Annotated[int, "The kit."]
    word: Annotated[str, "ready, low, short, do-not-take or not-set-up."]
    before: Annotated[str | None, "What was last announced; null: nothing yet."]
    through: Annotated[date, "The day that it was judged through."]
    trip: Annotated[int | None, "The trip that it was judged for; null: for none."]


@dataclass(frozen=True)
class OnHold:
    """Why a kit is on hold, once the act is done."""

    entry: Annotated[int, "The entry of the act."]
    kit: Annotated[int, "The kit."]
    reasons: Annotated[tuple[str, ...], "Every reason why it is on hold now; empty: it is not."]


@dataclass(frozen=True)
class KitChanged:
    """A kit as such: added, changed or out of use."""

    entry: Annotated[int, "The entry of the act."]
    kit: Annotated[int, "The kit."]


@dataclass(frozen=True)
class TripChanged:
    """A trip as it is now."""

    entry: Annotated[int, "The entry of the act."]
    trip: Annotated[int, "The trip."]
    revision: Annotated[int, "How often it was changed, and one."]
    changed: Annotated[tuple[str, ...], "The names of the fields that are otherwise than before."]
    departs_at: Annotated[datetime, "When it departs."]
    returns_at: Annotated[datetime, "When it returns."]
    first_day: Annotated[date, "Its first day."]
    last_day: Annotated[date, "Its last day."]
    cancelled: Annotated[bool, "Whether it is cancelled."]


@dataclass(frozen=True)
class TripMoved:
    """A trip that leaves from elsewhere now."""

    entry: Annotated[int, "The entry of the act."]
    trip: Annotated[int, "The trip."]


@dataclass(frozen=True)
class TripCoverage:
    """Whether a trip has what it needs. Before anything is announced of a trip it is uncovered."""

    trip: Annotated[int, "The trip."]
    coverage: Annotated[str, "covered, waiting or uncovered."]
    before: Annotated[str, "What was last announced; uncovered if nothing was."]
    kits: Annotated[tuple[int, ...], "The kits that are reserved for it or out on it."]


@dataclass(frozen=True)
class Reserved:
    """A kit reserved for a trip, or no longer."""

    entry: Annotated[int, "The entry of the act."]
    kit: Annotated[int, "The kit."]
    trip: Annotated[int, "The trip."]


@dataclass(frozen=True)
class Recalled:
    """A maker's recall: of which batches, so far as they are known here."""

    entry: Annotated[int, "The entry of the act."]
    recall: Annotated[int, "The recall."]
    item: Annotated[int, "The item whose batches are recalled."]
    lots: Annotated[tuple[int, ...], "The batches on record that it is about."]
    open: Annotated[bool, "Whether it is open; false: it ended, and more batches are of it."]


@dataclass(frozen=True)
class RecallClosed:
    """A recall that ended."""

    entry: Annotated[int, "The entry of the act."]
    recall: Annotated[int, "The recall."]
    item: Annotated[int, "The item whose batches were recalled."]
    outcome: Annotated[
        str, "finished: its batches stay blocked; withdrawn: the maker took it back."
    ]


@dataclass(frozen=True)
class Stock:
    """How much of an item a gear room has on its shelves, beside its order level."""

    room: Annotated[int, "The gear room."]
    item: Annotated[int, "The item."]
    stock: Annotated[int, "Units on the shelves."]
    on_order: Annotated[int, "Units on order."]
    level: Annotated[int, "The order level."]


@dataclass(frozen=True)
class Undone:
    """An act that was taken back as a mistake. What follows from it has events of its own."""

    entry: Annotated[int, "The entry that took it back."]
    undone: Annotated[int, "The entry that no longer counts."]
    kind: Annotated[str, "Which kind of act it was, such as check-out."]
    kit: Annotated[int | None, "The kit that it was done to; null: to none."]
    trip: Annotated[int | None, "The trip that it was for; null: for none."]
