"""/api/v1/plans/vocabulary/: the words that planning is in, for programs that send them."""

from typing import Any

from rest_framework import serializers

from gearroom.core.api.views import ReadView
from kits.api import answers
from kits.models import Activity, HazardNeed, ItemNeed, Need


@answers.Answer.of(ItemNeed)
class ServesAnswer(answers.Answer):
    members = ["item", "name", "best", "units_per_use", "needs_training"]
    sources = {"item": "item_id", "name": "item.name"}
    help_texts = {
        "best": "False: it can be used instead.",
        "needs_training": "Only somebody trained for the need uses it.",
    }


@answers.Answer.of(Need)
class NeedWordAnswer(answers.Answer):
    members = ["key", "name", "group", "retired_on", "items"]
    help_texts = {"items": "What serves it."}
    items = ServesAnswer(many=True)


@answers.Answer.of(Activity)
class ActivityAnswer(answers.Answer):
    members = ["key", "name", "retired_on"]


@answers.Answer.of(HazardNeed)
class HazardNeedAnswer(answers.Answer):
    members = ["hazard", "need", "units", "reason"]
    help_texts = {"units": "A list that serves the hazard must have so many for the need."}
    need = serializers.CharField(source="need.key")


class VocabularyAnswer(answers.Answer):
    needs = NeedWordAnswer(many=True)
    activities = ActivityAnswer(many=True)
    hazards = HazardNeedAnswer(many=True)


class Vocabulary(ReadView):
    shows = VocabularyAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """Needs with what serves them, activities, and what hazards ask of a list."""
        return {
            "needs": Need.objects.prefetch_related("items__item"),
            "activities": Activity.objects.all(),
            "hazards": HazardNeed.objects.select_related("need"),
        }
