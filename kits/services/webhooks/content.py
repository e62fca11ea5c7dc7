"""What is sent: an event as JSON, and headers that prove whom it is from (Standard Webhooks)."""

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from uuid import UUID

from standardwebhooks import Webhook as Signer

from gearroom.core.acts import Actor
from kits.models import Event
from kits.services.events import contents

TEST = "webhook.test"
"""The type of what is sent to try an address."""


def of_events(events: Sequence[Event], reader: Actor) -> list[bytes]:
    """The contents of events, as `GET /api/v1/events/` shows them to a reader."""
    return [
        _json({**vars(each), "id": str(each.id), "timestamp": _instant(each.timestamp)})
        for each in contents(events, reader)
    ]


def of_test(message_id: UUID, at: datetime) -> bytes:
    """The content that tries an address."""
    return _json(
        {
            "id": str(message_id),
            "type": TEST,
            "version": 1,
            "timestamp": _instant(at),
            "subject": "webhook",
            "room": None,
            "data": {},
            "links": {},
        }
    )


def headers(
    message_id: UUID, at: datetime, content: bytes, secrets: Sequence[str]
) -> dict[str, str]:
    """The headers of an attempt, signed by each secret."""
    at = at.astimezone(UTC)
    text = content.decode()
    signatures = [Signer(secret).sign(str(message_id), at, text) for secret in secrets]
    return {
        "content-type": "application/json",
        "webhook-id": str(message_id),
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": " ".join(signatures),
    }


def _instant(at: datetime) -> str:
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _json(content: Mapping[str, object]) -> bytes:
    return json.dumps(content, ensure_ascii=False, separators=(",", ":")).encode()
