"""/api/v1/plans/draft/: a list drafted for a trip that somebody describes. Nothing is written."""

from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.openapi.member_rules import needs
from gearroom.core.api.requests.serializers import ActBody
from gearroom.core.api.views import UseCaseView
from kits.api import answers
from kits.api.fields import hazards_field
from kits.api.planning.plans import activity_of
from kits.models import WhyNotCarried
from kits.rules.ledger.facts import Criticality
from kits.rules.planning.drafting import SEASONS
from kits.services.lists import packing_lists
from kits.services.lists.drafts import MOST_DAYS, MOST_PEOPLE
from kits.services.lists.not_carried import NotCarriedDraft
from kits.services.planning import drafting
from kits.services.text.planning import not_carried_texts
from kits.services.text.planning.planning_texts import CAUTION


class NeedKeys(serializers.ListField):
    child = serializers.CharField()


class DraftedAnswer(answers.Answer):
    item = serializers.IntegerField(source="item.pk")
    name = serializers.CharField(source="item.name")
    need = answers.made(
        NeedKeys,
        lambda of: [need.key for need in of.needs],
        help_text="Needs by their keys from GET plans/vocabulary/.",
    )
    quantity = serializers.IntegerField()
    minimum = serializers.IntegerField()
    priority = serializers.ChoiceField([each.value for each in Criticality])
    reason = serializers.CharField(allow_blank=True)
    untrained = serializers.BooleanField(
        help_text="Nobody in the group is trained for what it is used for."
    )
    was = serializers.IntegerField(
        allow_null=True, help_text="How many the list that it starts from carries; null: none."
    )


class NotInDraftAnswer(answers.Answer):
    item = serializers.IntegerField(source="item.pk", default=None, allow_null=True)
    name = serializers.CharField()
    need = answers.made(
        NeedKeys,
        lambda of: [of.need.key] if of.need else [],
        help_text="Needs by their keys from GET plans/vocabulary/.",
    )
    quantity = answers.made(serializers.IntegerField, lambda _: 0)
    minimum = answers.made(serializers.IntegerField, lambda _: 0)
    priority = answers.made(serializers.CharField, lambda _: None, allow_null=True)
    why = serializers.ChoiceField(WhyNotCarried.values)
    reason = answers.made(serializers.CharField, lambda of: reason(of))
    instead = serializers.CharField(allow_blank=True)


def reason(of: NotCarriedDraft) -> str:
    """Why it is left out, in words."""
    return of.words or str(not_carried_texts.WHY[of.why])


class DraftedListAnswer(answers.Answer):
    lines = DraftedAnswer(many=True)
    not_carried = NotInDraftAnswer(many=True)
    caution = answers.made(serializers.CharField, lambda of: str(CAUTION))


class DraftedListBody(ActBody):
    example = {
        "activity": "paddling",
        "people": 14,
        "days": 3,
        "hazards": ["water", "fire"],
        "hours_to_care": "5",
        "children": 12,
        "season": "summer",
        "trained_for": ["not-breathing"],
    }
    rules = (
        needs("list", "version", _("Name the version of the kit list."), "version"),
        needs("version", "list", _("Name the kit list that this is a version of."), "list"),
    )

    activity = serializers.SlugField(required=False, allow_null=True, max_length=40)
    people = serializers.IntegerField(min_value=1, max_value=MOST_PEOPLE)
    days = serializers.IntegerField(min_value=1, max_value=MOST_DAYS)
    hazards = hazards_field()
    hours_to_care = serializers.DecimalField(
        4, 1, required=False, allow_null=True, min_value=0, help_text="To definitive care."
    )
    children = serializers.IntegerField(
        default=0, min_value=0, max_value=MOST_PEOPLE, help_text="How many of the people are."
    )
    season = serializers.ChoiceField(list(SEASONS), required=False, allow_null=True)
    trained_for = serializers.ListField(
        child=serializers.SlugField(max_length=40),
        required=False,
        allow_null=True,
        max_length=100,
        help_text="Needs that somebody is trained for, by their keys from GET plans/vocabulary/;"
        " null: not said.",
    )
    list = serializers.IntegerField(
        required=False, min_value=1, help_text="The kit list that the draft starts from."
    )
    version = serializers.IntegerField(required=False, min_value=1)


class DraftList(UseCaseView):
    use_case = "look"
    body = DraftedListBody
    answers = {200: DraftedListAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Draft what to carry on a trip, and what not, with reasons."""
        trained = data.get("trained_for")
        return 200, drafting.propose(
            drafting.Profile(
                people=data["people"],
                days=data["days"],
                activity=activity_of(data.get("activity")),
                hazards=data["hazards"],
                hours_to_care=data.get("hours_to_care"),
                children=data["children"],
                season=data.get("season"),
                trained_for=None if trained is None else frozenset(trained),
                like=packing_lists.version_of(data["list"], data["version"])
                if "list" in data
                else None,
            )
        )

    def kept(self, body: Any) -> Any:
        """Nothing: it only asks."""
        return None
