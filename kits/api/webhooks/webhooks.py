"""/api/v1/webhooks/: where events are sent, and what came of it."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from gearroom.core.acts import Act
from gearroom.core.api.requests.serializers import ActBody
from gearroom.core.api.views import ListView, ReadView, UseCaseView
from gearroom.core.models import Room
from gearroom.core.outbound import FAILURE_TEXTS, Failure
from kits.api import answers
from kits.models import Webhook, WebhookAttempt, WebhookStop
from kits.rules.events import EVENT_TYPES
from kits.services.lookup import find
from kits.services.webhooks import content, owners, webhooks

TYPES = list(EVENT_TYPES)


def types_field(**more: Any) -> serializers.ListField:
    """Types of events."""
    return serializers.ListField(
        child=serializers.ChoiceField(TYPES),
        max_length=len(TYPES),
        help_text="The types of events that are sent; none: all.",
        **more,
    )


@answers.Answer.of(Webhook)
class WebhookAnswer(answers.Answer):
    members = ["id", "name", "address", "types", "room", "made_by", "made_at", "on", "stopped",
               "stopped_at", "older_until"]  # fmt: skip
    sources = {"room": "room.slug", "made_by": "made_by_id"}
    help_texts = {
        "address": "Where events are sent.",
        "room": "The gear room whose events are sent, by its slug; null: all those for which"
        " whoever made it may have webhooks.",
        "made_by": "Who made it, by id.",
        "made_at": "When it was made.",
        "stopped_at": "Since when nothing is sent to it; null: it is on.",
        "older_until": "Until when the secret from before signs too; null: there was none.",
    }
    types = types_field()
    on = answers.made(
        serializers.BooleanField,
        lambda webhook: not webhook.stopped,
        help_text="Whether events are sent to it.",
    )
    stopped = serializers.ChoiceField(
        [*WebhookStop.values, ""],
        help_text="Why nothing is sent to it: off: somebody turned it off; parked: it accepted"
        " nothing for three days; gone: it answered with 410; no-right: whoever made it may no"
        " longer have one; no-secret: it needs a new secret. Empty: it is on.",
    )


class WebhookMade(WebhookAnswer):
    secret = serializers.CharField(
        allow_null=True,
        help_text="The secret that signs what is sent. Shown only once; null if the same key is"
        " sent again. If that answer was lost, rotate it for another.",
    )

    def to_representation(self, made: tuple[Webhook, str]) -> Any:
        """A webhook with its new secret."""
        webhook, secret = made
        return {**super().to_representation(webhook), "secret": secret}


@answers.Answer.of(WebhookAttempt)
class AttemptAnswer(answers.Answer):
    members = ["id", "message_id", "type", "subject", "asked_by", "asked_at", "at", "milliseconds",
               "status", "failure", "failure_text", "accepted"]  # fmt: skip
    sources = {"asked_by": "asked_by_id"}
    help_texts = {
        "message_id": "The id that was sent as webhook-id: that of the event.",
        "asked_by": "Who asked for it to be sent, by id; null: it was its turn.",
        "asked_at": "When somebody asked for it to be sent; null: it was its turn.",
        "at": "When it was sent; null: it still has to be.",
        "milliseconds": "How long it took; null: it was not sent yet.",
        "status": "The HTTP status that was answered; null: nothing was answered.",
        "accepted": "Whether it was answered with 2xx.",
    }
    type = serializers.CharField(
        source="event.type", default=content.TEST, help_text="The type of the event."
    )
    subject = serializers.CharField(
        source="event.subject", default="webhook", help_text="What the event is about."
    )
    failure = serializers.ChoiceField(
        [*[each.value for each in Failure], ""],
        help_text="Why nothing was answered; empty: something was, or it was not sent yet.",
    )
    failure_text = answers.made(
        serializers.CharField,
        lambda code: str(FAILURE_TEXTS[Failure(code)]) if code else "",
        source="failure",
        help_text="The same in a sentence.",
    )


@answers.Answer.of(webhooks.Delivery)
class DeliveryAnswer(answers.Answer):
    help_texts = {
        "next_event": "The id of the event that is sent next; null: everything was sent.",
        "next_type": "Its type; null: everything was sent.",
        "next_subject": "What it is about; null: everything was sent.",
        "failing_since": "Since when that event fails; null: it does not.",
        "tries": "How often it failed.",
        "next_try_at": "When it is sent again; null: at once, or not while the webhook is stopped.",
    }


class WebhookEdit(ActBody):
    example = {"name": "Booking system", "types": ["kit.checked_out", "kit.checked_in"]}
    name = serializers.CharField(max_length=80, help_text="What it is for.")
    address = serializers.CharField(
        max_length=2000,
        help_text="Where events are sent: HTTPS, and no internal address.",
    )
    types = types_field(default=list)
    room = serializers.CharField(
        max_length=80,
        allow_null=True,
        default=None,
        help_text="Only events of this gear room: its name or slug; null: of all for which you may"
        " have webhooks.",
    )


class WebhookBody(WebhookEdit):
    example = {
        "name": "Booking system",
        "address": "https://booking.example.org/events",
        "types": ["trip.covered", "trip.uncovered"],
    }


class WebhookChange(WebhookEdit):
    on = serializers.BooleanField(
        required=False,
        help_text="Whether events are sent to it. Turned on again, it gets all since it stopped."
        " True where it is on and fails: what failed is sent at once, for example after your own"
        " program was down.",
    )


class EventBody(ActBody):
    example = {"event": "b7a5a2a6-4d0c-4c6e-9d35-6f1f3c1e2a10"}
    event = serializers.UUIDField(help_text="The event, by its id.")


class _WebhookView(UseCaseView):
    use_case = "edit_webhook"
    answers = {200: WebhookAnswer}

    def webhook(self) -> Webhook:
        """The one that the address names."""
        return owners.get(self.actor, self.kwargs["id"])

    def room(self, named: str | None) -> Room | None:
        """A room that a body names."""
        return None if named is None else find.room(self.actor, named)

    def kept(self, body: Any) -> Any:
        """The answer less the secret."""
        return {**body, "secret": None} if "secret" in body else body


class Webhooks(ListView, _WebhookView):
    reads_as = "edit_webhook"
    problems = ("too-many-webhooks",)
    shows = WebhookAnswer
    body = WebhookBody
    answers = {201: WebhookMade}

    def rows(self, query: dict[str, Any]) -> QuerySet[Webhook]:
        """Webhooks: your own, and those of the gear rooms that you administer."""
        return owners.webhooks_of(self.actor)

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Have events sent to an address, from now on.

        Its secret is shown only in this answer. Everything is signed with it as the Standard
        Webhooks specification describes.
        """
        data["room"] = self.room(data["room"])
        return 201, webhooks.add(act, **data)


