"""/api/v1/people/{id}/merge/: somebody on record twice becomes one."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from gearroom.core.acts.act import Act
from gearroom.core.api.requests.serializers import ActBody
from gearroom.core.api.views import UseCaseView
from gearroom.core.services.people import people
from kits.api import answers
from kits.services.people import merging


class MergeBody(ActBody):
    example = {"into": 8}
    into = serializers.IntegerField(min_value=1, help_text="The record that is kept, by id.")


class Merge(UseCaseView):
    use_case = "edit_person"
    body = MergeBody
    answers = {200: answers.PersonAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Keep one record of somebody who is on record twice."""
        person = people.get(act.actor, self.kwargs["id"])
        into = people.get(act.actor, data["into"])
        kept = merging.merge(act, person, into)
        if not act.actor.may("see_people", kept.home_room_id):
            kept.phone = ""
        return 200, kept
