"""Places: the shelves of a room, and the inner places that hold stock."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, UseCaseView, named
from kits.api import answers
from kits.api.bodies import asks_to_close
from kits.models import INNER, Place
from kits.services.lookup import find
from kits.services.stock import shelves


@answers.Answer.of(Place)
class PlaceAnswer(answers.Answer):
    members = ["id", "kind", "name", "room", "kit", "section", "position", "location", "closed_on"]
    sources = {"section": "section_key", "location": "location_id"}
    help_texts = {"location": "The id of the van, hut or other location where a shelf is now."}
    room = serializers.CharField(source="room.name", default=None, allow_null=True)
    kit = serializers.CharField(source="kit.name", default=None, allow_null=True)


class PlaceQuery(PageQuery):
    kind = serializers.ChoiceField(list(INNER), required=False)
    room = serializers.CharField(required=False, max_length=80)


class AddShelfBody(ActBody):
    example = {"room": "main-store", "name": "C7", "position": 7}
    room = serializers.CharField(max_length=80)
    name = serializers.CharField(max_length=shelves.LONGEST_NAME)
    position = serializers.IntegerField(required=False, min_value=0, max_value=100_000)


class Places(ListView, UseCaseView):
    query = PlaceQuery
    shows = PlaceAnswer
    filters = {"kind": "kind", "room": named(find.room, "room")}
    use_case = "edit_shelf"
    problems = ("name-taken",)
    body = AddShelfBody
    answers = {201: PlaceAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Place]:
        """Shelves, kit sections and other places in your gear rooms."""
        return find.places_of(self.actor).filter(kind__in=INNER)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Add a shelf to a room."""
        return 201, shelves.add_shelf(
            act, find.room(act.actor, data["room"]), data["name"], position=data.get("position")
        )


class EditShelfBody(ActBody):
    example = {"name": "C7 top", "position": 8}
    name = serializers.CharField(required=False, max_length=shelves.LONGEST_NAME)
    position = serializers.IntegerField(required=False, min_value=0, max_value=100_000)
    location = serializers.IntegerField(
        required=False,
        min_value=1,
        allow_null=True,
        help_text="Where it is now; null: in the gear room.",
    )
    close = serializers.BooleanField(required=False, help_text="True is sent alone.")


class OneShelf(UseCaseView):
    method = "patch"
    use_case = "edit_shelf"
    problems = ("name-taken", "shelf-not-empty")
    body = EditShelfBody
    answers = {200: PlaceAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Rename a shelf, move it in the walking order, say where it is now, or close it."""
        shelf = find.shelf(act.actor, self.kwargs["id"])
        if asks_to_close(data):
            return 200, shelves.close_shelf(act, shelf)
        if data.get("location") is not None:
            data["location"] = find.location(act.actor, data["location"])
        return 200, shelves.edit_shelf(act, shelf, **data)
