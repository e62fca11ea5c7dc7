"""Two versions of a kit list held together, and what following one would change."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from gearroom.core.api.views import ReadView
from kits.api.lists.packing_lists import CRITICALITIES, PackingListView
from kits.rules.ledger.facts import Line
from kits.services.lists import comparison, impact


class ComparedLine(serializers.Serializer[Any]):
    section = serializers.CharField()
    item = serializers.IntegerField()
    name = serializers.CharField()
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
    before = serializers.IntegerField(help_text="The earlier version's number.")
    after = serializers.IntegerField()
    added = ComparedLine(many=True)
    removed = ComparedLine(many=True)
    changed = ChangedLine(many=True)
    said = SaidAnswer(many=True)
    reasons = OtherReasonAnswer(many=True, help_text="Lines that say otherwise why.")


class UnitsAnswer(serializers.Serializer[Any]):
    item = serializers.IntegerField(source="item.pk")
    name = serializers.CharField(source="item.name")
    units = serializers.IntegerField()


class KitEffectAnswer(serializers.Serializer[Any]):
    kit = serializers.CharField(source="kit.name")
    follows = serializers.IntegerField(source="kit.list_version.number")
    more = UnitsAnswer(many=True, help_text="Wanted over what it wants now.")
    fewer = UnitsAnswer(many=True, help_text="Wanted now and no more then.")
    spare = UnitsAnswer(many=True, help_text="Inside, and no line would use it.")


class FromStockAnswer(serializers.Serializer[Any]):
    room = serializers.CharField(source="room.name")
    item = serializers.IntegerField(source="item.pk")
    name = serializers.CharField(source="item.name")
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
        found = comparison.compared(self.version(self.kwargs["before"]), self.version())
        return {
            "before": found.before.number,
            "after": found.after.number,
            "added": [_line(line) for line in found.lines.added],
            "removed": [_line(line) for line in found.lines.removed],
            "changed": [
                {"what": list(c.what), "before": _line(c.before), "after": _line(c.after)}
                for c in found.lines.changed
            ],
            "said": [{"what": k, "before": a, "after": b} for k, (a, b) in found.said.items()],
            "reasons": OtherReasonAnswer(found.reasons, many=True).data,
        }


class Effect(ReadView, PackingListView):
    shows = EffectAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """Which kits would change if they followed this version, and what that takes from stock."""
        assert self.actor is not None
        return EffectAnswer(impact.effect(self.actor, self.version())).data


def _line(line: Line) -> dict[str, Any]:
    return {
        "section": line.section,
        "item": line.thing.id,
        "name": line.thing.name,
        "carry": line.carry,
        "never_below": line.never_below,
        "criticality": line.criticality.value,
    }
