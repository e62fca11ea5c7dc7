"""Batches: looked up, corrected, checked; and how a batch is shown."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _
from rest_framework import serializers

from gearroom.core.acts import NOT_GIVEN, Act, Invalid
from gearroom.core.api.requests.serializers import ActBody, PageQuery, StrictSerializer
from gearroom.core.api.views import ListView, ReadView, UseCaseView, present
from kits.api import answers
from kits.models import Holding, Item, Lot, LotFact, Receipt
from kits.rules.ledger.expiry import good_through
from kits.services.ledger import readiness
from kits.services.ledger.lots import normal, printed_expiry
from kits.services.lookup import find, receipts_of, without_strangers
from kits.services.stock import corrections, instruments, views

NUMBER: dict[str, Any] = {"max_length": 80, "allow_blank": True}


@answers.Answer.of(Item)
class ThingAnswer(answers.Answer):
    members = ["id", "name", "base_unit"]


@answers.Answer.of(Lot)
class BatchAnswer(answers.Answer):
    """A batch."""

    members = [
        "id", "item", "number", "serial", "expiry", "opened_on", "good_until", "recall", "withheld",
        "check_due", "check_passed",
    ]  # fmt: skip
    sources = {"recall": "recall_id"}
    help_texts = {
        "number": "The maker's lot number; empty: not known.",
        "expiry": "The printed expiry date.",
    }

    good_until = answers.made(
        serializers.DateField,
        good_through,
        source="batch",
        allow_null=True,
        help_text="The earlier of the printed date and the date after opening.",
    )
    withheld = serializers.BooleanField(source="batch.withheld")
    check_due = serializers.DateField(source="batch.check_due", allow_null=True)
    check_passed = serializers.BooleanField(source="batch.check_passed", allow_null=True)

    def to_representation(self, lot: Lot) -> Any:
        """The lot, judged by now at the latest."""
        return super().to_representation(lot if "batch" in vars(lot) else with_batches([lot])[0])


def with_batches(lots: Iterable[Lot]) -> list[Lot]:
    """Lots, which come with their items, each with its `batch` as the rules take it."""
    lots = list(lots)
    batches = readiness.batches(lots)
    for lot in lots:
        vars(lot)["batch"] = batches[lot.pk]
    return lots


def expiry_in(data: dict[str, Any], today: date) -> date | None:
    """The last good day that a body gives, as a date or as it is printed; takes both out."""
    printed, expiry = data.pop("expiry_printed", ""), data.pop("expiry", None)
    read = printed_expiry(printed, today=today)
    if read is not None and expiry is not None and expiry != read:
        raise Invalid(
            _(
                "“%(printed)s” means %(day)s, but the expiry date sent is different. Send only "
                "one of the two."
            )
            % {"printed": printed, "day": read.isoformat()},
            field="expiry",
        )
    return read or expiry


class LotBody(StrictSerializer):
    """The details printed on a pack."""

    number = serializers.CharField(required=False, **NUMBER)
    serial = serializers.CharField(required=False, **NUMBER)
    expiry = serializers.DateField(required=False, allow_null=True)
    expiry_printed = serializers.CharField(
        required=False, max_length=40, help_text="As printed, such as EXP 05/2027."
    )


# -------------------------------------------------------------------------------------- looking up
class LotQuery(PageQuery):
    item = serializers.IntegerField(required=False, min_value=1)
    number = serializers.CharField(required=False, max_length=80)
    expiring_before = serializers.DateField(required=False)
    recalled = serializers.BooleanField(required=False)
    in_stock = serializers.BooleanField(required=False, help_text="Only batches that are in stock.")


class Lots(ListView):
    query = LotQuery
    shows = BatchAnswer
    filters = {
        "item": "item",
        "number": lambda actor, number: Q(number=normal(number)),
        "expiring_before": lambda actor, day: views.expiring_before(day),
        "recalled": present("recall"),
        "in_stock": lambda actor, wanted: _in_stock() if wanted else ~_in_stock(),
    }

    def rows(self, query: dict[str, Any]) -> QuerySet[Lot]:
        """Batches, the newest first."""
        return Lot.objects.select_related("item")

    def whole_page(self, page: list[Lot]) -> Sequence[Lot]:
        """The page's batches, judged together."""
        return with_batches(page)


def _in_stock() -> Q:
    return Q(Exists(Holding.objects.on_hand().filter(lot=OuterRef("pk"))))


