"""/api/v1/offers/ and /api/v1/suppliers/: what is offered by whom, at which price."""

from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, NoteField, PageQuery, StrictSerializer
from gearroom.core.api.views import ListView, UseCaseView, one_of
from kits.api import answers, bodies
from kits.api.fields import currency_field, price_field
from kits.models import Offer, OfferPrice, Supplier, SupplierName, SupplierTerms
from kits.services.buying import price_lists
from kits.services.lookup import find
from kits.services.stock import offers
from kits.services.stock.offers import PackPrice


@answers.Answer.of(OfferPrice)
class OfferPriceAnswer(answers.Answer):
    members = ["packs", "each"]
    help_texts = {"packs": "Where at least so many are bought."}


@answers.Answer.of(Offer)
class PackOfferAnswer(answers.Answer):
    members = [
        "id", "item", "supplier", "units", "currency", "tax_percent", "offered_on", "ended",
        "prices",
    ]  # fmt: skip
    help_texts = {
        "units": "In a pack.",
        "tax_percent": "What is added to the prices; 0: they include it.",
        "ended": "No longer offered.",
    }


@answers.Answer.of(SupplierTerms)
class TermsAnswer(answers.Answer):
    members = ["currency", "delivery", "free_from", "least_order", "stated_at"]
    help_texts = {"free_from": "Delivery is free from this value of goods on; null: never."}


@answers.Answer.of(SupplierName)
class SupplierNameAnswer(answers.Answer):
    members = ["name"]


@answers.Answer.of(Supplier)
class SupplierAnswer(answers.Answer):
    members = ["id", "name", "names", "terms"]
    help_texts = {
        "names": "Other ways in which the name is written.",
        "terms": "The latest of a currency counts; those before are the history.",
    }


class ItemNumbers(serializers.ListField):
    child = serializers.IntegerField()


class PriceBody(StrictSerializer):
    packs = serializers.IntegerField(**bodies.UNITS)
    each = price_field()


class OfferBody(ActBody):
    example = {
        "item": 4, "supplier": "Invented Supplies", "units": 10, "currency": "GBP",
        "tax_percent": "20", "prices": [{"packs": 1, "each": "4.50"}, {"packs": 5, "each": "4.20"}],
    }  # fmt: skip
    item = serializers.IntegerField(min_value=1)
    supplier = serializers.CharField(max_length=offers.MOST_NAME, help_text="By name.")
    units = serializers.IntegerField(**bodies.UNITS, help_text="In a pack.")
    currency = currency_field(required=True)
    tax_percent = serializers.DecimalField(
        5,
        2,
        min_value=Decimal(0),
        max_value=100,
        required=False,
        help_text="What is added to the prices.",
    )
    offered_on = serializers.DateField(required=False)
    prices = bodies.lines(PriceBody, allow_empty=False)


class TermsBody(ActBody):
    example = {"currency": "GBP", "delivery": "4.95", "free_from": "50.00"}
    currency = currency_field(required=True)
    delivery = price_field(required=False)
    free_from = price_field(required=False, allow_null=True)
    least_order = price_field(required=False)


class NameBody(ActBody):
    example = {"name": "Invented Supplies Ltd"}
    name = serializers.CharField(max_length=offers.MOST_NAME)


class OfferQuery(PageQuery):
    item = serializers.IntegerField(required=False, min_value=1)
    supplier = serializers.IntegerField(required=False, min_value=1)
    units = serializers.IntegerField(required=False, min_value=1)


class Offers(ListView, UseCaseView):
    query = OfferQuery
    shows = PackOfferAnswer
    ordering = ("item__name", "id")
    filters = {"item": "item", "supplier": "supplier", "units": "units"}
    use_case = "edit_item"
    body = OfferBody
    answers = {201: PackOfferAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Offer]:
        """What is offered now, by item."""
        return offers.in_force()

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """State what packs of an item cost at a supplier, in place of the offer before."""
        prices = [PackPrice(**price) for price in data.pop("prices")]
        item, name = find.item(data.pop("item")), data.pop("supplier")
        made = offers.offer_of_supplier(act, name, item=item, prices=prices, **data)
        return 201, offers.offer(made.pk)


class PastedBody(ActBody):
    example = {"text": "Gauze swab, pack of 100, £4.50\nSling\t10\t12.00"}
    text = NoteField(max_length=100_000, help_text="One offer a line.")


class ReadOfferAnswer(answers.Answer):
    text = serializers.CharField(source="pasted.text")
    name = serializers.CharField(source="pasted.name")
    units = serializers.IntegerField(source="pasted.units", allow_null=True)
    price = serializers.DecimalField(12, 2, source="pasted.price", allow_null=True)
    currency = serializers.CharField(source="pasted.currency", allow_blank=True)
    items = answers.made(
        ItemNumbers, lambda of: [item.pk for item in of.items], help_text="The likeliest first."
    )
    sure = serializers.BooleanField(help_text="Whether the first item surely is meant.")


class PastedAnswer(answers.Answer):
    lines = ReadOfferAnswer(many=True)


class ReadPastedOffers(UseCaseView):
    use_case = "edit_item"
    body = PastedBody
    answers = {200: PastedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Read a supplier's pasted list: what each line offers, and which items it may mean.
        Nothing is written."""
        return 200, {"lines": price_lists.read_offers(data["text"])}

    def kept(self, body: Any) -> Any:
        """Nothing: it only asks."""
        return None


class EndOffer(UseCaseView):
    use_case = "edit_item"
    answers = {200: PackOfferAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """State that something is no longer offered."""
        ended = offers.end_offer(act, offers.offer(self.kwargs["id"]))
        return 200, offers.offer(ended.pk)


class Suppliers(ListView):
    query = PageQuery
    shows = SupplierAnswer
    ordering = ("name",)

    def rows(self, query: dict[str, Any]) -> QuerySet[Supplier]:
        """Suppliers, by name."""
        return offers.suppliers()


class _SupplierView(UseCaseView):
    use_case = "edit_item"
    answers = {200: SupplierAnswer}

    def supplier(self) -> Supplier:
        """The supplier that the address names. Raises NotFound."""
        return one_of(offers.suppliers(), "supplier", self.kwargs["id"])


class StateTerms(_SupplierView):
    body = TermsBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """State what a supplier's deliveries cost, tax included."""
        offers.state_terms(act, self.supplier(), **data)
        return 200, self.supplier()


class MatchName(_SupplierView):
    problems = ("name-taken",)
    body = NameBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that a name as written elsewhere means this supplier."""
        offers.match_name(act, data["name"], self.supplier())
        return 200, self.supplier()
