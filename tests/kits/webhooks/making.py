"""Events, webhooks, and what came to their server."""

import json
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from standardwebhooks import Webhook as Verifier

from gearroom.core.acts import Act, actor_of_person
from gearroom.core.models import Membership, Person, Room
from gearroom.core.rules.roles import Role
from kits.models import Event, Webhook
from kits.services.webhooks import webhooks
from tests.https_server import HttpsServer


def written(count: int, room: Room | None = None) -> list[Event]:
    """Events, as acts write them."""
    now = datetime.now(UTC)
    start = Event.objects.count()
    rows = [
        Event(
            type="kit.checked_out",
            subject=f"kit:{n % 3}",
            occurred_at=now,
            recorded_at=now,
            room=room,
            data={"kit": n % 3, "trip": n % 5},
        )
        for n in range(start, start + count)
    ]
    return Event.objects.bulk_create(rows)


def made(port: int, *, room: Room | None = None, name: str = "Ada") -> tuple[Webhook, str]:
    """A webhook of an administrator, and its secret: of a room, or of every one."""
    person = Person.objects.create(name=name, email=f"{name.lower()}@example.org")
    Membership.objects.create(person=person, room=room, role=Role.ADMINISTRATOR.value)
    address = f"https://localhost:{port}/events"
    act = Act(actor=actor_of_person(person))
    return webhooks.add(act, name="Booking", address=address, types=[], room=room)


def act_on(webhook: Webhook) -> Act:
    """An act of whoever made a webhook."""
    return Act(actor=actor_of_person(webhook.made_by))


def ids(events: Iterable[Event]) -> list[str]:
    """The ids under which events are sent."""
    return [str(event.message_id) for event in events]


def came(receiver: HttpsServer, *secrets: str) -> list[str]:
    """The ids of what came, each with a signature by each secret."""
    return [content["id"] for content in contents(receiver, *secrets)]


def contents(receiver: HttpsServer, *secrets: str) -> list[dict[str, Any]]:
    """What came, each with a signature by each secret."""
    every = []
    for request in receiver.requests:
        head, _, body = request.partition(b"\r\n\r\n")
        lines = [line.decode().split(": ", 1) for line in head.split(b"\r\n")[1:]]
        for secret in secrets:
            Verifier(secret).verify(body, dict(lines))
        every.append(json.loads(body))
        assert every[-1]["id"] == dict(lines)["webhook-id"]
    return every
