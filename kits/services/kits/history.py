"""What happened to a kit, newest first, with what each act put in and took out."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Prefetch

from gearroom.core.acts import Actor
from gearroom.core.rules.grouping import grouped, summed
from kits.models import Entry, EntryKind, Kit, Photo
from kits.services.ledger import facts, reversal
from kits.services.lookup import find

MAY_BE_ANOTHER_KITS = (
    EntryKind.CHECK_OUT,
    EntryKind.EMERGENCY,
    EntryKind.CHECK_IN,
    EntryKind.PASS,
)
"""Kinds of acts that may have been done with another kit (see `custody.wrong_kit`)."""


@dataclass(frozen=True)
class Moved:
    """Units of a thing that an act put into a kit or took out of it."""

    thing: str
    units: int


@dataclass(frozen=True)
class PastAct:
    """One act, and what moved by it. `put_right`: it was taken back later. `moves`: it may have
    been another kit's (see `mixups`). `undoes`: it may be undone (see `reversal`)."""

    entry: Entry
    put_in: Sequence[Moved]
    taken_out: Sequence[Moved]
    put_right: bool
    moves: bool
    undoes: bool


def history(
    actor: Actor, kit: Kit, *, most: int, before: int | None = None
) -> tuple[list[PastAct], int | None]:
    """The last `most` acts on a kit that somebody may see, or those before an entry's id; and the
    id to go on before, or None where that is all. The number of queries does not grow with them."""
    acts = find.entries_of(actor).filter(kit=kit)
    if before is not None:
        acts = acts.filter(pk__lt=before)
    rows = list(
        acts.select_related("person", "trip", "reversed_by")
        .prefetch_related(
            "checkouts_opened__person",
            "handovers__person",
            "movements__lot__item",
            "movements__from_place",
            "movements__to_place",
            Prefetch("photos", Photo.objects.defer("jpeg")),
        )
        .order_by("-id")[: most + 1]
    )
    page = rows[:most]
    return [_past_act(kit, entry) for entry in page], page[-1].pk if len(rows) > most else None


def _past_act(kit: Kit, entry: Entry) -> PastAct:
    across = [
        (leg.to_place.kit_id == kit.pk, (leg.lot.item.name, leg.units))
        for leg in entry.movements.all()
        if (leg.to_place.kit_id == kit.pk) != (leg.from_place.kit_id == kit.pk)
    ]
    moved = grouped(across)
    put_right = hasattr(entry, "reversed_by")
    moves = entry.kind in MAY_BE_ANOTHER_KITS and not facts.section_key(entry) and not put_right
    undoes = not put_right and entry.kind not in reversal.INSTEAD and not facts.is_added(entry)
    return PastAct(entry, _rows(moved[True]), _rows(moved[False]), put_right, moves, undoes)


def _rows(moved: list[tuple[str, int]]) -> list[Moved]:
    return [Moved(name, units) for name, units in sorted(summed(moved).items())]
