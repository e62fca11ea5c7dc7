"""Recalls: started, followed place by place, answered, ended."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts.act import Act, Actor
from gearroom.core.api.requests.serializers import ActBody, NoteField, PageQuery
from gearroom.core.api.views import ListView, ReadView, UseCaseView
from kits.api import answers, bodies
from kits.api.stock.lots import BatchAnswer, ThingAnswer, lots_shown
from kits.api.stock.places import PlaceAnswer
from kits.models import Certainty, Recall, RecallScope
from kits.rules.recalls.certainty import Outcome
from kits.services.lookup import find
from kits.services.recalls import closing, recalls, status
from kits.services.recalls.recalls import Answer
from kits.services.recalls.status import Followed, Gone


class RecallAnswer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    item = ThingAnswer()
    scope = serializers.ChoiceField(RecallScope.choices)
    number = serializers.CharField()
    reference = serializers.CharField()
    advice = serializers.CharField()
    started_at = serializers.DateTimeField(source="entry.occurred_at")
    closed_at = serializers.DateTimeField(
        source="closed.occurred_at", default=None, allow_null=True
    )
    outcome = serializers.ChoiceField([*Outcome, ""], help_text="How it ended; empty while open.")
    published_at = serializers.CharField(help_text="Where the maker withdrew it.")


class FollowedAnswer(serializers.Serializer[Any]):
    row = serializers.IntegerField(
        allow_null=True, help_text="To answer by; null where it came there after the start."
    )
    place = PlaceAnswer()
    certainty = serializers.ChoiceField(Certainty.choices, allow_null=True)
    units_min = serializers.IntegerField(help_text="When the recall started, at least.")
    units_max = serializers.IntegerField(help_text="When the recall started, at most.")
    booked = serializers.IntegerField(help_text="What the book has there now.")
    quarantined = serializers.IntegerField()
    person = answers.PersonAnswer(allow_null=True, help_text="Who has it, or answers for it.")
    told_at = serializers.DateTimeField(allow_null=True)
    answer = serializers.ChoiceField([*Answer, ""])
    answered_by = serializers.CharField(allow_null=True)
    answered_at = serializers.DateTimeField(allow_null=True)


class QuarantineAnswer(serializers.Serializer[Any]):
    place = PlaceAnswer()
    units = serializers.IntegerField()


class GoneAnswer(serializers.Serializer[Any]):
    how = serializers.CharField(help_text="used, sold, given, or how it was thrown out.")
    certainty = serializers.ChoiceField(Certainty.choices)
    trip = answers.TripAnswer(allow_null=True)
    kit = serializers.CharField(allow_null=True)
    units = serializers.IntegerField()


class UnsettledAnswer(serializers.Serializer[Any]):
    quarantined = serializers.IntegerField(help_text="Units in quarantine.")
    elsewhere = serializers.IntegerField(help_text="Units that the book has in kits.")
    unanswered = serializers.IntegerField(help_text="Places where nobody has looked yet.")


class StandingAnswer(RecallAnswer):
    lots = BatchAnswer(many=True)
    places = FollowedAnswer(many=True)
    quarantine = QuarantineAnswer(many=True)
    gone = GoneAnswer(many=True, help_text="No longer here: used, thrown out, sold, given away.")
    unsettled = UnsettledAnswer(help_text="What is not accounted for yet.")


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


def _standing(actor: Actor, recall: Recall) -> dict[str, Any]:
    """How a recall stands, as far as somebody may see it."""
    stands = status.of(recall, actor)
    lots = lots_shown(stands.lots)
    return {
        **RecallAnswer(recall).data,
        "lots": list(lots.values()),
        "places": [_followed(actor, row) for row in stands.places],
        "quarantine": [
            {"place": PlaceAnswer(place).data, "units": units} for place, units in stands.quarantine
        ],
        "gone": [_gone(row) for row in stands.gone],
        "unsettled": UnsettledAnswer(stands.unsettled).data,
    }


def _followed(actor: Actor, of: Followed) -> Any:
    row, kit = of.row, of.place.kit
    told = {
        "row": row.pk if row else None,
        "place": PlaceAnswer(of.place).data,
        "certainty": row.certainty if row else None,
        "units_min": row.units_min if row else 0,
        "units_max": row.units_max if row else of.booked,
        "booked": of.booked,
        "quarantined": row.quarantined if row else 0,
        "person": answers.person(row.person) if row else None,
        "told_at": of.told_at.isoformat() if of.told_at else None,
        "answer": row.answer if row else "",
        "answered_by": row.answered_by.name if row and row.answered_by else None,
        "answered_at": row.answered.occurred_at.isoformat() if row and row.answered else None,
    }
    return answers.for_eyes_of(actor, [kit.home_room_id if kit else of.place.room_id], told)


def _gone(of: Gone) -> dict[str, Any]:
    return {
        "how": str(of.how),
        "certainty": of.certainty,
        "trip": answers.trip(of.trip),
        "kit": of.kit.name if of.kit else None,
        "units": of.units,
    }


class Recalls(ListView, UseCaseView):
    query = RecallQuery
    shows = RecallAnswer
    use_case = "recall"
    body = StartBody
    answers = {201: StandingAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Recall]:
        """Recalls, the newest first."""
        found = Recall.objects.select_related("item", "entry", "closed")
        if "open" in query:
            found = found.filter(closed__isnull=query["open"])
        if "item" in query:
            found = found.filter(item=query["item"])
        return found

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record a maker's recall: quarantine what is here, list and tell who has the rest."""
        recall = recalls.start(act, item=find.item(data.pop("item")), **data)
        return 201, _standing(act.actor, recalls.find(recall.pk))


