"""Webhooks: made, changed, removed, their secrets, and what somebody asks to be sent."""

import base64
import secrets
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, NotFound, Refused, locked, one, store
from gearroom.core.models import Room
from gearroom.core.outbound import FAILURE_TEXTS, OutboundError, checked
from gearroom.core.services.installation.encryption import decrypted, encrypted
from kits.models import Event, Webhook, WebhookAttempt, WebhookStop
from kits.rules.events import EVENT_TYPES
from kits.services.events import events_after, horizon, readable
from kits.services.events.wake import wake
from kits.services.webhooks import owners

MOST = 50
"""Webhooks in one installation."""
OLDER_SECRET_LASTS = timedelta(hours=24)
SECRET_BYTES = 32
"""Standard Webhooks asks for 24 to 64."""

_PREFIX, _PURPOSE = "whsec_", "webhook secret"


def add(
    act: Act, *, name: str, address: str, types: Sequence[str], room: Room | None
) -> tuple[Webhook, str]:
    """A new webhook, which gets what happens from now on, and its secret. Raises Invalid, and
    Refused (`too-many-webhooks`)."""
    act.actor.require("edit_webhook", room.pk if room else None)
    if act.person is None:
        raise ValueError("a webhook is somebody's")
    secret = _new_secret()
    with transaction.atomic():
        if Webhook.objects.count() >= MOST:
            raise Refused(
                "too-many-webhooks",
                _("There are already %(most)d webhooks. Remove one that is no longer needed.")
                % {"most": MOST},
            )
        webhook = Webhook.objects.create(
            name=name,
            address=_address(address),
            types=_types(types),
            room=room,
            made_by=act.person,
            made_at=act.received_at,
            secret=encrypted(secret, _PURPOSE),
            position=horizon(),
            due_at=act.received_at,
        )
    return webhook, secret


def change(act: Act, webhook: Webhook, **fields: Any) -> Webhook:
    """Change a webhook: `name`, `address`, `types`, `room`, and `on`, whether events are sent to
    it. Turned on, also where it is on and fails, it is tried at once; with another address too,
    unless it is off. Raises Invalid and Refused."""
    act.actor.require("edit_webhook", webhook.room_id)
    if "room" in fields:
        _require_room(act, webhook, fields["room"])
    with transaction.atomic():
        webhook = locked(act, webhook)
        on = fields.pop("on", None)
        if "address" in fields:
            fields["address"] = _address(fields["address"])
            if fields["address"] != webhook.address and webhook.stopped != WebhookStop.OFF:
                fields |= _tried_now(act)
        if "types" in fields:
            fields["types"] = _types(fields["types"])
        if on is False and not webhook.stopped:
            fields |= {"stopped": WebhookStop.OFF, "stopped_at": act.received_at}
        elif on:
            fields |= _tried_now(act)
        store(webhook, **fields)
    wake()
    return webhook


def remove(act: Act, webhook: Webhook) -> None:
    """Remove a webhook, with the record of what was sent to it."""
    act.actor.require("edit_webhook", webhook.room_id)
    with transaction.atomic():
        locked(act, webhook).delete()


def rotate(act: Act, webhook: Webhook) -> tuple[Webhook, str]:
    """Give a webhook a new secret, which is returned. The one that it had signs as well for a day,
    the one from before that no longer."""
    act.actor.require("edit_webhook", webhook.room_id)
    secret = _new_secret()
    with transaction.atomic():
        webhook = locked(act, webhook)
        store(
            webhook,
            secret=encrypted(secret, _PURPOSE),
            older_secret=webhook.secret,
            older_until=act.received_at + OLDER_SECRET_LASTS,
        )
        if webhook.stopped == WebhookStop.NO_SECRET:
            store(webhook, **_tried_now(act))
    wake()
    return webhook, secret


def secrets_of(webhook: Webhook, now: datetime) -> list[str]:
    """The secrets that sign now, the newer first; none where SECRET_KEY is another."""
    kept = [webhook.secret]
    if webhook.older_until is not None and webhook.older_until > now:
        kept.append(webhook.older_secret)
    return [secret for each in kept if (secret := decrypted(each, _PURPOSE))]


