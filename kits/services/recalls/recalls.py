"""A maker recalls a batch: started, and answered place by place. `status` says how far it is,
`closing` ends it.

What is here goes to quarantine, whoever has the rest is informed (see `tracing`). A batch whose
number nobody knows is suspect under any number, and while the maker names none, every batch of the
thing is.
"""

import enum
from collections.abc import Sequence

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, Invalid, NotFound, Refused, one, store
from kits.models import (
    Entry,
    EntryKind,
    Holding,
    Item,
    Lot,
    Place,
    PlaceKind,
    Recall,
    RecallPlace,
    RecallScope,
    WithheldKind,
    Withholding,
)
from kits.rules.ledger.reasons import ReasonCode
from kits.services.ledger import Book, Leg, lots, outer, room_place
from kits.services.notices import writing
from kits.services.recalls import status, tracing
from kits.services.text.amounts import units as whole


class Answer(enum.StrEnum):
    """What somebody answers of a place that may hold a recalled batch."""

    TAKEN_OUT = "taken-out"
    NONE_THERE = "none-there"
    WILL_LOOK = "will-look"


# ------------------------------------------------------------------------------------------ begin
def start(
    act: Act,
    *,
    item: Item,
    scope: RecallScope | str,
    number: str = "",
    reference: str = "",
    advice: str = "",
) -> Recall:
    """Record a maker's recall and act on it: mark, quarantine, list, tell.

    `number` goes with the scope *number* alone. Raises Invalid, Refused (`recalled-already`).
    """
    act.actor.require("recall")
    number = lots.normal(number)
    if (scope == RecallScope.NUMBER) != bool(number):
        raise Invalid(
            _("A lot number is only allowed with the scope “number”.")
            if number
            else _("Enter the maker’s lot number, or choose “all” or “not-known”."),
            field="number",
        )
    recall = Recall(
        item=item, scope=RecallScope(scope), number=number, reference=reference, advice=advice
    )
    with Book(act) as book:
        tracing.hold(book, recall)
        refuse_open_already(recall)
        tracing.spread(book, recall)
    return recall


def refuse_open_already(recall: Recall) -> None:
    """Raise Refused (`recalled-already`) where the same recall is followed already."""
    same = (
        Recall.objects.open()
        .filter(item=recall.item_id, scope=recall.scope, number=recall.number)
        .first()
    )
    if same is not None:
        raise Refused(
            "recalled-already",
            _("This recall of %(item)s is already open. Continue with the open one.")
            % {"item": recall.item.name},
            recall=same.pk,
        )


# ---------------------------------------------------------------------------------------- answers
def mark_informed(act: Act, row: RecallPlace) -> RecallPlace:
    """Record that whoever has a place was informed in another way, such as by phone."""
    _refuse_unless_theirs(act.actor, row)
    act.actor.require("recall", row.place.room_now.pk)
    with Book(act) as book:
        entry = book.post(
            EntryKind.RECALL_ANSWER,
            room=row.place.room_now,
            detail={"row": row.pk, "told": True},
        )
        store(row, told_at=entry.occurred_at)
    return row


