"""Stock: what is where; received, moved, sent and arrived, thrown out, opened."""

from collections.abc import Sequence
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.openapi.member_rules import any_of, needs, one_of
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, UseCaseView, named, present
from kits.api import answers
from kits.api.bodies import UNITS, StockBody
from kits.api.fields import currency_field, gtin_field, price_field
from kits.api.problems import NAMED_BY_LABEL, NAMED_KIT
from kits.api.stock.lots import BatchAnswer, LotBody, expiry_in, with_batches
from kits.models import INNER, Disposal, Holding, Lot, Place, PlaceKind
from kits.services.ledger.book import room_place
from kits.services.lookup import find
from kits.services.orders import orders
from kits.services.stock import disposing, moving, receiving, reclassifying, views

PLACE: dict[str, Any] = {"max_length": 40}
"""A place by id, or by the code of a shelf's or section's label."""


# ----------------------------------------------------------------------------------- what is where
class HoldingQuery(PageQuery):
    room = serializers.CharField(
        required=False, max_length=80, help_text="Stock in this gear room, including its kits."
    )
    place = serializers.IntegerField(required=False, min_value=1)
    kind = serializers.ChoiceField([kind.value for kind in INNER], required=False)
    kit = serializers.CharField(required=False, max_length=40)
    item = serializers.IntegerField(required=False, min_value=1)
    lot = serializers.IntegerField(required=False, min_value=1)
    expiring_before = serializers.DateField(required=False)
    recalled = serializers.BooleanField(required=False)


@answers.Answer.of(Holding)
class HoldingAnswer(answers.Answer):
    members = ["place", "lot", "units"]


class Holdings(ListView):
    read_problems = NAMED_KIT
    query = HoldingQuery
    shows = HoldingAnswer
    ordering = ("lot__item__name", "id")
    filters = {
        "room": named(find.room, "place__room", "place__kit__room"),
        "kit": named(find.kit, "place__kit"),
        "kind": "place__kind",
        "item": "lot__item",
        "expiring_before": lambda actor, day: Q(
            lot__in=Lot.objects.filter(views.expiring_before(day)).values("pk")
        ),
        "recalled": present("lot__recall"),
        "place": "place",
        "lot": "lot",
    }

    def rows(self, query: dict[str, Any]) -> QuerySet[Holding]:
        """The stock in your gear rooms, by item."""
        return (
            Holding.objects.on_hand()
            .filter(place__in=find.places_of(self.actor).values("pk"))
            .select_related("place__room", "place__kit", "lot__item")
        )

    def whole_page(self, page: list[Holding]) -> Sequence[Holding]:
        """The page's rows, their batches judged together."""
        with_batches(row.lot for row in page)
        return page


# --------------------------------------------------------------------------- receiving and arriving
class ReceiveBody(ActBody, LotBody):
    example = {
        "shelf": "3", "item": 4, "units": 24, "number": "D7", "expiry_printed": "05/2035",
        "supplier": "Invented Supplies", "price": "18.00", "currency": "GBP",
    }  # fmt: skip
    rules = (
        any_of(("item", "pack_code"), _("Enter the item that arrived, or its pack code.")),
        one_of(
            ("units", "packs"),
            _("Enter either the number of units or the number of packs that arrived."),
            "units",
        ),
        needs(
            "packs",
            "pack_code",
            _("The pack code determines how many units are in a pack: enter the pack code."),
            "packs",
        ),
    )

    shelf = serializers.CharField(**PLACE, help_text="By id or by label code.")
    item = serializers.IntegerField(required=False, min_value=1)
    units = serializers.IntegerField(required=False, **UNITS)
    packs = serializers.IntegerField(required=False, **UNITS)
    pack_code = gtin_field(
        required=False, help_text="The pack's GTIN; can be sent instead of the item."
    )
    supplier = serializers.CharField(required=False, max_length=120, allow_blank=True)
    price = price_field(required=False, allow_null=True, help_text="The total price.")
    currency = currency_field()
    ordered_on = serializers.DateField(
        required=False,
        allow_null=True,
        help_text="The day it was ordered; from it is learned how long deliveries take.",
    )
    order = serializers.IntegerField(
        required=False,
        allow_null=True,
        min_value=1,
        help_text="The order it is of; null: of none. Left out: the oldest open one of the item.",
    )


@answers.Answer.of(receiving.Remark)
class RemarkAnswer(answers.Answer):
    pass


@answers.Answer.of(receiving.Arrival)
class ReceivedAnswer(answers.WithEntry):
    members = ["lot", "place", "units", "remarks"]
    help_texts = {"place": "The shelf; or quarantine, with the reason as a remark."}


