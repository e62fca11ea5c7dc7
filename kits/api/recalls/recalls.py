"""Recalls: started, followed place by place, answered, ended."""

from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, NoteField, PageQuery
from gearroom.core.api.views import ListView, ReadView, UseCaseView
from kits.api import answers, bodies
from kits.api.problems import NAMED_BY_LABEL
from kits.api.stock.lots import BatchAnswer, with_batches
from kits.models import Certainty, Recall, RecallScope
from kits.rules.recalls.certainty import Outcome, Unsettled
from kits.services.lookup import find
from kits.services.recalls import closing, recalls, status
from kits.services.recalls.recalls import Answer
from kits.services.recalls.status import Followed, RecallStatus


@answers.Answer.of(Recall)
class RecallAnswer(answers.Answer):
    members = [
        "id", "item", "scope", "number", "reference", "advice", "started_at", "closed_at",
        "outcome", "published_at",
    ]  # fmt: skip
    help_texts = {"published_at": "Where the maker announced the withdrawal."}
    scope = serializers.ChoiceField(RecallScope.choices)
    started_at = serializers.DateTimeField(source="entry.occurred_at")
    closed_at = serializers.DateTimeField(
        source="closed.occurred_at", default=None, allow_null=True
    )
    outcome = serializers.ChoiceField(
        [*Outcome, ""], help_text="How it ended; empty while it is open."
    )


@answers.Answer.of(status.Followed)
class FollowedAnswer(answers.WithPhones):
    members = [
        "row", "place", "certainty", "units_min", "units_max", "booked", "quarantined", "person",
        "told_at", "answer", "answered_by", "answered_at",
    ]  # fmt: skip
    sources = {
        "row": "row.pk", "person": "row.person", "answered_by": "row.answered_by.name",
        "answered_at": "row.answered.occurred_at",
    }  # fmt: skip
    help_texts = {
        "row": "For answering; null if it arrived there after the recall began.",
        "booked": "Units on record there now.",
        "person": "The person who has it or is responsible for it.",
    }
    certainty = serializers.ChoiceField(Certainty.choices, source="row.certainty", allow_null=True)
    units_min = answers.made(
        serializers.IntegerField,
        lambda seen: seen.row.units_min if seen.row else 0,
        help_text="The least number of units when the recall began.",
    )
    units_max = answers.made(
        serializers.IntegerField,
        lambda seen: seen.row.units_max if seen.row else seen.booked,
        help_text="The greatest number of units when the recall began.",
    )
    quarantined = answers.made(
        serializers.IntegerField, lambda seen: seen.row.quarantined if seen.row else 0
    )
    answer = answers.made(
        serializers.ChoiceField,
        lambda seen: seen.row.answer if seen.row else "",
        choices=[*Answer, ""],
    )

    def rooms(self, row: Followed) -> Iterable[int | None]:
        """The home of the kit that the place is in, or its own room."""
        kit = row.place.kit
        return [kit.home_room_id if kit else row.place.room_id]


@answers.Answer.of(status.Quarantined)
class QuarantineAnswer(answers.Answer):
    pass


@answers.Answer.of(status.Gone)
class GoneAnswer(answers.Answer):
    members = ["how", "certainty", "trip", "kit", "to", "units"]
    sources = {"kit": "kit.name"}
    help_texts = {"to": "Who got it, where it was sold or given away and somebody wrote it down."}
    how = serializers.CharField(help_text="used, sold, given, or how it was disposed of.")
    certainty = serializers.ChoiceField(Certainty.choices)


@answers.Answer.of(Unsettled)
class UnsettledAnswer(answers.Answer):
    help_texts = {
        "quarantined": "Units in quarantine.",
        "elsewhere": "Units that are on record in kits.",
        "unanswered": "Places that nobody has checked yet.",
    }


class _StandingPart(serializers.Serializer[Any]):
    lots = BatchAnswer(many=True)
    places = FollowedAnswer(many=True)
    quarantine = QuarantineAnswer(many=True)
    gone = GoneAnswer(
        many=True, help_text="Units no longer here: used, disposed of, sold or given away."
    )
    unsettled = UnsettledAnswer(help_text="What has not been accounted for yet.")


class StandingAnswer(RecallAnswer, _StandingPart):
    def to_representation(self, row: RecallStatus) -> Any:
        """The recall, with what became of its batches."""
        return {**RecallAnswer(row.recall).data, **_StandingPart(row, context=self.context).data}