def answer(act: Act, row: RecallPlace, given: Answer, *, removed: int = 0) -> RecallPlace:
    """Record what somebody found in a place; a fact, from whoever looked: of the rooms where it is,
    or who has it. Raises NotFound for a place of others.

    `removed` units of the batch were taken out and go to the quarantine of the room. More than
    the book has of it there were booked as other batches of the thing; what is still more, was
    not in the book at all. *Taken out* and *none there* settle the place; *will look* does not.
    """
    _refuse_unless_theirs(act.actor, row)
    act.actor.require("answer_recall")
    taken_out = given == Answer.TAKEN_OUT
    removed = whole(removed, field="removed", least=1 if taken_out else 0)
    if removed and not taken_out:
        raise Invalid(
            _("Enter a number of removed units only with the answer “taken-out”."), field="removed"
        )
    with Book(act) as book:
        kit = book.lock(row.place.kit_id)[0] if row.place.kit_id else None
        lots.held_still(
            Lot.objects.filter(item=row.recall.item_id).values_list("pk", flat=True)
        )  # what is booked there stays so
        row = (
            RecallPlace.objects.select_for_update(of=("self",))
            .select_related("recall__item", "place__kit__room", "place__room")
            .get(pk=row.pk)
        )
        room = act.room or row.place.room_now
        suspect = Lot.objects.filter(lots.matching(row.recall))
        booked = list(_of_thing(row).filter(lot__in=suspect))
        irregular = (
            [ReasonCode.RECORD_SAYS_OTHERWISE] if booked and given == Answer.NONE_THERE else []
        )
        legs = _out_of(row, booked, removed, room_place(room, PlaceKind.QUARANTINE))
        if any(leg.source.kind == PlaceKind.UNEXPLAINED for leg in legs):
            irregular.append(ReasonCode.MORE_THAN_ON_RECORD)
        entry = book.post(
            EntryKind.RECALL_ANSWER,
            legs,
            kit=kit,
            room=room,
            irregular=irregular,
            detail={"row": row.pk, "answer": str(given), "removed": removed},
        )
        row.answer, row.answered_by = str(given), act.person
        row.quarantined += removed
        row.answered = None if given == Answer.WILL_LOOK else entry
        row.save()
        if kit is not None:
            let_go(kit.pk, entry)
        if irregular:
            writing.notify_keepers(entry, "irregular", kit=kit, room=None if kit else room)
    return row


def find(pk: int) -> Recall:
    """A recall with its thing, and when it started and ended. Raises NotFound."""
    return one(Recall.objects.select_related("item", "entry", "closed").filter(pk=pk), "recall", pk)


def find_row(actor: Actor, recall: Recall, pk: int) -> RecallPlace:
    """A place listed by a recall, by its row, of somebody's rooms or one that they have. Raises
    NotFound for any other, there or not."""
    rows = RecallPlace.objects.select_related("place__kit__room", "place__room")
    row = one(rows.filter(pk=pk, recall=recall), "row of this recall", pk)
    _refuse_unless_theirs(actor, row)
    return row


def _refuse_unless_theirs(actor: Actor, row: RecallPlace) -> None:
    if not status.sees_row(actor, row):
        raise NotFound("row of this recall", row.pk)


def let_go(kit_id: int, entry: Entry) -> None:
    """Release a kit that was kept back for recalls, unless somebody still has to look into it for
    what the book is not sure of."""
    unanswered = RecallPlace.objects.filter(
        place__kit=kit_id, recall__in=Recall.objects.blocking(), answered__isnull=True
    )
    if not any(row.units_min < row.units_max for row in unanswered):
        Withholding.objects.open().filter(kit=kit_id, kind=WithheldKind.RECALL).update(
            released=entry
        )


def _of_thing(row: RecallPlace) -> QuerySet[Holding]:
    return (
        Holding.objects.on_hand()
        .filter(place=row.place_id, lot__item=row.recall.item_id)
        .select_related("lot__item")
        .order_by("lot__expiry", "lot")
    )


def _out_of(
    row: RecallPlace, booked: Sequence[Holding], removed: int, quarantine: Place
) -> list[Leg]:
    """Legs that bring `removed` units into quarantine: those booked there, then those booked as
    another batch, then those not booked at all."""
    legs = []
    for holding in booked:
        if take := min(removed, holding.units):
            legs.append(Leg(holding.lot, row.place, quarantine, take))
            removed -= take
    if not removed:
        return legs
    batch = _batch_of(row.recall)
    between, unexplained = outer(PlaceKind.RECLASSIFIED), outer(PlaceKind.UNEXPLAINED)
    for holding in _of_thing(row).exclude(pk__in=[h.pk for h in booked]):
        if take := min(removed, holding.units):
            legs.append(Leg(holding.lot, row.place, between, take, assumed=True))
            legs.append(Leg(batch, between, quarantine, take))
            removed -= take
    if removed:
        legs.append(Leg(batch, unexplained, quarantine, removed))
    return legs


def _batch_of(recall: Recall) -> Lot:
    """The batch that units found are of: the one with the recall's number, else the newest."""
    suspects = Lot.objects.select_related("item").filter(lots.matching(recall))
    named = suspects.filter(number=recall.number) if recall.number else suspects
    return named.order_by("-pk").first() or lots.known(item=recall.item, number=recall.number)
