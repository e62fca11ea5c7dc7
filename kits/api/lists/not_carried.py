"""What a version of a kit list leaves out on purpose, in bodies and answers."""

from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from gearroom.core.acts import Actor
from gearroom.core.api.openapi.member_rules import one_of
from gearroom.core.api.requests.serializers import NoteField, StrictSerializer
from kits.api import answers
from kits.api.fields import hazards_field
from kits.models import NotCarried, WhyNotCarried
from kits.rules.text.hazards import HAZARDS
from kits.services.lists.not_carried import CarriedWhen, NotCarriedDraft
from kits.services.lookup import find
from kits.services.planning import vocabulary

_WORDS: dict[str, Any] = {"max_length": 300, "default": "", "allow_blank": True}
_ACTIVITIES: dict[str, Any] = {"max_length": 50}


class NotCarriedBody(StrictSerializer):
    rules = (one_of(("item", "need"), _("Enter an item, or a need by its key.")),)

    item = serializers.IntegerField(required=False, min_value=1)
    need = serializers.SlugField(
        required=False, max_length=40, help_text="A need by its key from GET plans/vocabulary/."
    )
    why = serializers.ChoiceField(WhyNotCarried.values)
    words = NoteField(**_WORDS, help_text="The reason in your own words; needed for `other`.")
    instead = NoteField(**_WORDS, help_text="What is done instead.")
    hazards = hazards_field()
    activities = serializers.ListField(
        child=serializers.SlugField(max_length=40),
        default=list,
        **_ACTIVITIES,
        help_text="It is carried all the same for these hazards and activities (by key).",
    )
    hours_to_care = serializers.DecimalField(
        4, 1, required=False, allow_null=True, min_value=0,
        help_text="It is carried all the same from so many hours to definitive care on.",
    )  # fmt: skip
    trained = serializers.CharField(**_WORDS, help_text="Who is trained to use it.")
    decided_by = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, help_text="A person by id."
    )
    decided_on = serializers.DateField(required=False, allow_null=True)
    look_again_on = serializers.DateField(required=False, allow_null=True)
    look_again_after = serializers.CharField(
        max_length=200, default="", allow_blank=True, help_text="An event, in a few words."
    )


@answers.Answer.of(NotCarried)
class NotCarriedAnswer(answers.Answer):
    """An item or a need that a version leaves out on purpose."""

    members = [
        "item", "need", "name", "why", "words", "instead", "hazards", "activities",
        "hours_to_care", "trained", "decided_by", "decided_on", "look_again_on",
        "look_again_after",
    ]  # fmt: skip
    sources = {"item": "item_id"}
    need = serializers.CharField(
        source="need.key",
        default=None,
        allow_null=True,
        help_text="A need by its key from GET plans/vocabulary/.",
    )
    name = answers.made(serializers.CharField, str)
    hazards = serializers.ListField(child=serializers.ChoiceField(list(HAZARDS)))
    activities = serializers.ListField(child=serializers.CharField())
    hours_to_care = serializers.DecimalField(4, 1, allow_null=True)
    decided_by = serializers.CharField(source="decided_by.name", default=None, allow_null=True)


def drafts_from(actor: Actor, rows: list[dict[str, Any]]) -> list[NotCarriedDraft]:
    """What a body says is not carried. Raises NotFound."""
    return [
        NotCarriedDraft(
            why=WhyNotCarried(row["why"]),
            item=find.item(row["item"]) if "item" in row else None,
            need=vocabulary.need_of(row["need"]) if "need" in row else None,
            words=row["words"],
            instead=row["instead"],
            when=CarriedWhen(row["hazards"], row["activities"], row.get("hours_to_care")),
            trained=row["trained"],
            decided_by=find.person(actor, person) if (person := row.get("decided_by")) else None,
            decided_on=row.get("decided_on"),
            look_again_on=row.get("look_again_on"),
            look_again_after=row["look_again_after"],
        )
        for row in rows
    ]
