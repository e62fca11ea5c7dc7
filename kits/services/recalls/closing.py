"""How a recall ends: finished, withdrawn by its maker, or followed again after all.

A finished recall blocks its batches for ever. What its maker withdraws makes them good again where
no other recall is about them; their units leave quarantine by an act of their own.
"""

from dataclasses import asdict

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, Refused, refuse_first, store
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
)
from kits.rules.recalls.certainty import Outcome
from kits.services.ledger import Book, Leg, admission, lots, room_place
from kits.services.recalls import recalls, status, tracing

_LONGEST = Recall._meta.get_field("published_at").max_length or 0


def close(act: Act, recall: Recall, outcome: Outcome | str, *, published_at: str = "") -> Recall:
    """End a recall. `published_at` says where the maker withdrew it, and goes with that alone; one
    that is finished may still be withdrawn later.

    Raises Invalid, Refused: `closed-already`, and `units-not-accounted-for` where some of it is in
    quarantine, in kits or not looked for yet and the act gives no reason for finishing it.
    """
    act.actor.require("close_recall")
    outcome, published_at = _settled(outcome, published_at)
    with Book(act) as book:
        kit_ids = _hold(book, recall)
        recall = _locked(recall)
        if recall.outcome in (outcome, Outcome.WITHDRAWN):
            raise Refused("closed-already", _("This recall is already closed."), recall=recall.pk)
        finished = outcome is Outcome.FINISHED and not act.reason
        if finished and (unsettled := status.of(recall).unsettled):
            raise _not_accounted_for(recall, asdict(unsettled))
        entry = book.post(
            EntryKind.RECALL_CLOSE,
            detail={"recall": recall.pk, "outcome": outcome, "published_at": published_at},
        )
        store(recall, closed=entry, outcome=outcome, published_at=published_at)
        if outcome is Outcome.WITHDRAWN:
            _make_good_again(recall, kit_ids, entry)
    return recall


def reopen(act: Act, recall: Recall) -> Recall:
    """Follow a recall again that was closed too early: its batches are blocked, and what lies on
    shelves goes to quarantine. Raises Refused: `recall-open`, `recalled-already`."""
    act.actor.require("recall")
    with Book(act) as book:
        tracing.hold(book, recall)
        recall = _locked(recall)
        if recall.closed_id is None:
            raise Refused("recall-open", _("This recall is still open."), recall=recall.pk)
        recalls.refuse_open_already(recall)
        store(recall, closed=None, outcome="", published_at="")
        tracing.spread(book, recall)
    return recall


def put_back(act: Act, recall: Recall, shelf: Place) -> Entry:
    """Move what a withdrawn recall had brought into quarantine onto a shelf of the same room. What
    must not be used for another reason stays where it is.

    Raises Invalid, Refused: `not-withdrawn`, `nothing-to-put-back`.
    """
    if shelf.kind != PlaceKind.SHELF or shelf.room is None or shelf.closed_on is not None:
        raise Invalid(_("Choose the shelf to put the batch back on."), field="shelf")
    with Book(act) as book:
        act.actor.require("move", shelf.room_id)
        recall = _locked(recall)
        if recall.outcome != Outcome.WITHDRAWN:
            raise Refused(
                "not-withdrawn",
                _("The batch stays in quarantine until its maker withdraws the recall."),
                recall=recall.pk,
            )
        quarantine = room_place(shelf.room, PlaceKind.QUARANTINE)
        held = (
            Holding.objects.on_hand()
            .filter(place=quarantine, lot__in=Lot.objects.filter(lots.matching(recall)))
            .select_related("lot__item")
            .order_by("lot")
        )
        if not held:
            raise Refused(
                "nothing-to-put-back",
                _("None of the recalled stock is in quarantine in %(room)s.")
                % {"room": shelf.room.name},
                recall=recall.pk,
            )
        legs = [
            Leg(row.lot, quarantine, shelf, row.units)
            for row in held
            if admission.landing(row.lot, shelf)[0] == shelf
        ]
        if not legs:
            raise Refused(
                "nothing-to-put-back",
                _(
                    "The recalled stock in quarantine in %(room)s may not go back on a shelf, "
                    "because it is out of date, on hold, or must not be used for another reason."
                )
                % {"room": shelf.room.name},
                recall=recall.pk,
            )
        return book.post(EntryKind.MOVE, legs, room=shelf.room, detail={"recall": recall.pk})


# ------------------------------------------------------------------------------------------ inside
def _settled(outcome: Outcome | str, published_at: str) -> tuple[Outcome, str]:
    try:
        outcome = Outcome(outcome)
    except ValueError:
        raise Invalid(
            _("Choose how the recall ended: “finished”, or “withdrawn” by its maker."),
            field="outcome",
        ) from None
    published_at = " ".join(published_at.split())
    refuse_first(
        (
            bool(outcome is Outcome.FINISHED and published_at),
            Invalid(
                _(
                    "Enter where the withdrawal was published only if the maker has withdrawn "
                    "the recall."
                ),
                field="published_at",
            ),
        ),
        (
            outcome is Outcome.WITHDRAWN and not 0 < len(published_at) <= _LONGEST,
            Invalid(
                _(
                    "Enter where the maker announced the withdrawal of the recall: a web address, "
                    "or a letter and its date."
                ),
                field="published_at",
            ),
        ),
    )
    return outcome, published_at


def _locked(recall: Recall) -> Recall:
    return Recall.objects.select_for_update(of=("self",)).select_related("item").get(pk=recall.pk)


def _hold(book: Book, recall: Recall) -> list[int]:
    """Lock the kits that hold a recall's batches or are on its list, then the thing (a batch made
    meanwhile is seen here, or sees how it ended), then its batches; the kits."""

    def kits() -> list[int]:
        holding = (
            Holding.objects.on_hand()
            .filter(lot__recall=recall, place__kind=PlaceKind.SECTION)
            .values_list("place__kit", flat=True)
        )
        listed = RecallPlace.objects.filter(recall=recall, place__kit__isnull=False)
        return sorted({*holding, *listed.values_list("place__kit", flat=True)})

    def batches() -> QuerySet[Lot, int]:
        Item.objects.select_for_update(no_key=True).get(pk=recall.item_id)
        return Lot.objects.filter(recall=recall).values_list("pk", flat=True)

    book.hold(kits, batches)
    return kits()


def _not_accounted_for(recall: Recall, numbers: dict[str, int]) -> Refused:
    return Refused(
        "units-not-accounted-for",
        _(
            "Not everything is accounted for. Units in quarantine: %(quarantined)d; units "
            "elsewhere: %(elsewhere)d; places without an answer: %(unanswered)d. Settle "
            "these first, or enter the reason for finishing the recall anyway."
        )
        % numbers,
        recall=recall.pk,
        **numbers,
    )


def _make_good_again(recall: Recall, kit_ids: list[int], entry: Entry) -> None:
    for lot in Lot.objects.filter(recall=recall):
        store(lot, recall=lots.recall_of(recall.item, lot.number))
    for kit_id in kit_ids:
        recalls.let_go(kit_id, entry)
