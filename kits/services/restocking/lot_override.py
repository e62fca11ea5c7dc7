"""Restocking with another batch than the listed one: the one that is in the hand."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core.acts import Refused, Unacceptable
from kits.models import Holding, Lot
from kits.rules.ledger.facts import Batch
from kits.rules.restocking import picking
from kits.services.ledger import admission, readiness
from kits.services.restocking.sorting import Restock, RestockDifference


@dataclass(frozen=True)
class LotOverride:
    """A restock list with other batches in it, and how that differs from the one worked out.

    `listed` has for each row of `plan.list.put_in` the id of the item that was listed there.
    """

    plan: Restock
    listed: list[int]
    differing: list[RestockDifference]


def choose(plan: Restock, lots: Iterable[Lot]) -> LotOverride:
    """Put these batches, one after another, in the place of what is listed; where a shelf holds
    too few, the listed ones make up the rest.

    Raises Unacceptable (`not-asked-for`), Refused (`not-enough`, or what `guard` says).
    """
    rows = [(row, row.thing.id) for row in plan.list.put_in]
    taken: list[tuple[int, str]] = []
    known = dict(plan.lots)
    for lot in lots:
        group = _group(rows, lot, taken)
        taken.append(group)
        shelf, held = _on_a_shelf(plan, lot)
        with transaction.atomic():  # the guard looks at batches that stay as they are
            admission.put_in_guard(plan.kit, [(lot, plan.shelves[shelf])])
        known[lot.pk] = lot
        rows = _swapped(rows, group, readiness.batches([lot])[lot.pk], str(shelf), held)
    chosen = replace(
        plan,
        list=replace(plan.list, put_in=tuple(row for row, _ in rows)),
        lots=known,
    )
    return LotOverride(chosen, [listed for _, listed in rows], _differing(chosen, rows, taken))


Rows = list[tuple[picking.PutIn, int]]
"""Rows of a restock list, each with the id of the item that was listed in its place."""


def _group(rows: Rows, lot: Lot, taken: list[tuple[int, str]]) -> tuple[int, str]:
    """The item and section whose rows a batch takes the place of: one without a choice yet, else
    the last choice gives way."""
    fitting = [
        (listed, row.section)
        for row, listed in rows
        if lot.item_id in {row.thing.id, row.line.thing.id, *row.line.instead}
    ]
    if not fitting:
        raise Unacceptable(
            "not-asked-for",
            _("%(thing)s is not on the restock list. Remove it from your entry.")
            % {"thing": lot.item.name},
        )
    return next((group for group in fitting if group not in taken), fitting[-1])


def _on_a_shelf(plan: Restock, lot: Lot) -> tuple[int, int]:
    """The shelf of the room that holds most of a batch, and how many it holds."""
    held = (
        Holding.objects.on_hand()
        .filter(lot=lot, place__in=plan.shelves)
        .order_by("-units", "place")
        .values_list("place", "units")
        .first()
    )
    if held is None:
        raise Refused(
            "not-enough",
            _(
                "No units of this batch are on record on any shelf in %(room)s. Receive the "
                "batch or count the shelf first."
            )
            % {"room": plan.kit.room.name},
            lot=lot.pk,
        )
    return held


def _swapped(rows: Rows, group: tuple[int, str], batch: Batch, shelf: str, held: int) -> Rows:
    swapped: Rows = []
    wanted = sum(row.count for row, listed in rows if (listed, row.section) == group)
    rest = max(0, wanted - held)
    placed = False
    for row, listed in rows:
        if (listed, row.section) != group:
            swapped.append((row, listed))
            continue
        if not placed:
            instead = row.line.thing if row.line.thing.id != batch.thing.id else None
            count = min(wanted, held)
            put = replace(row, batch=batch, shelf=shelf, count=count, instead_of=instead)
            swapped.append((put, listed))
            placed = True
        if rest and row.batch.id != batch.id:
            keep = min(rest, row.count)
            rest -= keep
            swapped.append((replace(row, count=keep), listed))
    return swapped


def _differing(plan: Restock, rows: Rows, taken: list[tuple[int, str]]) -> list[RestockDifference]:
    items = {lot.item_id: lot.item for lot in plan.lots.values()}
    return [
        RestockDifference(
            items[listed],
            plan.sections[section],
            [plan.pick(row) for row, of in rows if (of, row.section) == (listed, section)],
        )
        for listed, section in dict.fromkeys(taken)
    ]
