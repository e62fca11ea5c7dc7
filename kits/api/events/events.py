"""/api/v1/events/: what happened, for other programs."""

from datetime import UTC
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from gearroom.core.api.requests.serializers import QuerySerializer
from gearroom.core.api.views import ReadView
from kits.api import answers
from kits.api.events.payloads import DATA
from kits.rules.events import EVENT_TYPES
from kits.services.events import EventContent, stream
from kits.services.lookup import find

TYPES = list(EVENT_TYPES)


@extend_schema_field(DATA)
class EventData(serializers.DictField):
    """What an event says."""


@answers.Answer.of(EventContent)
class EventAnswer(answers.Answer):
    help_texts = {
        "id": "The id of the event, the same wherever it is sent.",
        "version": "The version of what this type of event says.",
        "subject": "What it is about. Events of one subject come in the order in which they"
        " happened.",
        "room": "The gear room whose it is, by its slug; null: of the whole organisation.",
    }
    type = serializers.ChoiceField(TYPES, help_text="What happened.")
    timestamp = serializers.DateTimeField(default_timezone=UTC, help_text="When it happened.")
    data = EventData(  # type: ignore[assignment]  # so Standard Webhooks names it
        help_text="What it says, by its type: see webhooks. Things and people are ids here."
    )
    links = serializers.DictField(
        child=serializers.CharField(),
        help_text="Where on this server to read more: the entry of the act, the kit, the trip.",
    )


@answers.Answer.of(stream.EventPage)
class EventPageAnswer(answers.Answer):
    help_texts = {
        "events": "The events, the oldest first.",
        "cursor": "Where to go on: send it as “after”, also where there was no event.",
        "more": "Whether there are more already: then ask again at once.",
    }


class EventQuery(QuerySerializer):
    after = serializers.RegexField(
        stream.CURSOR_FORM,
        required=False,
        max_length=27,
        help_text="The cursor of the last answer; left out: from the oldest event on.",
        error_messages={
            "invalid": "This is not a cursor. Send the “cursor” of the last answer unchanged."
        },
    )
    type = serializers.ChoiceField(TYPES, required=False, help_text="Only events of this type.")
    room = serializers.CharField(
        required=False,
        max_length=80,
        help_text="Only events of this gear room, by its name or slug, and of the whole"
        " organisation.",
    )
    limit = serializers.IntegerField(
        default=100, min_value=1, max_value=1000, help_text="How many events at most."
    )


class Events(ReadView):
    reads_as = "read_events"
    read_problems = ("cursor-of-another-time",)
    query = EventQuery
    shows = EventPageAnswer

    def read(self, query: dict[str, Any]) -> stream.EventPage:
        """What happened since an earlier answer, in order and without a gap.

        Keep the cursor together with what you made of the events. They are kept for ever, so the
        first call may read all of them. The same events are sent to webhooks.
        """
        room, event_type = query.pop("room", None), query.pop("type", None)
        return stream.read(
            self.actor,
            **query,
            event_type=event_type,
            room=None if room is None else find.room(self.actor, room),
        )