# ------------------------------------------------------------------------------------- going on
def resume(act: Act, webhook: Webhook) -> Webhook:
    """Send again from where it stopped; where it did not stop, at once."""
    act.actor.require("edit_webhook", webhook.room_id)
    with transaction.atomic():
        webhook = locked(act, webhook)
        store(webhook, **_tried_now(act))
    wake()
    return webhook


def next_event(webhook: Webhook) -> Event | None:
    """The event that is sent next, which is the one that fails while it fails."""
    page = events_after(
        webhook.position,
        limit=1,
        types=webhook.types or None,
        reader=owners.reader_of(webhook),
    )
    return page.events[0] if page.events else None


@dataclass(frozen=True)
class Delivery:
    """How far a webhook is: the event that is sent next, since when and how often it failed, and
    when it is tried again."""

    next_event: uuid.UUID | None
    next_type: str | None
    next_subject: str | None
    failing_since: datetime | None
    tries: int
    next_try_at: datetime | None


def delivery(webhook: Webhook) -> Delivery:
    """How far a webhook is."""
    event = next_event(webhook)
    return Delivery(
        next_event=event.message_id if event else None,
        next_type=event.type if event else None,
        next_subject=event.subject if event else None,
        failing_since=webhook.failing_since,
        tries=webhook.tries,
        next_try_at=webhook.due_at if webhook.tries and not webhook.stopped else None,
    )


def leave_out(act: Act, webhook: Webhook, event: uuid.UUID) -> Webhook:
    """Leave out the event that is next, and go on with the one after it. Raises Refused
    (`not-next`) where another is next by now."""
    act.actor.require("edit_webhook", webhook.room_id)
    with transaction.atomic():
        webhook = locked(act, webhook)
        following = next_event(webhook)
        if following is None or following.message_id != event:
            raise Refused("not-next", _("This event is no longer the next one. Look again."))
        again = {} if webhook.stopped == WebhookStop.OFF else _tried_now(act)
        store(webhook, position=following.pk, **again)
    wake()
    return webhook


# --------------------------------------------------------------------------- what somebody asks for
def test(act: Act, webhook: Webhook) -> WebhookAttempt:
    """Have a test sent, once; one that is still waiting is the answer to another."""
    act.actor.require("edit_webhook", webhook.room_id)
    return _ask(act, webhook, None)


def send_again(act: Act, webhook: Webhook, event: uuid.UUID) -> WebhookAttempt:
    """Have an event sent once more, with its id. Raises NotFound."""
    act.actor.require("edit_webhook", webhook.room_id)
    known = one(Event.objects.filter(message_id=event), "event", event)
    if not readable(owners.reader_of(webhook)).contains(known):
        raise NotFound("event", event)
    return _ask(act, webhook, known)


def _ask(act: Act, webhook: Webhook, event: Event | None) -> WebhookAttempt:
    with transaction.atomic():
        webhook = locked(act, webhook)
        waiting = webhook.attempts.waiting().filter(event=event).first()
        attempt = waiting or WebhookAttempt.objects.create(
            webhook=webhook,
            event=event,
            message_id=event.message_id if event else uuid.uuid4(),
            asked_by=act.person,
            asked_at=act.received_at,
        )
    wake()
    return attempt


# ------------------------------------------------------------------------------------ what is typed
def _address(typed: str) -> str:
    try:
        return str(checked(typed))
    except OutboundError as error:
        raise Invalid(str(FAILURE_TEXTS[error.failure]), field="address") from None


def _types(wanted: Sequence[str]) -> list[str]:
    """The types in the order of the registry."""
    if unknown := [each for each in wanted if each not in EVENT_TYPES]:
        raise Invalid(
            _("There is no event type “%(type)s”.") % {"type": unknown[0][:60]}, field="types"
        )
    return [each for each in EVENT_TYPES if each in wanted]


def _require_room(act: Act, webhook: Webhook, room: Room | None) -> None:
    """Whoever moves a webhook to a room has to have the right there; to every room of its owner,
    the owner alone and who administers all."""
    act.actor.require("edit_webhook", room.pk if room else None)
    if room is None and not act.actor.everywhere and webhook.made_by != act.person:
        raise Invalid(_("Choose a gear room."), field="room")


def _tried_now(act: Act) -> dict[str, Any]:
    return {
        "stopped": "",
        "stopped_at": None,
        "tries": 0,
        "failing_since": None,
        "due_at": act.received_at,
    }


def _new_secret() -> str:
    return _PREFIX + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()
