"""Batches: looked up, corrected, checked; and how a batch is shown."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _
from rest_framework import serializers

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid
from gearroom.core.api.requests.serializers import ActBody, PageQuery, StrictSerializer
from gearroom.core.api.views import ListView, ReadView, UseCaseView
from kits.api import answers
from kits.models import Holding, Lot, LotFact
from kits.rules.ledger.expiry import good_through
from kits.services.ledger import readiness
from kits.services.ledger.lots import normal, printed_expiry
from kits.services.lookup import find
from kits.services.lookup.own_side import receipts_of, without_strangers
from kits.services.stock import corrections, instruments, views

NUMBER = {"max_length": 80, "allow_blank": True}


class ThingAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()
    base_unit = serializers.CharField()


class BatchAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    item = ThingAnswer()
    number = serializers.CharField(help_text="The maker's lot number; empty: not known.")
    serial = serializers.CharField()
    expiry = serializers.DateField(allow_null=True, help_text="The printed last good day.")
    opened_on = serializers.DateField(allow_null=True)
    good_until = serializers.DateField(
        allow_null=True, help_text="The sooner of the printed day and that since it was opened."
    )
    recall = serializers.IntegerField(allow_null=True)
    withheld = serializers.BooleanField()
    check_due = serializers.DateField(allow_null=True)
    check_passed = serializers.BooleanField(allow_null=True)


def lots_shown(lots: Iterable[Lot]) -> dict[int, dict[str, Any]]:
    """Batches as they are shown, by id; they come with their items."""
    lots = list(lots)
    batches = readiness.batches(lots)
    return {lot.pk: _shown(lot, batches[lot.pk]) for lot in lots}


def _shown(lot: Lot, batch: Any) -> dict[str, Any]:
    return {
        "id": lot.pk,
        "item": {"id": lot.item_id, "name": lot.item.name, "base_unit": lot.item.base_unit},
        "number": lot.number,
        "serial": lot.serial,
        "expiry": iso(lot.expiry),
        "opened_on": iso(lot.opened_on),
        "good_until": iso(good_through(batch)),
        "recall": lot.recall_id,
        "withheld": batch.withheld,
        "check_due": iso(batch.check_due),
        "check_passed": batch.check_passed,
    }


def iso(day: date | None) -> str | None:
    """A day as JSON has it."""
    return day.isoformat() if day else None


def expiry_in(data: dict[str, Any], today: date) -> date | None:
    """The last good day that a body gives, as a date or as it is printed; takes both out."""
    printed, expiry = data.pop("expiry_printed", ""), data.pop("expiry", None)
    read = printed_expiry(printed, today=today)
    if read is not None and expiry is not None and expiry != read:
        raise Invalid(
            _("“%(printed)s” reads as %(day)s, and the expiry given differs. Send one of them.")
            % {"printed": printed, "day": read.isoformat()},
            field="expiry",
        )
    return read or expiry


class LotBody(StrictSerializer):
    """What is printed on a pack, as parts of a body."""

    number = serializers.CharField(required=False, **NUMBER)
    serial = serializers.CharField(required=False, **NUMBER)
    expiry = serializers.DateField(required=False, allow_null=True)
    expiry_printed = serializers.CharField(
        required=False, max_length=40, help_text="As it is printed, such as EXP 05/2027."
    )


# -------------------------------------------------------------------------------------- looking up
class LotQuery(PageQuery):
    item = serializers.IntegerField(required=False, min_value=1)
    number = serializers.CharField(required=False, max_length=80)
    expiring_before = serializers.DateField(required=False)
    recalled = serializers.BooleanField(required=False)
    in_stock = serializers.BooleanField(
        required=False, help_text="Only batches of which units are somewhere."
    )


class Lots(ListView):
    query = LotQuery
    shows = BatchAnswer

    def rows(self, query: dict[str, Any]) -> QuerySet[Lot]:
        """Batches, the newest first."""
        lots = Lot.objects.select_related("item")
        if "item" in query:
            lots = lots.filter(item=query["item"])
        if "number" in query:
            lots = lots.filter(number=normal(query["number"]))
        if "expiring_before" in query:
            lots = lots.filter(views.expiring_before(query["expiring_before"]))
        if "recalled" in query:
            lots = lots.filter(recall__isnull=not query["recalled"])
        if "in_stock" in query:
            held = Holding.objects.on_hand().filter(lot=OuterRef("pk"))
            lots = lots.filter(Exists(held) if query["in_stock"] else ~Exists(held))
        return lots

    def show(self, page: list[Lot]) -> Any:
        """The page's batches, judged together."""
        shown = lots_shown(page)
        return [shown[lot.pk] for lot in page]


class FactAnswer(serializers.Serializer[Any]):
    number = serializers.CharField()
    expiry = serializers.DateField(allow_null=True)
    since = serializers.DateTimeField(help_text="When it was recorded.")
    entry = serializers.IntegerField()
    by = serializers.CharField(allow_null=True)
    reason = serializers.CharField()


