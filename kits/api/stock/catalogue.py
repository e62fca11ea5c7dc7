"""/api/v1/items/: items, their makers' codes and what can be used instead."""

from typing import Any

from django.db.models import Prefetch, Q, QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, ReadView, UseCaseView, one_of, present
from kits.api import answers
from kits.api.fields import gtin_field
from kits.models import Disposal, Item, PackCode, Substitute
from kits.rules.ledger.facts import Kind
from kits.services.lookup import find
from kits.services.stock import catalogue

KINDS = [kind.value for kind in Kind]
CELSIUS: dict[str, Any] = {
    "min_value": -90,
    "max_value": 120,
    "required": False,
    "allow_null": True,
}
DAYS: dict[str, Any] = {"min_value": 1, "max_value": 36_500, "required": False, "allow_null": True}
SMALL: dict[str, Any] = {
    "min_value": 1,
    "max_value": 1_000_000,
    "required": False,
    "allow_null": True,
}


@answers.Answer.of(PackCode)
class PackCodeAnswer(answers.Answer):
    members = ["gtin", "units_per_pack"]
    help_texts = {"gtin": "14 digits; shorter numbers have leading zeros."}


@answers.Answer.of(Substitute)
class SubstituteAnswer(answers.Answer):
    members = ["item", "name", "note", "at_next_order"]
    help_texts = {"at_next_order": "The better one: orders take it in place of the item."}
    sources = {"item": "instead_id", "name": "instead.name"}


class ItemAnswer(answers.Answer):
    shown = Item
    members = [
        "id", "name", "kind", "base_unit", "needs_date", "sterile", "by_eye", "latex", "child",
        "min_temp_c", "max_temp_c", "keep_dry", "opened_life_days", "check_every_days",
        "check_question", "disposal", "volume_ml", "mass_g", "lead_time_days", "order_down_to",
        "caution", "goes_with", "retired_on", "revision", "pack_codes", "substitutes",
    ]  # fmt: skip
    help_texts = {
        "base_unit": "The smallest unit counted.",
        "substitutes": "Items that can be used instead, one for one.",
    }
    sources = {"goes_with": "goes_with_id"}
    kind = serializers.ChoiceField(KINDS)
    disposal = serializers.ChoiceField(Disposal.values)


class ItemBody(ActBody):
    example = {
        "name": "Gauze swab 10 × 10 cm", "kind": "consumable", "base_unit": "swab",
        "needs_date": True, "sterile": True, "lead_time_days": 14, "order_down_to": 20,
    }  # fmt: skip
    name = serializers.CharField(max_length=120)
    kind = serializers.ChoiceField(KINDS)
    base_unit = serializers.CharField(
        max_length=40, help_text="The smallest unit counted, such as swab, pair or tablet."
    )
    needs_date = serializers.BooleanField(required=False)
    sterile = serializers.BooleanField(required=False)
    by_eye = serializers.BooleanField(
        required=False, help_text="Loose: not counted, but full, low or empty."
    )
    latex = serializers.BooleanField(required=False)
    child = serializers.BooleanField(required=False, help_text="For children.")
    min_temp_c = serializers.IntegerField(**CELSIUS)
    max_temp_c = serializers.IntegerField(**CELSIUS)
    keep_dry = serializers.BooleanField(required=False, help_text="Spoils when it gets wet.")
    opened_life_days = serializers.IntegerField(**DAYS)
    check_every_days = serializers.IntegerField(**DAYS)
    check_question = serializers.CharField(max_length=200, required=False, allow_blank=True)
    disposal = serializers.ChoiceField(Disposal.values, required=False)
    volume_ml = serializers.IntegerField(**SMALL)
    mass_g = serializers.IntegerField(**SMALL)
    lead_time_days = serializers.IntegerField(min_value=0, max_value=1000, required=False)
    order_down_to = serializers.IntegerField(
        min_value=0, max_value=1_000_000, required=False, allow_null=True
    )
    caution = serializers.CharField(max_length=300, required=False, allow_blank=True)
    goes_with = serializers.IntegerField(
        min_value=1,
        required=False,
        allow_null=True,
        help_text="The item that does not work without it, such as the torch of spare batteries.",
    )


