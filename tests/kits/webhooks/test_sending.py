"""Events are sent in order, signed, until they are accepted."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gearroom.core.acts import store
from gearroom.core.outbound import Failure
from kits.models import Notice, Webhook
from kits.services.webhooks import sending
from tests.https_server import HttpsServer, answer
from tests.kits import factories as make
from tests.kits.webhooks.making import came, ids, made, written

pytestmark = pytest.mark.django_db


def stops(webhook: Webhook) -> int:
    """How often whoever made it was notified that nothing is sent there."""
    return Notice.objects.filter(person=webhook.made_by, kind="webhook-stopped").count()


def test_events_come_signed_and_in_order(receiver: HttpsServer) -> None:
    before = written(2)
    webhook, secret = made(receiver.port)
    events = written(120)
    with CaptureQueriesContext(connection) as queries:
        assert sending.send(webhook.pk) == 120
    assert sum('FROM "kits_kit"' in query["sql"] for query in queries) == 2  # pages
    assert came(receiver, secret) == ids(events)
    assert not {*ids(before)} & {*came(receiver, secret)}
    assert webhook.attempts.count() == 120 and sending.send(webhook.pk) == 0


def test_what_is_not_accepted_holds_back_the_rest_until_it_is(receiver: HttpsServer) -> None:
    webhook, secret = made(receiver.port)
    events = written(3)
    receiver.replies = [answer(), answer("500 Broken"), answer()]
    assert sending.send(webhook.pk) == 1 and sending.send(webhook.pk) == 0
    webhook.refresh_from_db()
    assert (webhook.position, webhook.tries) == (events[0].pk, 1)
    Webhook.objects.update(due_at=datetime.now(UTC))
    assert sending.send(webhook.pk) == 2
    order = [0, 1, 1, 2]
    assert came(receiver, secret) == [ids(events)[n] for n in order]


def test_a_server_that_is_not_there_is_on_record_and_parked_in_the_end(
    receiver: HttpsServer,
) -> None:
    webhook, _secret = made(receiver.port)
    written(1)
    receiver.close()
    for _try in range(11):
        Webhook.objects.update(due_at=datetime.now(UTC))
        assert sending.send(webhook.pk) == 0
    webhook.refresh_from_db()
    assert webhook.stopped == "parked" and webhook.attempts.count() == 11
    assert set(webhook.attempts.values_list("failure", flat=True)) == {Failure.NO_CONNECTION}
    assert stops(webhook) == 1 and sending.send(webhook.pk) == 0 and stops(webhook) == 1


def test_a_server_that_is_gone_for_good_ends_it(receiver: HttpsServer) -> None:
    webhook, _secret = made(receiver.port)
    written(2)
    receiver.replies = [answer("410 Gone")]
    sending.send(webhook.pk)
    webhook.refresh_from_db()
    assert webhook.stopped == "gone" and len(receiver.requests) == 1


def test_a_server_that_asks_for_time_gets_it(receiver: HttpsServer) -> None:
    webhook, _secret = made(receiver.port)
    written(1)
    receiver.replies = [answer("429 Too Many Requests", Retry_After="600")]
    before = datetime.now(UTC)
    sending.send(webhook.pk)
    webhook.refresh_from_db()
    assert webhook.due_at - before >= timedelta(seconds=600)


def test_who_has_much_to_get_from_a_slow_server_lets_others_go_first(
    receiver: HttpsServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    slow, _secret = made(receiver.port)
    other, _secret = made(receiver.port, name="Bo")
    events = written(3)
    monkeypatch.setattr(sending, "RUN_SECONDS", 0.0)
    assert sending.send(slow.pk) == 1
    due = Webhook.objects.due(datetime.now(UTC), events[-1].pk)
    assert [webhook.pk for webhook in due] == [other.pk, slow.pk]


def test_only_events_of_its_types_and_rooms_come_and_none_once_the_right_is_gone(
    receiver: HttpsServer,
) -> None:
    here, there = make.room("Here"), make.room("There")
    webhook, secret = made(receiver.port, room=here)
    of_here, _of_there, of_all = written(1, here), written(1, there), written(1)
    assert sending.send(webhook.pk) == 2
    assert came(receiver, secret) == ids([*of_here, *of_all])
    store(webhook, types=["kit.checked_in"])
    written(1, here)
    assert sending.send(webhook.pk) == 0
    webhook.made_by.memberships.all().delete()
    store(webhook, types=[])
    written(1, here)
    assert sending.send(webhook.pk) == 0
    webhook.refresh_from_db()
    assert webhook.stopped == "no-right" and stops(webhook) == 1 and len(receiver.requests) == 2


def test_what_was_sent_long_ago_is_forgotten(receiver: HttpsServer) -> None:
    webhook, _secret = made(receiver.port)
    written(2)
    sending.send(webhook.pk)
    first, last = webhook.attempts.order_by("pk")
    store(first, at=datetime.now(UTC) - timedelta(days=31))
    sending.forget_old()
    assert list(webhook.attempts.all()) == [last]
