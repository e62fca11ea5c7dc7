"""/api/v1/bought-kits/comparison/: filled kits that might be bought, beside building from parts.
Nothing is written."""

from typing import Any

from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, StrictSerializer
from gearroom.core.api.views import UseCaseView
from kits.api import answers, bodies
from kits.api.fields import currency_field, price_field
from kits.rules.buying.bought_kit import Fate, Why
from kits.rules.buying.buy_or_build import MOST_KITS
from kits.services.buying import bought_kits
from kits.services.buying.bought_kits import MOST_LINES, MOST_OFFERS, Content, FilledKit
from kits.services.lists import packing_lists
from kits.services.lookup import find
from kits.services.text import buying_texts


class ContentBody(StrictSerializer):
    name = serializers.CharField(max_length=200, help_text="As its seller lists it.")
    item = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, help_text="Null: no item on record."
    )
    units = serializers.IntegerField(**bodies.UNITS)
    expiry = serializers.DateField(required=False, allow_null=True)


class FilledKitBody(StrictSerializer):
    name = serializers.CharField(max_length=120)
    price = price_field(help_text="Of one, tax included.")
    contents = bodies.lines(ContentBody, MOST_LINES, allow_empty=False)


class FilledKitsBody(ActBody):
    example = {
        "room": "main-store", "list": 1, "version": 2, "kits": 3, "currency": "GBP",
        "filled": [
            {"name": "Day kit, filled", "price": "24.50",
             "contents": [{"name": "Wound dressing", "item": 4, "units": 6},
                          {"name": "Tiny tape", "units": 1}]},
        ],
    }  # fmt: skip
    room = serializers.CharField(max_length=80, help_text="Name or slug.")
    list = serializers.IntegerField(min_value=1)
    version = serializers.IntegerField(min_value=1)
    kits = serializers.IntegerField(min_value=1, max_value=MOST_KITS)
    currency = currency_field(required=True)
    through = serializers.DateField(
        required=False, help_text="What is kept lasts through this day; default: a year."
    )
    filled = bodies.lines(FilledKitBody, MOST_OFFERS)


class LikelyAnswer(answers.Answer):
    name = serializers.CharField(source="line.name")
    item = serializers.IntegerField(source="line.thing.id", default=None, allow_null=True)
    units = serializers.IntegerField()
    fate = serializers.ChoiceField(list(Fate))
    why = serializers.ChoiceField(list(Why))
    reason = answers.made(
        serializers.CharField,
        lambda of: of.before.reason if of.before else "",
        help_text="What was given most when it went that way before: a code, or words.",
    )
    text = answers.made(serializers.CharField, buying_texts.why)


class WayAnswer(answers.Answer):
    filled = serializers.CharField(
        source="bought.name", default=None, allow_null=True, help_text="Null: all from parts."
    )
    goods = serializers.DecimalField(12, 2, help_text="The filled kits.")
    parts = serializers.DecimalField(12, 2, source="parts.money")
    money = serializers.DecimalField(12, 2, help_text="In all; delivery is not counted.")
    unpriced = serializers.ListField(
        source="parts.unpriced",
        child=serializers.IntegerField(),
        help_text="Items without a price in the currency: the sums are too low by them.",
    )
    each_kept = serializers.DecimalField(12, 2, allow_null=True)
    expires = serializers.IntegerField(help_text="Units out of date before they would be used.")
    off_shelves = serializers.IntegerField(help_text="Extras on shelves that are used first.")
    worth = serializers.DecimalField(12, 2, help_text="What these extras would cost in parts.")


class ComparedKitAnswer(answers.Answer):
    name = serializers.CharField(source="bought.name")
    in_parts = serializers.DecimalField(
        12, 2, allow_null=True, help_text="What a unit that is kept of it costs in parts."
    )
    parts_win_from = serializers.IntegerField(
        allow_null=True, help_text="From so many kits on, parts cost no more; null: never."
    )
    lines = LikelyAnswer(source="bought.parts", many=True)


class FilledKitsAnswer(answers.Answer):
    ways = WayAnswer(many=True, help_text="What costs least first.")
    filled = ComparedKitAnswer(many=True)
    minutes = serializers.IntegerField(
        allow_null=True, help_text="That breaking down a bought kit took last time."
    )


class CompareFilledKits(UseCaseView):
    use_case = "strip"
    body = FilledKitsBody
    answers = {200: FilledKitsAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Compare filled kits that might be bought with building from parts."""
        filled = [
            FilledKit(each["name"], each["price"], [_content(row) for row in each["contents"]])
            for each in data["filled"]
        ]
        return 200, bought_kits.compare(
            act.actor,
            find.room(act.actor, data["room"]),
            packing_lists.version_of(data["list"], data["version"]),
            filled,
            kits=data["kits"],
            currency=data["currency"],
            through=data.get("through"),
        )

    def kept(self, body: Any) -> Any:
        """Nothing: it only asks."""
        return None


def _content(row: dict[str, Any]) -> Content:
    item = find.item(row["item"]) if row.get("item") else None
    return Content(row["name"], item, row["units"], row.get("expiry"))
