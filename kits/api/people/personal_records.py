"""/api/v1/people/{id}/export/, erase/ and merge/, /api/v1/redactions/: what is on record about
people, and its end."""

from typing import Any

from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody
from gearroom.core.api.views import ReadView, UseCaseView
from gearroom.core.services.people import personal_data, redaction
from gearroom.core.services.people.people import get
from kits.api import answers
from kits.services.people import personal_records


class ExportAnswer(serializers.Serializer[Any]):
    """All data stored about a person."""

    person = serializers.IntegerField()
    merged = serializers.ListField(
        child=serializers.IntegerField(), help_text="Other records of the same person."
    )
    made_at = serializers.DateTimeField()
    tables = serializers.DictField(
        child=serializers.ListField(child=serializers.DictField()),
        help_text="Their records by table; other people appear by number.",
    )


class Export(ReadView):
    """What is kept about somebody."""

    reads_as = "own_account"
    shows = ExportAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """All data stored about a person.

        About yourself or, for an administrator of all gear rooms, about anybody.
        """
        return personal_data.export(self.actor, get(self.actor, self.kwargs["id"]))


class EraseBody(ActBody):
    """Other names of this person."""

    example = {"words": ["Jojo", "Jo from the cave hut"]}
    words = serializers.ListField(
        child=serializers.CharField(max_length=120),
        max_length=20,
        required=False,
        help_text="Other names, such as a nickname, of at least 3 characters each, to remove"
        " from notes and reasons.",
    )


@answers.Answer.of(personal_records.Erased)
class ErasedAnswer(answers.Answer):
    """The erased person's number, which is kept."""

    help_texts = {
        "still_named": "Items, kits or places whose names still contain this person's name:"
        " rename them."
    }


class Erase(UseCaseView):
    """Somebody is erased."""

    use_case = "erase_person"
    problems = (
        "answers-for-a-kit", "erased-already", "has-a-kit", "last-administrator",
        "leads-a-trip", "no-name", "not-a-person",
    )  # fmt: skip
    body = EraseBody
    answers = {200: ErasedAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Erase a person's names, telephone number, email address, login, roles and tag.

        What they did stays on record under their number. This cannot be undone. Only for
        administrators of all gear rooms.
        """
        return 200, personal_records.erase(
            act, get(act.actor, self.kwargs["id"]), data.get("words", ())
        )

    def kept(self, body: Any) -> Any:
        """Without the names that are still in use."""
        return {**body, "still_named": []} if "still_named" in body else body


class RedactionAnswer(serializers.Serializer[Any]):
    """What was moved."""

    id = serializers.IntegerField()
    rows = serializers.IntegerField(source="rows.count", help_text="The number of records changed.")


class Redactions(UseCaseView):
    """Personal data is moved out of old rows."""

    use_case = "erase_person"
    answers = {201: RedactionAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Make names and addresses in older records erasable.

        The records read as before. Only for administrators of all gear rooms.
        """
        return 201, redaction.redact_landed(act)


class MergeBody(ActBody):
    example = {"into": 8}
    into = serializers.IntegerField(min_value=1, help_text="The record to keep, by id.")


class Merge(UseCaseView):
    use_case = "edit_person"
    token_needs = "every scope"
    problems = ("merged-already", "not-a-person", "same-person", "two-sign-ins")
    body = MergeBody
    answers = {200: answers.PersonAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Merge two records of the same person."""
        person = get(act.actor, self.kwargs["id"])
        kept = personal_records.merge(act, person, get(act.actor, data["into"]))
        if not act.actor.may("see_people", kept.home_room_id):
            kept.phone = ""
        return 200, kept