class ReceiptAnswer(serializers.Serializer[Any]):
    entry = serializers.IntegerField()
    on = serializers.DateTimeField()
    units = serializers.IntegerField()
    supplier = serializers.CharField()
    price = serializers.DecimalField(12, 2, allow_null=True, help_text="For all of it.")
    currency = serializers.CharField()


class BatchPlaceAnswer(serializers.Serializer[Any]):
    place = serializers.IntegerField()
    name = serializers.CharField()
    kind = serializers.CharField()
    kit = serializers.CharField(allow_null=True)
    units = serializers.IntegerField()


class BatchWholeAnswer(BatchAnswer):
    facts = FactAnswer(many=True, help_text="What was believed of it, the latest last.")
    receipts = ReceiptAnswer(many=True, help_text="Empty for those who do not receive stock.")
    places = BatchPlaceAnswer(many=True, help_text="Where it is, in one's own rooms.")


class OneLot(ReadView):
    shows = BatchWholeAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """A batch: what is and was believed of it, how it came, where it is."""
        assert self.actor is not None
        lot = find.lot(self.kwargs["id"])
        facts = list(LotFact.objects.filter(lot=lot).select_related("entry__person"))
        without_strangers(self.actor, [fact.entry for fact in facts])
        held = (
            Holding.objects.on_hand()
            .filter(lot=lot, place__in=find.places_of(self.actor))
            .select_related("place__kit")
        )
        return {
            **lots_shown([lot])[lot.pk],
            "facts": [
                {
                    "number": fact.number,
                    "expiry": iso(fact.expiry),
                    "since": fact.entry.recorded_at.isoformat(),
                    "entry": fact.entry_id,
                    "by": fact.entry.person.name if fact.entry.person else None,
                    "reason": fact.entry.reason,
                }
                for fact in facts
            ],
            "receipts": [
                {
                    "entry": receipt.entry_id,
                    "on": receipt.entry.occurred_at.isoformat(),
                    "units": receipt.units,
                    "supplier": receipt.supplier,
                    "price": str(receipt.price) if receipt.price is not None else None,
                    "currency": receipt.currency,
                }
                for receipt in receipts_of(self.actor, lot)
            ],
            "places": [
                {
                    "place": holding.place_id,
                    "name": holding.place.name,
                    "kind": holding.place.kind,
                    "kit": holding.place.kit.name if holding.place.kit else None,
                    "units": holding.units,
                }
                for holding in held
            ],
        }


# -------------------------------------------------------------------------------------- correcting
class CorrectBody(ActBody):
    example = {"expiry_printed": "EXP 05/2035", "reason": "Read on the pack."}
    number = serializers.CharField(required=False, **NUMBER)
    expiry = serializers.DateField(required=False, allow_null=True)
    expiry_printed = serializers.CharField(required=False, max_length=40)


class CorrectedAnswer(serializers.Serializer[Any]):
    entry = answers.EntryAnswer()
    lot = BatchAnswer()
    booked_over = serializers.BooleanField(
        help_text="Another batch had this identity already; all units are of that one now."
    )


class Correct(UseCaseView):
    use_case = "correct_lot"
    body = CorrectBody
    answers = {200: CorrectedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Put right a batch's number or date. A reason is needed."""
        lot = find.lot(self.kwargs["id"])
        says_date = "expiry" in data or "expiry_printed" in data
        expiry = expiry_in(data, act.received_at.date())
        done = corrections.correct(
            act,
            lot,
            number=data.get("number"),
            expiry=expiry if says_date else corrections.Keep.AS_IT_IS,
        )
        now = find.lot(done.lot.pk)
        return 200, {
            "entry": answers.entry(done.entry),
            "lot": lots_shown([now])[now.pk],
            "booked_over": done.booked_over,
        }


# ---------------------------------------------------------------------------------------- checking
class CheckBody(ActBody):
    example = {"passed": True, "answer": "In the green", "checked_on": "2026-05-31"}
    passed = serializers.BooleanField(help_text="The answer to the thing's question.")
    answer = serializers.CharField(required=False, max_length=200, allow_blank=True)
    checked_on = serializers.DateField(required=False)
    due_on = serializers.DateField(
        required=False, help_text="When the next is due, if not after the thing's interval."
    )


class CheckedAnswer(serializers.Serializer[Any]):
    entry = answers.EntryAnswer()
    lot = BatchAnswer()
    counts = serializers.BooleanField(help_text="False where a later check is on record.")


def checked(act: Act, lot: Lot, data: dict[str, Any]) -> tuple[int, Any]:
    """Record a check and show the instrument."""
    done = instruments.check(act, lot, **data)
    return 201, {
        "entry": answers.entry(done.entry),
        "lot": lots_shown([lot])[lot.pk],
        "counts": done.check is not None,
    }


class CheckLot(UseCaseView):
    use_case = "check_instrument"
    body = CheckBody
    answers = {201: CheckedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record a check of an instrument, wherever it is."""
        return checked(act, find.lot(self.kwargs["id"]), data)