@answers.Answer.of(LotFact)
class FactAnswer(answers.Answer):
    members = ["number", "expiry", "since", "entry", "by", "reason"]
    sources = {
        "since": "entry.recorded_at", "entry": "entry_id", "by": "entry.person.name",
        "reason": "entry.reason",
    }  # fmt: skip
    help_texts = {"since": "When it was recorded."}


@answers.Answer.of(Receipt)
class ReceiptAnswer(answers.Answer):
    members = ["entry", "on", "units", "supplier", "price", "currency"]
    sources = {"entry": "entry_id", "on": "entry.occurred_at"}
    help_texts = {"price": "The total price."}


class BatchPlaceAnswer(answers.Answer):
    shown = Holding
    members = ["place", "name", "kind", "kit", "units"]
    sources = {
        "place": "place_id", "name": "place.name", "kind": "place.kind", "kit": "place.kit.name",
    }  # fmt: skip


class _BatchRecord(serializers.Serializer[Any]):
    facts = FactAnswer(many=True, help_text="Its details as recorded, latest last.")
    receipts = ReceiptAnswer(many=True, help_text="Empty for people who may not receive stock.")
    places = BatchPlaceAnswer(many=True, help_text="Where it is in your gear rooms.")


class BatchWholeAnswer(BatchAnswer, _BatchRecord):
    def to_representation(self, row: Any) -> Any:
        """The batch, with what is on record of it."""
        return {**BatchAnswer(row["lot"]).data, **_BatchRecord(row).data}


class OneLot(ReadView):
    shows = BatchWholeAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """A batch: its details now and before corrections, its deliveries, and where it is."""
        lot = find.lot(self.kwargs["id"])
        facts = list(LotFact.objects.filter(lot=lot).select_related("entry__person"))
        without_strangers(self.actor, [fact.entry for fact in facts])
        return {
            "lot": lot,
            "facts": facts,
            "receipts": receipts_of(self.actor, lot),
            "places": Holding.objects.on_hand()
            .filter(lot=lot, place__in=find.places_of(self.actor))
            .select_related("place__kit"),
        }


# -------------------------------------------------------------------------------------- correcting
class CorrectBody(ActBody):
    example = {"expiry_printed": "EXP 05/2035", "reason": "Read on the pack."}
    number = serializers.CharField(required=False, **NUMBER)
    expiry = serializers.DateField(required=False, allow_null=True)
    expiry_printed = serializers.CharField(required=False, max_length=40)


@answers.Answer.of(corrections.Correction)
class CorrectedAnswer(answers.WithEntry):
    members = ["lot", "booked_over"]
    help_texts = {
        "booked_over": "Another batch already had these details; all units now belong to that one."
    }


class Correct(UseCaseView):
    use_case = "correct_lot"
    problems = ("nothing-to-correct",)
    body = CorrectBody
    answers = {200: CorrectedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Correct a batch's number or date. A reason is required."""
        lot = find.lot(self.kwargs["id"])
        says_date = "expiry" in data or "expiry_printed" in data
        expiry = expiry_in(data, act.received_at.date())
        done = corrections.correct(
            act,
            lot,
            number=data.get("number"),
            expiry=expiry if says_date else NOT_GIVEN,
        )
        return 200, replace(done, lot=find.lot(done.lot.pk))


# ---------------------------------------------------------------------------------------- checking
class CheckBody(ActBody):
    example = {"passed": True, "answer": "In the green", "checked_on": "2026-05-31"}
    passed = serializers.BooleanField(help_text="The answer to the item's question.")
    answer = serializers.CharField(required=False, max_length=200, allow_blank=True)
    checked_on = serializers.DateField(required=False)
    due_on = serializers.DateField(
        required=False,
        help_text="When the next check is due, if not after the item's usual interval.",
    )


class CheckedAnswer(answers.WithEntry):
    lot = BatchAnswer()
    counts = serializers.BooleanField(help_text="False if a later check is on record.")


def checked(act: Act, lot: Lot, data: dict[str, Any]) -> tuple[int, Any]:
    """Record a check; with the instrument as it is then."""
    done = instruments.check(act, lot, **data)
    return 201, {"entry": done.entry, "lot": lot, "counts": done.check is not None}


class CheckLot(UseCaseView):
    use_case = "check_instrument"
    problems = ("not-an-instrument",)
    body = CheckBody
    answers = {201: CheckedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record a check of an instrument, wherever it is."""
        return checked(act, find.lot(self.kwargs["id"]), data)
