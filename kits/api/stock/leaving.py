"""What is sold or given away: units of a batch, and whole kits."""

from typing import Any

from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, QuerySerializer
from gearroom.core.api.views import ReadView, UseCaseView
from kits.api import answers
from kits.api.bodies import StockBody
from kits.api.fields import currency_field, price_field
from kits.api.problems import NAMED_BY_LABEL
from kits.api.stock.stock import PLACE
from kits.api.views import KitView
from kits.models import PlaceKind
from kits.services.leaving import from_stock, missed, whole_kit
from kits.services.leaving.terms import LONGEST_TO, Terms
from kits.services.lookup import find


class LeaveBody(ActBody):
    """To whom, for how much, and why (`reason`)."""

    way = serializers.ChoiceField([PlaceKind.SOLD.value, PlaceKind.GIVEN.value])
    to = serializers.CharField(max_length=LONGEST_TO, help_text="Who is getting it.")
    price = price_field(required=False, allow_null=True, help_text="For all of it, if sold.")
    currency = currency_field()
    expired = serializers.BooleanField(
        required=False,
        help_text="Whoever gets it knows that some of it is out of date, or its date not known.",
    )


def _terms(data: dict[str, Any]) -> Terms:
    return Terms(
        PlaceKind(data["way"]),
        data["to"],
        data.get("price"),
        data.get("currency", ""),
        data.get("expired", False),
    )


class LeaveStockBody(LeaveBody, StockBody):
    example = {
        "lot": "12", "units": 2, "place": "3", "way": "sold", "to": "The ski club",
        "price": "4.00", "currency": "GBP", "reason": "More than we use.",
    }  # fmt: skip
    place = serializers.CharField(**PLACE, help_text="The shelf that it is on.")


class LeaveStock(UseCaseView):
    use_case = "dispose"
    problems = ("confirm-expired", "not-enough", "not-here", *NAMED_BY_LABEL)
    body = LeaveStockBody
    answers = {201: answers.DoneAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record units that were sold or given away. They count neither as used nor as wasted."""
        return 201, from_stock.leave(
            act,
            place=find.place(act.actor, data["place"]),
            lot=find.lot(data["lot"]),
            units=data["units"],
            terms=_terms(data),
        )


# ------------------------------------------------------------------------------------- missed least
class SpareKitsQuery(QuerySerializer):
    room = serializers.CharField(max_length=80, help_text="The gear room, by its slug.")


@answers.Answer.of(missed.SpareKit)
class SpareKitAnswer(answers.Answer):
    members = ["kit", "units_ending"]
    sources = {"kit": "kit.name"}
    help_texts = {"units_ending": "Units in it that go out of date within a year."}
    past = serializers.IntegerField(
        source="missed.past", help_text="Trips that it was on in the last 12 months."
    )
    past_without = serializers.ListField(
        child=serializers.IntegerField(),
        source="missed.past_without",
        help_text="Those (ids) on which no other kit with its list was free.",
    )
    coming = serializers.IntegerField(
        source="missed.coming", help_text="Trips that it is reserved for."
    )
    coming_without = serializers.ListField(
        child=serializers.IntegerField(),
        source="missed.coming_without",
        help_text="Those (ids) for which no other kit with its list is free.",
    )
    money_ending = serializers.DictField(
        child=serializers.CharField(), help_text="What these units cost, by currency."
    )


class SpareKitsAnswer(serializers.Serializer[Any]):
    """The kits at home in a room, the one that would be missed least first."""

    kits = SpareKitAnswer(many=True)


class SpareKits(ReadView):
    reads_as = "edit_kit"
    query = SpareKitsQuery
    shows = SpareKitsAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """Which kit would be missed least. Whether others were ready is not looked at."""
        return {"kits": missed.spare_kits(self.actor, find.room(self.actor, query["room"]))}


# ------------------------------------------------------------------------------------- a whole kit
class LeaveKitBody(LeaveBody):
    example = {"way": "given", "to": "The youth centre", "reason": "One too many."}
    without = serializers.ListField(
        child=serializers.IntegerField(min_value=1),
        required=False,
        max_length=200,
        help_text="Trips that it is reserved for and that go without it, by id.",
    )


@answers.Answer.of(whole_kit.KitLeft)
class KitLeftAnswer(answers.WithEntry):
    members = ["units", "trips"]
    help_texts = {"units": "How many units went with it."}
    trips = serializers.SerializerMethodField(help_text="Trips that it is no longer reserved for.")

    def get_trips(self, row: whole_kit.KitLeft) -> list[int]:
        """Their ids."""
        return [trip.pk for trip in row.trips]


class LeaveKit(KitView):
    use_case = "edit_kit"
    token_needs = "the scopes `lists` and `stock`"
    problems = (
        "confirm-expired", "keep-as-it-came-back", "kit-is-out", "kit-missed", "kit-retired",
        "training-stock",
    )  # fmt: skip
    body = LeaveKitBody
    answers = {201: KitLeftAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that a kit was sold or given away with all that is in it. It is retired by it."""
        return 201, whole_kit.leave(act, self.kit(), _terms(data), without=data.get("without", ()))
