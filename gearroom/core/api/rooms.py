"""/api/v1/rooms/: the gear rooms that one belongs to."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.act import Act
from gearroom.core.api.serializers import ActBody
from gearroom.core.api.views import ListView, ReadView, UseCaseView
from gearroom.core.models import Room
from gearroom.core.services import rooms


class RoomShown(serializers.ModelSerializer[Room]):
    """A room."""

    class Meta:
        model = Room
        fields = ["slug", "name", "time_zone", "phone", "how_to_return"]


class RoomEdit(ActBody):
    """What of a room may be changed."""

    name = serializers.CharField(max_length=80)
    time_zone = serializers.CharField(
        max_length=64, required=False, help_text="Of the IANA database, such as Europe/London."
    )
    phone = serializers.CharField(max_length=40, required=False, allow_blank=True)
    how_to_return = serializers.CharField(
        max_length=300,
        required=False,
        allow_blank=True,
        help_text="What somebody who finds a kit is told.",
    )


class RoomBody(RoomEdit):
    """A new room."""

    slug = serializers.SlugField(max_length=40, help_text="Its name in addresses; stays as it is.")


class Rooms(ListView, UseCaseView):
    """The gear rooms."""

    shows = RoomShown
    ordering = ("slug",)
    use_case = "edit_room"
    body = RoomBody
    answers = {201: RoomShown}

    def rows(self, query: dict[str, Any]) -> QuerySet[Room]:
        """List the rooms that you belong to."""
        return rooms.seen_by(self.actor)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Add a room."""
        return 201, RoomShown(rooms.add(act, **data)).data


class OneRoom(ReadView, UseCaseView):
    """One gear room."""

    shows = RoomShown
    method = "patch"
    use_case = "edit_room"
    body = RoomEdit
    answers = {200: RoomShown}

    def read(self, query: dict[str, Any]) -> Any:
        """Show a room."""
        return RoomShown(rooms.get(self.actor, self.kwargs["room"])).data

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change a room."""
        room = rooms.get(act.actor, self.kwargs["room"])
        self.match(RoomShown(room).data)
        return 200, RoomShown(rooms.edit(act, room, **data)).data
