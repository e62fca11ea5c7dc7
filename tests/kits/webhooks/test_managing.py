"""Secrets, and what somebody asks for: sent again, tried, left out, turned off and on."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import pytest
from standardwebhooks import WebhookVerificationError

from gearroom.core.acts import Refused, store
from kits.models import Webhook
from kits.services.webhooks import sending, webhooks
from tests.https_server import HttpsServer, answer
from tests.kits import factories as make
from tests.kits.webhooks.making import act_on, came, contents, ids, made, written

pytestmark = pytest.mark.django_db


def failing(receiver: HttpsServer, count: int = 2) -> tuple[Webhook, str, list[str]]:
    """A webhook whose next event was refused once, its secret, and the ids of its events."""
    webhook, secret = made(receiver.port)
    events = written(count)
    receiver.replies = [answer("500 Broken"), answer()]
    assert sending.send(webhook.pk) == 0
    receiver.requests.clear()
    webhook.refresh_from_db()
    return webhook, secret, ids(events)


def test_for_a_day_both_secrets_sign_and_then_the_newer_alone(receiver: HttpsServer) -> None:
    webhook, first = made(receiver.port)
    _webhook, second = webhooks.rotate(act_on(webhook), webhook)
    written(1)
    sending.send(webhook.pk)
    assert len(came(receiver, first, second)) == 1
    Webhook.objects.update(older_until=datetime.now(UTC))
    written(1)
    sending.send(webhook.pk)
    assert len(came(receiver, second)) == 2
    with pytest.raises(WebhookVerificationError):
        came(receiver, first)


def test_of_three_secrets_the_last_two_sign(receiver: HttpsServer) -> None:
    webhook, first = made(receiver.port)
    secrets = [webhooks.rotate(act_on(webhook), webhook)[1] for _each in range(2)]
    webhooks.test(act_on(webhook), webhook)
    sending.send(webhook.pk)
    assert len(came(receiver, *secrets)) == 1
    with pytest.raises(WebhookVerificationError):
        came(receiver, first)


def test_with_another_secret_key_it_stops_until_it_has_a_new_secret(
    receiver: HttpsServer, settings: Any
) -> None:
    webhook, _secret = made(receiver.port)
    settings.SECRET_KEY = "another" * 10
    written(1)
    sending.send(webhook.pk)
    webhook.refresh_from_db()
    assert webhook.stopped == "no-secret" and not receiver.requests
    _webhook, secret = webhooks.rotate(act_on(webhook), webhook)
    assert sending.send(webhook.pk) == 1 and len(came(receiver, secret)) == 1


def test_asked_for_twice_it_is_sent_once(receiver: HttpsServer) -> None:
    webhook, secret = made(receiver.port)
    (event,) = written(1)
    sending.send(webhook.pk)
    for _press in range(2):
        webhooks.test(act_on(webhook), webhook)
        webhooks.send_again(act_on(webhook), webhook, event.message_id)
    sending.send(webhook.pk)
    first, test, again = contents(receiver, secret)
    assert again == first and test["type"] == "webhook.test"
    webhook.refresh_from_db()
    assert webhook.position == event.pk and not webhook.attempts.waiting().exists()


def test_a_test_comes_while_it_is_off_and_what_was_missed_once_it_is_on(
    receiver: HttpsServer,
) -> None:
    webhook, secret = made(receiver.port)
    webhooks.change(act_on(webhook), webhook, on=False)
    events = written(3)
    webhooks.test(act_on(webhook), webhook)
    assert sending.send(webhook.pk) == 0 and len(came(receiver, secret)) == 1
    webhooks.resume(act_on(webhook), webhook)
    assert sending.send(webhook.pk) == 3 and came(receiver, secret)[1:] == ids(events)


def test_turned_on_while_it_fails_it_is_sent_at_once(receiver: HttpsServer) -> None:
    webhook, secret, events = failing(receiver)
    assert sending.send(webhook.pk) == 0
    webhooks.change(act_on(webhook), webhook, on=True)
    assert sending.send(webhook.pk) == 2 and came(receiver, secret) == events


def test_what_fails_can_be_left_out_once_and_sent_again_later(receiver: HttpsServer) -> None:
    webhook, secret, (first, second) = failing(receiver)
    webhooks.leave_out(act_on(webhook), webhook, webhook_next(webhook))
    with pytest.raises(Refused):
        webhooks.leave_out(act_on(webhook), webhook, written(1)[0].message_id)
    sending.send(webhook.pk)
    assert came(receiver, secret)[:1] == [second]
    webhooks.send_again(act_on(webhook), webhook, UUID(first))
    sending.send(webhook.pk)
    assert came(receiver, secret)[-1] == first


def webhook_next(webhook: Webhook) -> Any:
    """The id of what is sent next."""
    return webhooks.delivery(webhook).next_event


@pytest.mark.parametrize(
    "changed",
    [
        lambda webhook: webhooks.change(act_on(webhook), webhook, address=webhook.address + "2"),
        lambda webhook: webhooks.leave_out(act_on(webhook), webhook, webhook_next(webhook)),
    ],
    ids=["address", "left out"],
)
def test_a_change_goes_on_with_what_failed_but_leaves_off_what_is_off(
    receiver: HttpsServer, changed: Callable[[Webhook], Webhook]
) -> None:
    webhook, _secret, _events = failing(receiver)
    store(webhook, stopped="parked", stopped_at=datetime.now(UTC))
    assert changed(webhook).stopped == ""
    webhooks.change(act_on(webhook), webhook, on=False)
    written(1)
    webhook.refresh_from_db()
    assert changed(webhook).stopped == "off"


def test_an_event_that_is_its_reader_s_no_longer_is_not_sent_again(receiver: HttpsServer) -> None:
    here, there = make.room("Here"), make.room("There")
    webhook, _secret = made(receiver.port)
    webhook = webhooks.change(act_on(webhook), webhook, room=here)
    (event,) = written(1, here)
    webhooks.send_again(act_on(webhook), webhook, event.message_id)
    webhook = webhooks.change(act_on(webhook), webhook, room=there)
    assert sending.send(webhook.pk) == 0
    assert not receiver.requests and not webhook.attempts.exists()