class ItemQuery(PageQuery):
    search = serializers.CharField(required=False, max_length=120, help_text="Part of the name.")
    kind = serializers.ChoiceField(KINDS, required=False)
    by_eye = serializers.BooleanField(required=False)
    sterile = serializers.BooleanField(required=False)
    latex = serializers.BooleanField(required=False)
    child = serializers.BooleanField(required=False)
    gtin = gtin_field(required=False, help_text="The GTIN of one of its packs.")
    retired = serializers.BooleanField(
        required=False, default=False, help_text="Only retired items, instead of those in use."
    )


class GtinBody(ActBody):
    example = {"gtin": "09506000134352"}
    gtin = gtin_field()


class PackCodeBody(GtinBody):
    example = {"gtin": "09506000134352", "units_per_pack": 5}
    units_per_pack = serializers.IntegerField(min_value=1, max_value=1_000_000, default=1)


class InsteadBody(ActBody):
    example = {"instead": 6}
    instead = serializers.IntegerField(min_value=1, help_text="The item that can be used instead.")


class SubstituteBody(InsteadBody):
    example = {"instead": 6, "note": "Fold it once."}
    note = serializers.CharField(max_length=200, required=False, allow_blank=True)
    at_next_order = serializers.BooleanField(
        required=False, help_text="Whether orders take it in place of the item; default: as it is."
    )


def items() -> QuerySet[Item]:
    """Items with all that is shown of them."""
    instead = Substitute.objects.select_related("instead").order_by("instead__name")
    return Item.objects.prefetch_related("pack_codes", Prefetch("substitutes", instead))


def _facts(data: dict[str, Any]) -> dict[str, Any]:
    """A body with the item that it goes with by id made the item."""
    if data.get("goes_with") is not None:
        data["goes_with"] = find.item(data["goes_with"])
    return data


class _ItemView(UseCaseView):
    use_case = "edit_item"
    answers = {200: ItemAnswer}

    def item(self, pk: int | None = None) -> Item:
        """The item that the address names, or another by id. Raises NotFound."""
        return one_of(items(), "thing", self.kwargs["id"] if pk is None else pk)

    def whole(self, row: Item) -> Item:
        """It as it is now."""
        return self.item(row.pk)


class Items(ListView, _ItemView):
    problems = ("name-taken",)
    query = ItemQuery
    shows = ItemAnswer
    ordering = ("name",)
    filters = {
        "search": "name__icontains",
        "kind": "kind",
        "by_eye": "by_eye",
        "sterile": "sterile",
        "latex": "latex",
        "child": "child",
        "gtin": lambda actor, gtin: Q(pack_codes__gtin=catalogue.gtin14(gtin)),
        "retired": present("retired_on"),
    }
    body = ItemBody
    answers = {201: ItemAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Item]:
        """The catalogue, by name."""
        return items()

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Add an item."""
        return 201, self.whole(catalogue.add_item(act, **_facts(data)))


class OneItem(ReadView, _ItemView):
    shows = ItemAnswer
    method = "patch"
    problems = ("name-taken", "units-in-the-book")
    body = ItemBody

    def read(self, query: dict[str, Any]) -> Any:
        """One item."""
        return self.item()

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Edit an item; the status of the kits that contain it is updated."""
        return 200, self.whole(catalogue.edit_item(act, self.item(), **_facts(data)))


class RetireItem(_ItemView):
    problems = ("on-a-kit-list",)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Retire an item: it is no longer bought, and any remaining stock may be used up."""
        return 200, self.whole(catalogue.retire_item(act, self.item()))


class BringBackItem(_ItemView):
    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Put a retired item back into use."""
        return 200, self.whole(catalogue.bring_back_item(act, self.item()))


class PutPackCode(_ItemView):
    problems = ("pack-code-taken",)
    body = PackCodeBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record how many units of an item a pack with a maker's GTIN holds."""
        catalogue.put_pack_code(act, self.item(), **data)
        return 200, self.item()


class RemovePackCode(_ItemView):
    body = GtinBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Remove a GTIN from an item."""
        catalogue.remove_pack_code(act, self.item(), data["gtin"])
        return 200, self.item()


class PutSubstitute(_ItemView):
    body = SubstituteBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record what can be used instead of an item, one for one and in one direction."""
        catalogue.put_substitute(
            act,
            self.item(),
            self.item(data["instead"]),
            data.get("note", ""),
            at_next_order=data.get("at_next_order"),
        )
        return 200, self.item()


class RemoveSubstitute(_ItemView):
    body = InsteadBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Remove a substitute of an item."""
        catalogue.remove_substitute(act, self.item(), self.item(data["instead"]))
        return 200, self.item()
