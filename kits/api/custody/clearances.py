"""Clearances by telephone: which there are, and the answers of those who are named."""

from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, UseCaseView, present
from kits.api import answers
from kits.models import Clearance
from kits.services.custody import clearances


@answers.Answer.of(Clearance)
class ClearanceShown(answers.WithPhones):
    members = [
        "id", "kit", "cleared_by", "taken_by", "trip", "recorded_at", "reasons", "confirmed",
        "answered_at", "entry",
    ]  # fmt: skip
    sources = {
        "kit": "checkout.kit.name", "cleared_by": "person", "taken_by": "checkout.person",
        "trip": "entry.trip", "recorded_at": "entry.recorded_at", "confirmed": "answer.confirmed",
        "answered_at": "answer.entry.recorded_at",
    }  # fmt: skip
    help_texts = {
        "recorded_at": "When the kit was taken out.",
        "confirmed": "Their answer: whether they cleared it; null if they have not answered yet.",
    }
    reasons = serializers.ListField(
        child=serializers.DictField(), help_text="The reasons why it was not ready."
    )

    def rooms(self, row: Clearance) -> Iterable[int | None]:
        """The kit's."""
        return answers.rooms_of(row.checkout.kit)


class ClearancesQuery(PageQuery):
    answered = serializers.BooleanField(required=False)


class Clearances(ListView):
    """Kits that went because somebody cleared them by telephone."""

    query = ClearancesQuery
    shows = ClearanceShown
    filters = {"answered": present("answer")}

    def rows(self, query: dict[str, Any]) -> QuerySet[Clearance]:
        """List your own clearances, and those of gear rooms whose notifications you may see."""
        return clearances.visible_to(self.actor)


class ClearanceBody(ActBody):
    example = {"confirmed": True}
    confirmed = serializers.BooleanField(help_text="True: I cleared it. False: I did not.")


class AnswerClearance(UseCaseView):
    use_case = "answer_clearance"
    problems = ("answered-already",)
    body = ClearanceBody
    answers = {200: ClearanceShown}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Answer whether you cleared a kit that you are named for."""
        clearance = clearances.get(act.actor, self.kwargs["id"])
        clearances.answer(act, clearance, confirmed=data["confirmed"])
        return 200, clearances.get(act.actor, clearance.pk)
