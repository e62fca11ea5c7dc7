"""/api/v1/rooms/: the gear rooms that one belongs to."""

from datetime import time
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.fields import empty

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import CLOCK_TIME, ActBody
from gearroom.core.api.views import ListView, ReadView, UseCaseView
from gearroom.core.models import Room
from gearroom.core.models.people import MOST_SORTING_NIGHTS
from gearroom.core.services.people import rooms


class ClockTime(serializers.RegexField):
    """An hour and minutes."""

    def __init__(self, **more: Any) -> None:
        super().__init__(CLOCK_TIME, **more)

    def run_validation(self, data: Any = empty) -> time | None:
        """The time that a text says; raises ValidationError."""
        text = super().run_validation(data)
        return text if text is None else time.fromisoformat(text)

    def to_representation(self, value: time) -> str:  # type: ignore[override]  # of a time
        """As a clock shows it: 18:00."""
        return f"{value:%H:%M}"


class RoomShown(serializers.ModelSerializer[Room]):
    """A room."""

    closing_time = ClockTime()

    class Meta:
        model = Room
        fields = [
            "slug",
            "name",
            "time_zone",
            "phone",
            "how_to_return",
            "closing_time",
            "sorting_nights",
            "guides_decide_important",
            "expired_always_stops",
            "opening_pays_from",
        ]


class RoomEdit(ActBody):
    """The fields of a gear room that can be changed."""

    example = {"closing_time": "17:30", "sorting_nights": 1, "phone": "01632 960 002"}
    name = serializers.CharField(max_length=80, required=False)
    time_zone = serializers.CharField(
        max_length=64, required=False, help_text="From the IANA database, such as Europe/London."
    )
    phone = serializers.CharField(max_length=40, required=False, allow_blank=True)
    how_to_return = serializers.CharField(
        max_length=300,
        required=False,
        allow_blank=True,
        help_text="Shown to anyone who finds a kit.",
    )
    closing_time = ClockTime(
        required=False,
        help_text="When a kit taken out without a trip is due back, such as 18:00.",
    )
    sorting_nights = serializers.IntegerField(
        required=False,
        min_value=0,
        max_value=MOST_SORTING_NIGHTS,
        help_text="The least number of nights between a kit's return and its next trip.",
    )
    guides_decide_important = serializers.BooleanField(
        required=False,
        help_text="A guide may take out a kit that is short of an important item, with a reason.",
    )
    expired_always_stops = serializers.BooleanField(
        required=False, help_text="A kit with anything out of date inside may not be taken out."
    )
    opening_pays_from = serializers.DecimalField(
        12,
        2,
        min_value=Decimal(0),
        required=False,
        help_text="How much money it has to save to open a sealed kit only to exchange batches: "
        "about what twenty minutes of work cost.",
    )


class RoomBody(RoomEdit):
    """A new room."""

    example = {
        "name": "Cave hut", "slug": "cave-hut", "time_zone": "Europe/London",
        "how_to_return": "Hang it on the door.",
    }  # fmt: skip
    name = serializers.CharField(max_length=80)
    slug = serializers.SlugField(
        max_length=40, help_text="Its name in web addresses; cannot be changed."
    )


class Rooms(ListView, UseCaseView):
    """The gear rooms."""

    shows = RoomShown
    ordering = ("slug",)
    use_case = "edit_room"
    problems = ("name-taken",)
    body = RoomBody
    answers = {201: RoomShown}

    def rows(self, query: dict[str, Any]) -> QuerySet[Room]:
        """List the gear rooms that you belong to."""
        return rooms.visible_to(self.actor)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Add a room."""
        return 201, rooms.add(act, **data)


class OneRoom(ReadView, UseCaseView):
    """One gear room."""

    shows = RoomShown
    method = "patch"
    use_case = "edit_room"
    problems = ("name-taken",)
    body = RoomEdit
    answers = {200: RoomShown}

    def read(self, query: dict[str, Any]) -> Any:
        """Show a room."""
        return rooms.get(self.actor, self.kwargs["room"])

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change a room."""
        return 200, rooms.edit(act, rooms.get(act.actor, self.kwargs["room"]), **data)