class Receive(UseCaseView):
    use_case = "receive"
    problems = ("instrument-held", "serial-known-otherwise", *NAMED_BY_LABEL)
    body = ReceiveBody
    answers = {201: ReceivedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Receive a supplier's delivery onto a shelf."""
        shelf = find.shelf(act.actor, data.pop("shelf"))
        expiry = expiry_in(data, receiving.today_in(shelf.room_now))
        item = find.item(data.pop("item")) if "item" in data else None
        if "order" in data:
            named = data.pop("order")
            data["of_order"] = named is not None
            data["order"] = named and orders.order(act.actor, named).order
        return 201, receiving.receive(act, shelf=shelf, item=item, expiry=expiry, **data)


class ArriveBody(StockBody):
    example = {"lot": "12", "units": 2, "shelf": "3"}
    shelf = serializers.CharField(**PLACE)


class Arrive(UseCaseView):
    use_case = "move"
    problems = NAMED_BY_LABEL
    body = ArriveBody
    answers = {201: ReceivedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Put items sent by another gear room on a shelf."""
        shelf = find.shelf(act.actor, data["shelf"])
        return 201, moving.arrive(act, lot=find.lot(data["lot"]), units=data["units"], shelf=shelf)


# ------------------------------------------------------------------------------ moving and sending
class MoveBody(StockBody):
    example = {"lot": "12", "units": 2, "source": "3", "to": "quarantine"}
    source = serializers.CharField(**PLACE, help_text="Where it is: a shelf, box or section.")  # type: ignore[assignment]  # so the API names it
    to = serializers.CharField(
        **PLACE, help_text="Where it goes: a place, or that room's “quarantine” or “training”."
    )


class Move(UseCaseView):
    use_case = "move"
    problems = (
        "not-enough", "not-for-class", "not-here", "place-closed", "restock-instead",
        "send-instead", "training-never-back", *NAMED_BY_LABEL,
    )  # fmt: skip
    body = MoveBody
    answers = {201: answers.DoneAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Move units within a gear room."""
        source = find.place(act.actor, data["source"])
        return 201, moving.move(
            act,
            lot=find.lot(data["lot"]),
            units=data["units"],
            source=source,
            target=_target(act, data["to"], source),
        )


def _target(act: Act, ref: str, source: Place) -> Place:
    if ref in (PlaceKind.QUARANTINE, PlaceKind.TRAINING):
        act.actor.require("move", source.room_now.pk)
        return room_place(source.room_now, PlaceKind(ref))
    return find.place(act.actor, ref)


class SendBody(StockBody):
    example = {"lot": "12", "units": 2, "source": "3", "room": "cave-hut"}
    source = serializers.CharField(**PLACE, help_text="The shelf that it is on.")  # type: ignore[assignment]  # so the API names it
    room = serializers.CharField(
        max_length=80, help_text="The gear room that it is sent to, by its slug."
    )


class Send(UseCaseView):
    use_case = "move"
    problems = ("not-enough", *NAMED_BY_LABEL)
    body = SendBody
    answers = {201: answers.DoneAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Send units to another gear room."""
        return 201, moving.send(
            act,
            lot=find.lot(data["lot"]),
            units=data["units"],
            source=find.place(act.actor, data["source"]),
            room=find.any_room(data["room"]),
        )


# ------------------------------------------------------------------------ throwing out and opening
class DisposeBody(StockBody):
    example = {"lot": "12", "units": 2, "place": "3", "reason": "Torn open."}
    place = serializers.CharField(**PLACE)
    disposal = serializers.ChoiceField(
        Disposal.choices, required=False, help_text="Default: the item's usual way."
    )


class Dispose(UseCaseView):
    use_case = "dispose"
    problems = ("not-enough", "not-here", "wrong-bin", *NAMED_BY_LABEL)
    body = DisposeBody
    answers = {201: answers.DoneAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Dispose of units. A reason is required if they are still good."""
        return 201, disposing.dispose(
            act,
            place=find.place(act.actor, data["place"]),
            lot=find.lot(data["lot"]),
            units=data["units"],
            disposal=Disposal(data["disposal"]) if "disposal" in data else None,
        )


class OpenBody(StockBody):
    example = {"lot": "12", "units": 2, "place": "3"}
    place = serializers.CharField(**PLACE)


class OpenedAnswer(answers.WithEntry):
    lot = BatchAnswer(help_text="The batch that the opened units now belong to.")


class Open(UseCaseView):
    use_case = "open"
    problems = (
        "no-opened-life", "not-enough", "not-here", "opened-already", "serial-known-otherwise",
        *NAMED_BY_LABEL,
    )  # fmt: skip
    body = OpenBody
    answers = {201: OpenedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that units that must be used sooner once opened have been opened."""
        return 201, reclassifying.open_pack(
            act,
            place=find.place(act.actor, data["place"]),
            lot=find.lot(data["lot"]),
            units=data["units"],
        )
