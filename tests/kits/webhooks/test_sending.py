"""Events are sent in order, signed, until they are accepted."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from standardwebhooks import Webhook as Verifier

from gearroom.core.acts import Act, actor_of_person
from gearroom.core.models import Membership, Person
from gearroom.core.outbound import Failure
from gearroom.core.rules.public_addresses import allowed_inside
from gearroom.core.rules.roles import Role
from kits.models import Event, Notice, Webhook
from kits.services.webhooks import sending, webhooks
from tests.https_server import HttpsServer, answer, certificate

pytestmark = pytest.mark.django_db


@pytest.fixture
def receiver(
    session_folder: Path, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> Iterator[HttpsServer]:
    """A server that webhooks may go to."""
    authority, pem = certificate(session_folder)
    monkeypatch.setenv("SSL_CERT_FILE", str(authority))
    server = HttpsServer(pem)
    settings.INTERNAL_HOSTS = allowed_inside([f"localhost:{server.port}"])
    yield server
    server.close()


def written(count: int) -> list[Event]:
    """Events, as acts write them."""
    now = datetime.now(UTC)
    start = Event.objects.count()
    rows = [
        Event(type="kit.checked_out", subject=f"kit:{n % 3}", occurred_at=now, recorded_at=now)
        for n in range(start, start + count)
    ]
    return Event.objects.bulk_create(rows)


def made(receiver: HttpsServer) -> tuple[Webhook, str]:
    """A webhook of who administers every room, and its secret."""
    person = Person.objects.create(name="Ada", email="ada@example.org")
    Membership.objects.create(person=person, room=None, role=Role.ADMINISTRATOR.value)
    address = f"https://localhost:{receiver.port}/events"
    act = Act(actor=actor_of_person(person))
    return webhooks.add(act, name="Booking", address=address, types=[], room=None)


def came(receiver: HttpsServer, secret: str) -> list[str]:
    """The ids of what came, each with a signature that holds."""
    ids = []
    for request in receiver.requests:
        head, _, body = request.partition(b"\r\n\r\n")
        lines = [line.decode().split(": ", 1) for line in head.split(b"\r\n")[1:]]
        content = Verifier(secret).verify(body, dict(lines))
        assert content == json.loads(body) and content["id"] == dict(lines)["webhook-id"]
        ids.append(content["id"])
    return ids


def test_events_come_signed_and_in_order(receiver: HttpsServer) -> None:
    before = written(2)
    webhook, secret = made(receiver)
    events = written(120)
    assert sending.send(webhook.pk) == 120
    assert came(receiver, secret) == [str(event.message_id) for event in events]
    assert not {str(event.message_id) for event in before} & set(came(receiver, secret))
    assert webhook.attempts.count() == 120 and sending.send(webhook.pk) == 0


def test_what_is_not_accepted_holds_back_the_rest_until_it_is(receiver: HttpsServer) -> None:
    webhook, secret = made(receiver)
    events = written(3)
    receiver.replies = [answer(), answer("500 Broken"), answer()]
    assert sending.send(webhook.pk) == 1 and sending.send(webhook.pk) == 0
    webhook.refresh_from_db()
    assert (webhook.position, webhook.tries) == (events[0].pk, 1)
    Webhook.objects.update(due_at=datetime.now(UTC))
    assert sending.send(webhook.pk) == 2
    order = [0, 1, 1, 2]
    assert came(receiver, secret) == [str(events[n].message_id) for n in order]


def test_a_server_that_is_not_there_is_on_record_and_parked_in_the_end(
    receiver: HttpsServer,
) -> None:
    webhook, _secret = made(receiver)
    written(1)
    receiver.close()
    for _try in range(11):
        Webhook.objects.update(due_at=datetime.now(UTC))
        assert sending.send(webhook.pk) == 0
    webhook.refresh_from_db()
    assert webhook.stopped == "parked" and webhook.attempts.count() == 11
    assert set(webhook.attempts.values_list("failure", flat=True)) == {Failure.NO_CONNECTION}
    assert Notice.objects.filter(person=webhook.made_by, kind="webhook-stopped").count() == 1


def test_a_server_that_is_gone_for_good_ends_it(receiver: HttpsServer) -> None:
    webhook, _secret = made(receiver)
    written(2)
    receiver.replies = [answer("410 Gone")]
    sending.send(webhook.pk)
    webhook.refresh_from_db()
    assert webhook.stopped == "gone" and len(receiver.requests) == 1
