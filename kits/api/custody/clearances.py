"""Clearances by telephone: which there are, and the answers of those who are named."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts.act import Act
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, UseCaseView
from kits.api import answers
from kits.models import Clearance
from kits.services.custody import clearances


class ClearanceShown(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    kit = serializers.CharField()
    cleared_by = answers.PersonAnswer()
    taken_by = answers.PersonAnswer(allow_null=True)
    trip = answers.TripAnswer(allow_null=True)
    recorded_at = serializers.DateTimeField(help_text="When the kit was taken out.")
    reasons = serializers.ListField(
        child=serializers.DictField(), help_text="What stood against it."
    )
    confirmed = serializers.BooleanField(
        allow_null=True, help_text="What they say: they did, or they did not; null: nothing yet."
    )
    answered_at = serializers.DateTimeField(allow_null=True)
    entry = answers.EntryAnswer()


def clearance_shown(of: Clearance) -> dict[str, Any]:
    """A clearance as the API answers it."""
    answer = getattr(of, "answer", None)
    return {
        "id": of.pk,
        "kit": of.checkout.kit.name,
        "cleared_by": answers.person(of.person),
        "taken_by": answers.person(of.checkout.person),
        "trip": answers.trip(of.entry.trip),
        "recorded_at": of.entry.recorded_at.isoformat(),
        "reasons": of.reasons,
        "confirmed": answer.confirmed if answer else None,
        "answered_at": answer.entry.recorded_at.isoformat() if answer else None,
        "entry": answers.entry(of.entry),
    }


class ClearancesQuery(PageQuery):
    answered = serializers.BooleanField(required=False)


class Clearances(ListView):
    """Kits that went because somebody cleared them by telephone."""

    query = ClearancesQuery
    shows = ClearanceShown

    def rows(self, query: dict[str, Any]) -> QuerySet[Clearance]:
        """List your own, and those of kits of rooms whose notices you may see."""
        assert self.actor is not None
        rows = clearances.visible_to(self.actor)
        if "answered" in query:
            rows = rows.filter(answer__isnull=not query["answered"])
        return rows

    def show(self, page: list[Clearance]) -> Any:
        """The rows, phones for those who may see people."""
        shown = [clearance_shown(row) for row in page]
        rooms = {row.checkout.kit.home_room_id for row in page}
        return answers.for_eyes_of(self.actor, rooms, shown)


class ClearanceBody(ActBody):
    example = {"confirmed": True}
    confirmed = serializers.BooleanField(help_text="True: I did clear it. False: I did not.")


class AnswerClearance(UseCaseView):
    use_case = "answer_clearance"
    body = ClearanceBody
    answers = {200: ClearanceShown}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Say whether you did clear a kit that you are named for."""
        found = clearances.get(act.actor, self.kwargs["id"])
        clearances.answer(act, found, confirmed=data["confirmed"])
        found = clearances.get(act.actor, found.pk)
        rooms = answers.rooms_of(found.checkout.kit)
        return 200, answers.for_eyes_of(act.actor, rooms, clearance_shown(found))