class OneWebhook(ReadView, _WebhookView):
    reads_as = "edit_webhook"
    shows = WebhookAnswer
    method = "patch"
    body = WebhookChange

    def read(self, query: dict[str, Any]) -> Any:
        """One webhook."""
        return self.webhook()

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Change a webhook, turn it off or on."""
        if "room" in data:
            data["room"] = self.room(data["room"])
        return 200, webhooks.change(act, self.webhook(), **data)


class Remove(_WebhookView):
    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Remove a webhook, with the record of what was sent to it."""
        webhook = self.webhook()
        webhooks.remove(act, webhook)
        return 200, webhook


class Rotate(_WebhookView):
    answers = {200: WebhookMade}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Give a webhook a new secret.

        For 24 hours everything is signed with the secret from before as well.
        """
        return 200, webhooks.rotate(act, self.webhook())


class Delivery(ReadView):
    reads_as = "edit_webhook"
    shows = DeliveryAnswer

    def read(self, query: dict[str, Any]) -> Any:
        """How far a webhook is: what is sent next, and whether it fails."""
        return webhooks.delivery(owners.get(self.actor, self.kwargs["id"]))


class Attempts(ListView):
    reads_as = "edit_webhook"
    shows = AttemptAnswer

    def rows(self, query: dict[str, Any]) -> QuerySet[WebhookAttempt]:
        """What was sent to a webhook in the last 30 days, and what came of it."""
        webhook = owners.get(self.actor, self.kwargs["id"])
        return webhook.attempts.select_related("event")


class Test(_WebhookView):
    answers = {201: AttemptAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Send a test to a webhook, once; also while it is stopped."""
        return 201, webhooks.test(act, self.webhook())


class SendAgain(_WebhookView):
    body = EventBody
    answers = {201: AttemptAnswer}

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Send an event once more, with the id that it had."""
        return 201, webhooks.send_again(act, self.webhook(), data["event"])


class LeaveOut(_WebhookView):
    problems = ("not-next",)
    body = EventBody

    def perform(self, act: Act, data: dict[str, Any]) -> tuple[int, Any]:
        """Leave out the event that would be sent next, and go on with the one after it."""
        return 200, webhooks.leave_out(act, self.webhook(), data["event"])