class RecallQuery(PageQuery):
    open = serializers.BooleanField(required=False)
    item = serializers.IntegerField(required=False, min_value=1)


class StartBody(ActBody):
    example = {
        "item": 4, "scope": "number", "number": "D1", "reference": "2035-3",
        "advice": "Do not use; send back.",
    }  # fmt: skip
    item = serializers.IntegerField(min_value=1)
    scope = serializers.ChoiceField(RecallScope.choices, default=RecallScope.NUMBER)
    number = serializers.CharField(required=False, max_length=80, allow_blank=True)
    reference = serializers.CharField(required=False, max_length=80, allow_blank=True)
    advice = NoteField(required=False, max_length=500, allow_blank=True)


class _RecallView(UseCaseView):
    use_case = "recall"
    answers = {200: StandingAnswer}

    def recall(self) -> Recall:
        """The recall that the address names."""
        return recalls.find(self.kwargs["id"])

    def standing(self, recall: Recall) -> RecallStatus:
        """The state of a recall now, as far as whoever asks may see it."""
        stands = status.of(recalls.find(recall.pk), self.actor)
        with_batches(stands.lots)
        return stands


class Recalls(ListView, _RecallView):
    problems = ("recalled-already",)
    query = RecallQuery
    shows = RecallAnswer
    filters = {"open": "closed__isnull", "item": "item"}
    body = StartBody
    answers = {201: StandingAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Recall]:
        """Recalls, the newest first."""
        return Recall.objects.select_related("item", "entry", "closed")

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record a maker's recall.

        What is here goes into quarantine, and the people who have the rest are listed and notified.
        """
        return 201, self.standing(recalls.start(act, item=find.item(data.pop("item")), **data))


class OneRecall(ReadView, _RecallView):
    shows = StandingAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """One recall: who has units, who was notified, their answers, and what was used."""
        return self.standing(self.recall())


class RowBody(ActBody):
    example = {"row": 31}
    row = serializers.IntegerField(min_value=1, help_text="The number of places listed.")


class RecallAnswerBody(bodies.HereBody, RowBody):
    example = {"row": 31, "answer": "taken-out", "removed": 2}
    answer = serializers.ChoiceField(list(Answer))
    removed = serializers.IntegerField(
        default=0, min_value=0, max_value=1_000_000, help_text="Units found and removed."
    )


class AnswerRecall(_RecallView):
    use_case = "answer_recall"
    body = RecallAnswerBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record what was found in a place. Removed units go into quarantine."""
        act = bodies.here(act, data)
        recall = self.recall()
        row = recalls.find_row(act.actor, recall, data["row"])
        recalls.answer(act, row, Answer(data["answer"]), removed=data["removed"])
        return 200, self.standing(recall)


class MarkInformed(_RecallView):
    body = RowBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that somebody was notified in another way, such as by phone."""
        recall = self.recall()
        recalls.mark_informed(act, recalls.find_row(act.actor, recall, data["row"]))
        return 200, self.standing(recall)


class CloseBody(ActBody):
    example = {"outcome": "withdrawn", "published_at": "The maker's letter of 3 May"}
    outcome = serializers.ChoiceField(list(Outcome))
    published_at = serializers.CharField(
        required=False,
        max_length=300,
        allow_blank=True,
        help_text="Where the maker announced the withdrawal: a web address, or a letter and its"
        " date.",
    )


class Close(_RecallView):
    use_case = "close_recall"
    problems = ("closed-already", "units-not-accounted-for")
    body = CloseBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Close a recall, as finished or as withdrawn by its maker.

        If it is finished, its batches stay blocked permanently; if it is withdrawn, they can be
        used again, unless another recall covers them.
        """
        return 200, self.standing(closing.close(act, self.recall(), **data))


class Reopen(_RecallView):
    problems = ("recall-open", "recalled-already")

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Reopen a recall that was closed too early."""
        return 200, self.standing(closing.reopen(act, self.recall()))


class PutBackBody(ActBody):
    example = {"shelf": "3"}
    shelf = serializers.CharField(max_length=40, help_text="By id or by label code.")


class PutBack(_RecallView):
    use_case = "move"
    problems = ("not-withdrawn", "nothing-to-put-back", *NAMED_BY_LABEL)
    body = PutBackBody
    answers = {201: StandingAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Return units that were quarantined because of a recall, since withdrawn, to a shelf."""
        recall = self.recall()
        closing.put_back(act, recall, find.shelf(act.actor, data["shelf"]))
        return 201, self.standing(recall)