class OneRecall(ReadView):
    shows = StandingAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """How a recall stands: who has it, who was told, what they answered, what was used."""
        assert self.actor is not None
        return _standing(self.actor, recalls.find(self.kwargs["id"]))


class RowBody(ActBody):
    example = {"row": 31}
    row = serializers.IntegerField(min_value=1, help_text="Of the places listed.")


class RecallAnswerBody(bodies.HereBody, RowBody):
    example = {"row": 31, "answer": "taken-out", "removed": 2}
    answer = serializers.ChoiceField(list(Answer))
    removed = serializers.IntegerField(
        default=0, min_value=0, max_value=1_000_000, help_text="Units found and taken out."
    )


class AnswerRecall(UseCaseView):
    use_case = "answer_recall"
    body = RecallAnswerBody
    answers = {200: StandingAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Say what was found in a place. What was taken out goes to quarantine."""
        act = bodies.here(act, data)
        recall = recalls.find(self.kwargs["id"])
        row = recalls.find_row(act.actor, recall, data["row"])
        recalls.answer(act, row, Answer(data["answer"]), removed=data["removed"])
        return 200, _standing(act.actor, recall)


class MarkInformed(UseCaseView):
    use_case = "recall"
    body = RowBody
    answers = {200: StandingAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Record that whoever has a place was told in another way, such as by phone."""
        recall = recalls.find(self.kwargs["id"])
        recalls.mark_informed(act, recalls.find_row(act.actor, recall, data["row"]))
        return 200, _standing(act.actor, recall)


class CloseBody(ActBody):
    example = {"outcome": "withdrawn", "published_at": "The maker's letter of 3 May"}
    outcome = serializers.ChoiceField(list(Outcome))
    published_at = serializers.CharField(
        required=False,
        max_length=300,
        allow_blank=True,
        help_text="Where the maker withdrew it: an address, or a letter and its date.",
    )


class Close(UseCaseView):
    use_case = "close_recall"
    body = CloseBody
    answers = {200: StandingAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """End a recall: finished, and its batches stay blocked for ever; or withdrawn by its maker,
        and they are good again, unless another recall is about them."""
        closed = closing.close(act, recalls.find(self.kwargs["id"]), **data)
        return 200, _standing(act.actor, recalls.find(closed.pk))


class Reopen(UseCaseView):
    use_case = "recall"
    answers = {200: StandingAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Follow a recall again that was closed too early."""
        opened = closing.reopen(act, recalls.find(self.kwargs["id"]))
        return 200, _standing(act.actor, recalls.find(opened.pk))


class PutBackBody(ActBody):
    example = {"shelf": "3"}
    shelf = serializers.CharField(max_length=40, help_text="By id, or by the code of its label.")


class PutBack(UseCaseView):
    use_case = "move"
    body = PutBackBody
    answers = {201: StandingAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Move what a withdrawn recall had brought into quarantine back onto a shelf there."""
        recall = recalls.find(self.kwargs["id"])
        closing.put_back(act, recall, find.shelf(act.actor, data["shelf"]))
        return 201, _standing(act.actor, recall)
