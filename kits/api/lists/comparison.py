"""Two versions of a kit list held together, and what following one would change."""

from typing import Any

from rest_framework import serializers

from gearroom.core.api.views import ReadView
from kits.api import answers
from kits.api.lists.not_carried import NotCarriedAnswer
from kits.api.lists.packing_lists import PackingListView
from kits.rules.ledger.facts import Line
from kits.rules.lists import versions
from kits.services.lists import comparison


@answers.Answer.of(Line)
class ComparedLine(answers.Answer):
    members = ["section", "item", "name", "carry", "never_below", "criticality"]
    sources = {"item": "thing.id", "name": "thing.name"}


@answers.Answer.of(versions.LineChange)
class ChangedLine(answers.Answer):
    members = ["what", "before", "after"]


class SaidAnswer(serializers.Serializer[Any]):
    what = serializers.ChoiceField(["people", "days", "hazards"])
    before = serializers.JSONField()
    after = serializers.JSONField()


@answers.Answer.of(comparison.OtherReason)
class OtherReasonAnswer(answers.Answer):
    members = ["section", "item", "name", "before", "after"]
    sources = {
        "section": "line.section.key", "item": "line.item_id", "name": "line.item.name",
        "before": "was", "after": "line.reason",
    }  # fmt: skip


class LeftOutOtherwiseAnswer(answers.Answer):
    before = NotCarriedAnswer(allow_null=True)
    after = NotCarriedAnswer(allow_null=True)


@answers.Answer.of(comparison.VersionsCompared)
class ComparisonAnswer(answers.Answer):
    members = ["before", "after", "added", "removed", "changed", "said", "reasons"]
    sources = {
        "before": "before.number", "after": "after.number", "added": "lines.added",
        "removed": "lines.removed", "changed": "lines.changed",
    }  # fmt: skip
    help_texts = {
        "before": "The earlier version's number.",
        "reasons": "Items with a different reason.",
    }
    said = SaidAnswer(many=True)
    not_carried = LeftOutOtherwiseAnswer(
        many=True, help_text="What is left out otherwise; null: not left out."
    )


@answers.Answer.of(comparison.Units)
class UnitsAnswer(answers.OfItem):
    members = ["units"]


@answers.Answer.of(comparison.KitEffect)
class KitEffectAnswer(answers.Answer):
    members = ["kit", "follows", "more", "fewer", "spare"]
    sources = {"kit": "kit.name", "follows": "kit.list_version.number"}
    help_texts = {
        "more": "Units needed in addition to what it needs now.",
        "fewer": "Units needed now but no longer then.",
        "spare": "Units inside that the list would no longer include.",
    }


@answers.Answer.of(comparison.FromStock)
class FromStockAnswer(answers.OfItem):
    members = ["room", "wanted", "in_stock", "missing"]
    sources = {"room": "room.name"}
    help_texts = {"in_stock": "Usable today on the gear room's shelves."}


@answers.Answer.of(comparison.Effect)
class EffectAnswer(answers.Answer):
    members = ["kits", "stock"]


class Compare(ReadView, PackingListView):
    shows = ComparisonAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """The differences between one version and another."""
        before, after = self.version(self.kwargs["before"]), self.version()
        compared = comparison.compared(before, after)
        return {
            **vars(compared),
            "said": [
                {"what": what, "before": a, "after": b}
                for what, (a, b) in compared.properties.items()
            ],
            "not_carried": comparison.left_out_otherwise(before, after),
        }


class Effect(ReadView, PackingListView):
    shows = EffectAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """Which kits would change if they used this version, and which stock that needs."""
        return comparison.effect(self.actor, self.version())
