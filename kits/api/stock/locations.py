"""Locations of kits and shelves, and what has to be moved because of the weather there."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core import clock
from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody, PageQuery
from gearroom.core.api.views import ListView, ReadView, UseCaseView, named
from kits.api import answers
from kits.api.bodies import asks_to_close
from kits.api.problems import PUT_IN
from kits.api.views import KitView
from kits.models import Location
from kits.rules.ledger.weather import Threat
from kits.services.lookup import find
from kits.services.weather import jobs, locations, moving


def _months() -> serializers.ListField:
    return serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=12),
        required=False,
        max_length=12,
        help_text="Months as numbers, 1 to 12.",
    )


@answers.Answer.of(Location)
class LocationAnswer(answers.Answer):
    members = [
        "id", "room", "name", "frost_months", "heat_months", "wet_months", "coldest_c",
        "hottest_c", "closed_on", "revision",
    ]  # fmt: skip
    room = serializers.CharField(source="room.name")
    frost_months = serializers.ListField(child=serializers.IntegerField())
    heat_months = serializers.ListField(child=serializers.IntegerField())
    wet_months = serializers.ListField(child=serializers.IntegerField())


class LocationQuery(PageQuery):
    room = serializers.CharField(required=False, max_length=80)


class _WeatherBody(ActBody):
    """What the weather does at a location."""

    frost_months = _months()
    heat_months = _months()
    wet_months = _months()
    coldest_c = serializers.IntegerField(
        min_value=-90,
        max_value=40,
        required=False,
        allow_null=True,
        help_text="How cold it gets in the months with frost; null: just below freezing.",
    )
    hottest_c = serializers.IntegerField(
        min_value=-20,
        max_value=120,
        required=False,
        allow_null=True,
        help_text="How hot it gets in the months with heat.",
    )


class EditLocationBody(_WeatherBody):
    example = {"frost_months": [11, 12, 1, 2, 3], "coldest_c": -12}
    name = serializers.CharField(required=False, max_length=locations.LONGEST_NAME)
    close = serializers.BooleanField(
        required=False, help_text="True, sent alone: it is no longer used."
    )


class AddLocationBody(_WeatherBody):
    example = {"room": "main-store", "name": "Van 2", "frost_months": [12, 1, 2]}
    room = serializers.CharField(max_length=80)
    name = serializers.CharField(max_length=locations.LONGEST_NAME)


class Locations(ListView, UseCaseView):
    query = LocationQuery
    shows = LocationAnswer
    filters = {"room": named(find.room, "room")}
    use_case = "edit_shelf"
    problems = ("name-taken",)
    body = AddLocationBody
    answers = {201: LocationAnswer}

    def rows(self, query: dict[str, Any]) -> QuerySet[Location]:
        """Vans, boats, huts and homes in use where kits and shelves of your gear rooms are."""
        return find.locations_of(self.actor)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Add a location to a room."""
        room = find.room(act.actor, data.pop("room"))
        return 201, locations.add_location(act, room, **data)


class OneLocation(UseCaseView):
    method = "patch"
    use_case = "edit_shelf"
    problems = ("location-in-use", "name-taken")
    body = EditLocationBody
    answers = {200: LocationAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change a location and the weather there, or use it no longer."""
        location = find.location(act.actor, self.kwargs["id"])
        if asks_to_close(data):
            return 200, locations.close_location(act, location)
        return 200, locations.edit_location(act, location, **data)


# ------------------------------------------------------------------------------------- the weather
@answers.Answer.of(jobs.Leaving)
class LeavingAnswer(answers.Answer):
    members = ["item", "name", "units", "why", "first", "last", "begun"]
    sources = {
        "item": "thing.id", "name": "thing.name", "first": "stretch.first", "last": "stretch.last",
    }  # fmt: skip
    help_texts = {
        "first": "0001-01-01: all year.",
        "last": "9999-12-31: all year.",
        "begun": "Look at every pack: it may be harmed already.",
    }
    units = answers.made(
        serializers.IntegerField,
        lambda row: sum(each.units for each in row.rows),
        help_text="0: loose items, which nobody counts.",
    )
    why = serializers.ListField(child=serializers.ChoiceField([each.value for each in Threat]))


@answers.Answer.of(jobs.Returning)
class ReturningAnswer(answers.Answer):
    members = ["item", "name", "lot", "units", "shelf", "exposed"]
    sources = {
        "item": "lot.item_id", "name": "lot.item.name", "lot": "lot.pk", "shelf": "shelf.pk",
    }  # fmt: skip
    help_texts = {"exposed": "It was still there when the weather began: ask before it is used."}


@answers.Answer.of(jobs.WeatherJob)
class WeatherJobAnswer(answers.Answer):
    members = ["location", "kit", "shelf", "out", "back"]
    sources = {"location": "location.pk"}
    kit = serializers.CharField(source="kit.name", default=None, allow_null=True)
    shelf = serializers.IntegerField(source="shelf.pk", default=None, allow_null=True)
    out = LeavingAnswer(many=True)
    back = ReturningAnswer(many=True)


class WeatherJobsAnswer(serializers.Serializer[Any]):
    results = WeatherJobAnswer(many=True)


class WeatherJobs(ReadView):
    shows = WeatherJobsAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """What has to leave the kits and shelves of a room for the weather within four weeks, and
        what may be put back."""
        room = find.room(self.actor, self.kwargs["room"])
        return {"results": jobs.of_room(room, clock.today(room.time_zone))}


class MovedOutBody(ActBody):
    example = {"to": "3"}
    to = serializers.CharField(
        max_length=40, help_text="The shelf, by id or label code, or quarantine, by id."
    )


class OutOfKit(KitView):
    use_case = "restock"
    problems = ("keep-as-it-came-back", "kit-is-out", "nothing-to-move")
    body = MovedOutBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Move all that has to leave a kit for the weather now."""
        return 201, moving.out_of_kit(act, self.kit(), find.place(act.actor, data["to"]))


class BackIntoKit(KitView):
    use_case = "restock"
    problems = ("keep-as-it-came-back", "kit-is-out", "nothing-to-move", *PUT_IN)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Put back into a kit what left it for the weather."""
        return 201, moving.back_into_kit(act, self.kit())


class OutOfShelf(UseCaseView):
    use_case = "move"
    problems = ("nothing-to-move",)
    body = MovedOutBody
    answers = {201: answers.DoneAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Move all that has to leave a shelf for the weather now."""
        shelf = find.shelf(act.actor, self.kwargs["id"])
        return 201, moving.out_of_shelf(act, shelf, find.place(act.actor, data["to"]))


class BackOntoShelf(UseCaseView):
    use_case = "move"
    problems = ("nothing-to-move",)
    answers = {201: answers.DoneAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Put back on a shelf what left it for the weather."""
        return 201, moving.back_onto_shelf(act, find.shelf(act.actor, self.kwargs["id"]))
