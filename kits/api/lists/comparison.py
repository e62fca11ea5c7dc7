"""Two versions of a kit list held together, and what following one would change."""

from typing import Any

from rest_framework import serializers

from gearroom.core.api.views import ReadView
from kits.api import answers
from kits.api.lists.packing_lists import CRITICALITIES, PackingListView
from kits.services.lists import comparison


class ComparedLine(serializers.Serializer[Any]):
    section = serializers.CharField()
    item = serializers.IntegerField(source="thing.id")
    name = serializers.CharField(source="thing.name")
    carry = serializers.IntegerField()
    never_below = serializers.IntegerField()
    criticality = serializers.ChoiceField(CRITICALITIES)


class ChangedLine(serializers.Serializer[Any]):
    what = serializers.ListField(child=serializers.CharField())
    before = ComparedLine()
    after = ComparedLine()


class SaidAnswer(serializers.Serializer[Any]):
    what = serializers.ChoiceField(["people", "days", "hazards"])
    before = serializers.JSONField()
    after = serializers.JSONField()


class OtherReasonAnswer(serializers.Serializer[Any]):
    section = serializers.CharField(source="line.section.key")
    item = serializers.IntegerField(source="line.item_id")
    name = serializers.CharField(source="line.item.name")
    before = serializers.CharField(source="was")
    after = serializers.CharField(source="line.reason")


class ComparisonAnswer(serializers.Serializer[Any]):
    before = serializers.IntegerField(
        source="before.number", help_text="The earlier version's number."
    )
    after = serializers.IntegerField(source="after.number")
    added = ComparedLine(source="lines.added", many=True)
    removed = ComparedLine(source="lines.removed", many=True)
    changed = ChangedLine(source="lines.changed", many=True)
    said = SaidAnswer(many=True)
    reasons = OtherReasonAnswer(many=True, help_text="Lines with another reason.")


class UnitsAnswer(answers.OfItem):
    units = serializers.IntegerField()


class KitEffectAnswer(serializers.Serializer[Any]):
    kit = serializers.CharField(source="kit.name")
    follows = serializers.IntegerField(source="kit.list_version.number")
    more = UnitsAnswer(many=True, help_text="Wanted over what it wants now.")
    fewer = UnitsAnswer(many=True, help_text="Wanted now and no more then.")
    spare = UnitsAnswer(many=True, help_text="Inside, and no line would use it.")


class FromStockAnswer(answers.OfItem):
    room = serializers.CharField(source="room.name")
    wanted = serializers.IntegerField()
    in_stock = serializers.IntegerField(help_text="Usable today on the room's shelves.")
    missing = serializers.IntegerField()


class EffectAnswer(serializers.Serializer[Any]):
    kits = KitEffectAnswer(many=True)
    stock = FromStockAnswer(many=True)


class Compare(ReadView, PackingListView):
    shows = ComparisonAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """How a version differs from another, earlier or later."""
        compared = comparison.compared(self.version(self.kwargs["before"]), self.version())
        said = [{"what": what, "before": a, "after": b} for what, (a, b) in compared.said.items()]
        return {**vars(compared), "said": said}


class Effect(ReadView, PackingListView):
    shows = EffectAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """Which kits would change if they followed this version, and what that takes from stock."""
        return comparison.effect(self.actor, self.version())
