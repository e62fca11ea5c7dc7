"""/api/v1/packing-lists/changes/: changes made to several kit lists at once, with their sources."""

from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, NoteField, PageQuery, StrictSerializer
from gearroom.core.api.views import ListView, ReadView, UseCaseView, one_of
from kits.api import answers, bodies
from kits.api.lists.packing_lists import CRITICALITIES, UNITS
from kits.models import ListChange, ListChangeSource, ListChangeVersion, What
from kits.rules.ledger.facts import Criticality
from kits.services.lists import change_progress, list_changes, packing_lists
from kits.services.lists.list_changes import Amount, ChangeDraft, SourceDraft
from kits.services.lookup import find
from kits.services.text import change_texts


@answers.Answer.of(ListChangeSource)
class ListChangeSourceAnswer(answers.Answer):
    members = ["supports", "says", "read_in", "study", "dated"]
    help_texts = {"study": "The key of a published study; empty if it is none."}


@answers.Answer.of(ListChangeVersion)
class ChangedListAnswer(answers.Answer):
    members = ["packing_list", "name", "version"]
    sources = {
        "packing_list": "version.packing_list_id", "name": "version.packing_list.name",
        "version": "version.number",
    }  # fmt: skip


class KitStandAnswer(answers.Answer):
    kit = serializers.CharField(source="kit.name")
    stand = serializers.ChoiceField([each.value for each in change_progress.Stand])


@answers.Answer.of(ListChange)
class ListChangeAnswer(answers.Answer):
    members = [
        "id", "what", "item", "carry", "never_below", "claim", "by_day", "withdrawn", "made_at",
    ]  # fmt: skip
    sources = {"item": "item_id"}
    help_texts = {"by_day": "All kits have the new item by this day."}
    kinds = {datetime: serializers.DateTimeField}
    instead = serializers.IntegerField(
        source="instead_id", allow_null=True, help_text="The item that takes its place; by id."
    )
    review_on = serializers.DateField(
        source="due_on", allow_null=True, help_text="The day of the next review; null: withdrawn."
    )
    criticality = serializers.ChoiceField([*CRITICALITIES, ""])
    made_by = serializers.CharField(source="made_by.name", default=None, allow_null=True)
    evidence = ListChangeSourceAnswer(many=True, source="sources.all")
    lists = ChangedListAnswer(many=True, source="versions.all")


class FollowedChangeAnswer(answers.Answer):
    change = ListChangeAnswer()
    says = answers.made(serializers.CharField, change_texts.what, source="change")
    kits = KitStandAnswer(many=True, help_text="The kits that you see and that it concerns.")


class ListChangeSourceBody(StrictSerializer):
    supports = serializers.BooleanField(help_text="For the change; false: against it.")
    says = serializers.CharField(max_length=500)
    read_in = serializers.CharField(
        max_length=300, default="", allow_blank=True, help_text="Where it was read, or who said it."
    )
    study = serializers.SlugField(
        max_length=40, default="", allow_blank=True, help_text="A published study by its key."
    )
    dated = serializers.DateField(required=False, allow_null=True)


class ListChangeBody(ActBody):
    example = {
        "what": "amount", "item": 4, "carry": 8, "never_below": 4, "criticality": "must-have",
        "claim": "Six were not enough on long days.", "lists": [1], "review_on": "2035-12-31",
        "sources": [
            {"supports": True, "says": "Six ran out twice.", "read_in": "Stated by the adviser"}
        ],
    }  # fmt: skip
    what = serializers.ChoiceField(What.values)
    item = serializers.IntegerField(min_value=1)
    instead = serializers.IntegerField(
        required=False, min_value=1, help_text="The item that takes its place in a swap."
    )
    by_day = serializers.DateField(
        required=False, help_text="By when all kits have the new item, in a swap."
    )
    carry = serializers.IntegerField(required=False, min_value=1, **UNITS)
    never_below = serializers.IntegerField(min_value=0, default=0, **UNITS)
    criticality = serializers.ChoiceField(
        CRITICALITIES,
        required=False,
        help_text="Left out: as each list has it; routine for what is added.",
    )
    anyway = serializers.BooleanField(
        default=False,
        help_text="The medical adviser has decided that a must-have is left out or lowered.",
    )
    claim = NoteField(max_length=300, help_text="Why it changes.")
    review_on = serializers.DateField(help_text="The day of the next review.")
    lists = serializers.ListField(
        child=serializers.IntegerField(min_value=1),
        min_length=1,
        max_length=list_changes.MOST_LISTS,
        help_text="The kit lists, by id.",
    )
    sources = bodies.lines(ListChangeSourceBody, most=list_changes.MOST_SOURCES)


class ListChangeReviewBody(ActBody):
    example = {"review_on": "2035-12-31", "note": "Nothing new."}
    review_on = serializers.DateField(
        allow_null=True, help_text="The day of the next review; null: withdraw it."
    )
    note = NoteField(max_length=300, default="", allow_blank=True)


class ChangeView(UseCaseView):
    use_case = "edit_list"
    answers = {200: FollowedChangeAnswer}

    def change(self) -> ListChange:
        """The change that the address names."""
        return one_of(list_changes.all_changes(), "change to kit lists", self.kwargs["id"])

    def followed(self, change: ListChange) -> change_progress.Followed:
        """A change as it is now, with its kits."""
        now = list_changes.all_changes().get(pk=change.pk)
        return change_progress.followed(self.actor, [now])[0]


class Changes(ListView, ChangeView):
    problems = ("draft-there", "must-have-lowered", "published-already")
    query = PageQuery
    shows = FollowedChangeAnswer
    body = ListChangeBody
    answers = {201: FollowedChangeAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[ListChange]:
        """Changes made to several kit lists at once, the latest first."""
        return list_changes.all_changes()

    def whole_page(self, page: list[Any]) -> list[change_progress.Followed]:
        """The changes with how far they are."""
        return change_progress.followed(self.actor, page)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Write a change into a draft of each list, with its sources."""
        lists = packing_lists.all_lists()
        matters = Criticality(data["criticality"]) if "criticality" in data else None
        amount = Amount(data["carry"], data["never_below"], matters) if "carry" in data else None
        draft = ChangeDraft(
            what=What(data["what"]),
            item=find.item(data["item"]),
            instead=find.item(data["instead"]) if "instead" in data else None,
            by_day=data.get("by_day"),
            amount=amount,
            claim=data["claim"],
            review_on=data["review_on"],
            lists=[one_of(lists, "kit list", pk) for pk in dict.fromkeys(data["lists"])],
            sources=[SourceDraft(**row) for row in data["sources"]],
            anyway=data["anyway"],
        )
        return 201, self.followed(list_changes.make(act, draft))


class OneChange(ReadView, ChangeView):
    shows = FollowedChangeAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """One change with its sources and how far it is."""
        return self.followed(self.change())


class ReviewChange(ChangeView):
    problems = ("withdrawn-already",)
    body = ListChangeReviewBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that a change was looked at again, or withdraw it."""
        change = self.change()
        list_changes.review(act, change, **data)
        return 200, self.followed(change)
