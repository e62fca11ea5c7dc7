"""What is never put into a kit: asked before every movement into one of its sections; and where
units that arrive are put.

A request is refused whole, with each fault named; nothing is moved. Only a count, which reports
what is there, or taking a mistake back may leave such units in a kit.
"""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Invalid, Refused
from kits.models import Kit, ListLine, Lot, Place, PlaceKind
from kits.rules.ledger import Batch, Kind, ReasonCode, good_through, may_be_put_in, why_not
from kits.services.ledger import kit_state, lots, readiness, swaps
from kits.services.ledger.book import room_place
from kits.services.text import reason_texts, wording

CODES = {
    ReasonCode.RECALLED: "recalled",
    ReasonCode.CHECK_FAILED: "failed-check",
    ReasonCode.WITHHELD: "withheld",
    ReasonCode.EXPIRED: "expired",
    ReasonCode.OPENED_TOO_LONG: "expired",
    ReasonCode.UNSIGNED_MEDICINE: "unsigned-medicine",
    ReasonCode.DATE_NOT_KNOWN: "undated",
    ReasonCode.TRAINING_STOCK: "training-stock",
}
"""What a refusal is called, gravest first."""


def faults(kit: Kit, pairs: Sequence[tuple[Lot, Place]]) -> list[dict[str, Any]]:
    """Why units of these lots from these places may not go into the kit today, gravest first.

    A dict for each batch and fault: `code`, `lot` (id), `number`, `thing`, `text`. Call it in the
    transaction that moves them.
    """
    today = readiness.today_of(kit)
    known = readiness.batches(lots.held_still(lot.pk for lot, _ in pairs))
    in_training = Kit.objects.filter(
        pk__in={source.kit_id for _, source in pairs if source.kit_id}, training=True
    ).values_list("pk", flat=True)
    signed_for = _signed_medicines(kit, known.values(), today)
    wrong: dict[tuple[int, str], dict[str, Any]] = {}
    for lot, source in pairs:
        batch = known[lot.pk]
        fault = may_be_put_in(
            batch,
            today,
            list_signed=lot.item_id in signed_for,
            training_stock=not kit.training
            and (source.kind == PlaceKind.TRAINING or source.kit_id in in_training),
            training_kit=kit.training,
        )
        if fault is ReasonCode.WITHHELD and batch.check_passed is False:
            fault = ReasonCode.CHECK_FAILED
        if fault is not None:
            code = CODES[fault]
            wrong[lot.pk, code] = {
                "code": code,
                "lot": lot.pk,
                "number": batch.number,
                "thing": lot.item.name,
                "text": sentence(batch, fault, kit.name),
            }
    ranks = list(dict.fromkeys(CODES.values()))
    return sorted(wrong.values(), key=lambda f: (ranks.index(f["code"]), f["thing"], f["lot"]))


def put_in_guard(kit: Kit, pairs: Sequence[tuple[Lot, Place]]) -> None:
    """Refuse units that are never put in: `pairs` are batches with the places they come from.

    Raises Refused: `kit-retired`; or `recalled`, `failed-check`, `withheld`, `expired`,
    `unsigned-medicine`, `undated` or `training-stock`, the gravest where there are several; its
    `faults` has them all.
    """
    if pairs and kit.retired_on is not None:
        raise Refused(
            "kit-retired",
            " ".join([kit_state.out_of_use(kit), _("Put the items in another kit.")]),
            kit=kit.name,
        )
    if wrong := faults(kit, pairs):
        raise Refused(
            wrong[0]["code"], " ".join(f["text"] for f in wrong), kit=kit.name, faults=wrong
        )


def shelf_here(kit: Kit, shelf: Place, field: str) -> None:
    """Raise Invalid unless this is a shelf (or the training box) of the room that the kit is in."""
    if shelf.room_id != kit.room_id or shelf.kind not in (PlaceKind.SHELF, PlaceKind.TRAINING):
        raise Invalid(
            _(
                "%(shelf)s is not a shelf in %(room)s, where %(kit)s is. Take the item from a "
                "shelf there, or hand the kit back here first."
            )
            % {"shelf": shelf.name, "room": kit.room.name, "kit": kit.name},
            field=field,
        )


def batch_of(lot: Lot) -> Batch:
    """The batch as it is on record now, recalls included."""
    return readiness.batches(lots.held_still([lot.pk]))[lot.pk]


TO_QUARANTINE = {
    ReasonCode.RECALLED: ReasonCode.RECALLED,
    ReasonCode.WITHHELD: ReasonCode.WITHHELD,
    ReasonCode.CHECK_FAILED: ReasonCode.WITHHELD,
    ReasonCode.EXPIRED: ReasonCode.EXPIRED_ON_ARRIVAL,
    ReasonCode.OPENED_TOO_LONG: ReasonCode.EXPIRED_ON_ARRIVAL,
}


def landing(lot: Lot, shelf: Place) -> tuple[Place, list[ReasonCode]]:
    """Where units that arrive are put, with the codes of rules that this breaks: on the shelf,
    or in its room's quarantine."""
    fault = why_not(batch_of(lot), clock.today(shelf.room_now.time_zone))
    code = TO_QUARANTINE.get(fault) if fault else None
    if code is None:
        return shelf, []
    if code is ReasonCode.EXPIRED_ON_ARRIVAL and shelf.kind == PlaceKind.TRAINING:
        return shelf, [code]
    return room_place(shelf.room_now, PlaceKind.QUARANTINE), [code]


def _signed_medicines(kit: Kit, batches: Iterable[Batch], today: date) -> set[int]:
    """The ids of those medicines that the kit's list, signed today, asks for or takes instead."""
    medicines = {b.thing.id for b in batches if b.thing.kind is Kind.MEDICINE}
    version = kit.list_version
    if not medicines or not version.is_signed_on(today):
        return set()
    lines = ListLine.objects.filter(section__version=version)
    wanted = lines.filter(
        Q(item__in=medicines) | Q(item__substitutes__instead__in=medicines)
    ).values_list("item", "item__substitutes__instead")
    replaced = swaps.of_versions([version.pk]).get(version.pk, {})
    carried = lines.filter(item__in=replaced).values_list("item", flat=True)
    before = {old.id for item in carried for old in replaced[item]}
    return medicines & {*before, *(thing for pair in wanted for thing in pair)}


def sentence(batch: Batch, fault: ReasonCode, kit_name: str = "") -> str:
    """What is wrong with a batch, and what to do with it."""
    last = good_through(batch)
    return str(reason_texts.NOT_PUT_IN[fault]) % {
        "batch": wording.batch(batch.thing.name, batch.number),
        "kit": kit_name or _("the kit"),
        "day": wording.day(last) if last else "",
    }
