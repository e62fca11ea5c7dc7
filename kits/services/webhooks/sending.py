"""Sending events to webhooks: each in order, until it is accepted.

A webhook is sent to by one thread at a time, wherever that runs: it holds a lock that is gone with
its process. What was accepted is written every so many events; after a crash those since then are
sent again, with the ids that they had. What fails is tried again by `trying_again`, all later ones
waiting, so that the server gets them in order; then the webhook is parked, and administrators
are told.
"""

import logging
import random
import uuid
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from time import monotonic
from uuid import UUID

from django.db import transaction

from gearroom.core import clock
from gearroom.core.acts import Actor, store
from gearroom.core.acts.key_locks import KeyLocked, locked
from gearroom.core.outbound import Answer, Client, OutboundError
from kits.models import Event, Webhook, WebhookAttempt, WebhookStop
from kits.rules.webhooks.trying_again import asked_to_wait, wait_after
from kits.services.events import events_after, readable
from kits.services.notices import WebhookStopped, recipients, writing
from kits.services.webhooks import content, owners, webhooks

log = logging.getLogger(__name__)

REQUEST_SECONDS = 15.0
"""What a server may take to accept one event."""
RUN_SECONDS = 60.0
"""After which a webhook with more to send lets those go first that waited longer."""
PAGE = 100
WRITE_EVERY_SECONDS, WRITE_EVERY_EVENTS = 1.0, 50
KEPT = timedelta(days=30)
"""How long it is kept what was sent."""

_NAMESPACE = uuid.UUID("5d9f6a2c-7a36-4c0e-9a45-0a6f7f1b6f0e")


def send(webhook_id: int) -> int | None:
    """Send what a webhook is due; how many events were accepted. None: somebody else does."""
    try:
        with lock(webhook_id), Client() as client:
            return _Run(webhook_id, client).send()
    except KeyLocked:
        return None


def lock(webhook_id: int) -> AbstractContextManager[None]:
    """A time in which nobody else sends to a webhook. Raises KeyLocked where somebody does."""
    return locked(uuid.uuid5(_NAMESPACE, str(webhook_id)))


def forget_old() -> None:
    """Forget what was sent long ago."""
    old = WebhookAttempt.objects.filter(at__lt=clock.now() - KEPT)
    if old.exists():
        old.delete()


@dataclass
class _Run:
    """One time of sending to one webhook, by who holds its lock."""

    webhook_id: int
    client: Client
    accepted: int = 0
    _attempts: list[WebhookAttempt] = field(default_factory=list)
    _written: float = 0.0
    _until: float = 0.0

    def send(self) -> int:
        """Send what somebody asked for, then events in order, until one fails or the time is up."""
        self._written = monotonic()
        self._until = self._written + RUN_SECONDS
        while (webhook := self._read()) is not None:
            reader = owners.reader_of(webhook)
            secrets = webhooks.secrets_of(webhook, clock.now())
            if not reader.roles:
                self._stop(webhook, WebhookStop.NO_RIGHT)
                return self.accepted
            if not secrets:
                self._stop(webhook, WebhookStop.NO_SECRET)
                return self.accepted
            self._send_what_was_asked_for(webhook, reader, secrets)
            if webhook.stopped or webhook.due_at > clock.now():
                return self.accepted
            page = events_after(
                webhook.position, limit=PAGE, types=webhook.types or None, reader=reader
            )
            position = webhook.position
            bodies = content.of_events(page.events, reader)
            for event, body in zip(page.events, bodies, strict=True):
                attempt, answer = self._try(webhook, event, event.message_id, body, secrets)
                self._attempts.append(attempt)
                if not attempt.accepted:
                    self._failed(webhook, position, attempt, answer)
                    return self.accepted
                position = event.pk
                self.accepted += 1
                if monotonic() > self._until:
                    self._write(webhook, position, due_at=clock.now())
                    return self.accepted
                if self._is_time_to_write() and not self._write(webhook, position):
                    break
            else:
                if not self._write(webhook, page.position):
                    continue
                if not page.more:
                    return self.accepted
        return self.accepted

    def _read(self) -> Webhook | None:
        """The webhook as it is now; None once it was removed."""
        rows = Webhook.objects.select_related("room", "made_by__merged_into")
        return rows.filter(pk=self.webhook_id).first()

    def _send_what_was_asked_for(
        self, webhook: Webhook, reader: Actor, secrets: Sequence[str]
    ) -> None:
        """Tests, and events again: each once, whatever comes of it. An event that is not the
        reader's any more is forgotten."""
        for waiting in webhook.attempts.waiting().select_related("event__room").order_by("pk"):
            if monotonic() > self._until:
                return
            event, message_id = waiting.event, waiting.message_id
            if event is None:
                body = content.of_test(message_id, clock.now())
            elif readable(reader).contains(event):
                (body,) = content.of_events([event], reader)
            else:
                waiting.delete()
                continue
            made, _answer = self._try(webhook, event, message_id, body, secrets)
            rows = WebhookAttempt.objects.waiting().filter(pk=waiting.pk)
            rows.update(
                at=made.at,
                milliseconds=made.milliseconds,
                status=made.status,
                failure=made.failure,
            )

    def _try(
        self,
        webhook: Webhook,
        event: Event | None,
        message_id: UUID,
        body: bytes,
        secrets: Sequence[str],
    ) -> tuple[WebhookAttempt, Answer | None]:
        """Send one event, or a test; what came of it, not saved yet."""
        at, start = clock.now(), monotonic()
        answer, failure = None, ""
        try:
            answer = self.client.send(
                webhook.address,
                body,
                content.headers(message_id, at, body, secrets),
                seconds=REQUEST_SECONDS,
            )
        except OutboundError as error:
            failure = error.failure.value
        attempt = WebhookAttempt(
            webhook=webhook,
            event=event,
            message_id=message_id,
            at=at,
            milliseconds=round((monotonic() - start) * 1000),
            status=answer.status if answer else None,
            failure=failure,
        )
        return attempt, answer

    # ------------------------------------------------------------------------ what came of it
    def _is_time_to_write(self) -> bool:
        waited = monotonic() - self._written >= WRITE_EVERY_SECONDS
        return waited or len(self._attempts) >= WRITE_EVERY_EVENTS

    def _write(self, webhook: Webhook, position: int, **columns: object) -> bool:
        """Write what was sent so far. False where somebody changed the webhook meanwhile: then it
        is to be read again, and goes on from where it is."""
        attempts, self._attempts = self._attempts, []
        self._written = monotonic()
        succeeding = {"tries": 0, "failing_since": None} if webhook.tries else {}
        change = {**succeeding, "position": position, **columns}
        as_read = Webhook.objects.filter(
            pk=webhook.pk,
            position=webhook.position,
            address=webhook.address,
            stopped=webhook.stopped,
        )
        if not attempts and change == {"position": webhook.position}:
            return True
        with transaction.atomic():
            # What was accepted stays so, whatever else was changed: only a webhook that is gone, or
            # whose events were left out, has no place for it.
            ours = as_read.update(**change)
            if ours or Webhook.objects.filter(pk=webhook.pk).exists():
                WebhookAttempt.objects.bulk_create(attempts)
        for name, value in change.items():
            setattr(webhook, name, value)
        return bool(ours)

    def _failed(
        self, webhook: Webhook, position: int, attempt: WebhookAttempt, answer: Answer | None
    ) -> None:
        """Try again later; give up where its server wants no more, or has failed for days."""
        now = clock.now()
        if answer is not None and answer.status == 410:
            self._give_up(webhook, position, WebhookStop.GONE, now)
            return
        moved = position != webhook.position
        tries = 1 if moved else webhook.tries + 1
        since = now if moved or webhook.failing_since is None else webhook.failing_since
        asked_for = timedelta()
        if answer is not None:
            header = answer.headers.get("retry-after", "")
            asked_for = asked_to_wait(answer.status, header, now)
        wait = wait_after(tries, random.random(), asked_for)
        if wait is not None:
            self._write(webhook, position, tries=tries, failing_since=since, due_at=now + wait)
        else:
            failures = {"tries": tries, "failing_since": since}
            self._give_up(webhook, position, WebhookStop.PARKED, now, **failures)

    def _give_up(
        self, webhook: Webhook, position: int, why: WebhookStop, now: datetime, **columns: object
    ) -> None:
        with transaction.atomic():
            if self._write(webhook, position, stopped=why, stopped_at=now, **columns):
                _tell(webhook, why.value)

    def _stop(self, webhook: Webhook, why: WebhookStop) -> None:
        """Send nothing: not what was asked for either."""
        with transaction.atomic():
            webhook.attempts.waiting().delete()
            if not webhook.stopped:
                store(webhook, stopped=why, stopped_at=clock.now())
                _tell(webhook, why.value)


def _tell(webhook: Webhook, why: str) -> None:
    """Tell who made a webhook and the administrators, once, that nothing is sent there any more."""
    stopped = webhook.stopped_at or clock.now()
    writing.notify(
        [webhook.made_by.merged_into or webhook.made_by, *recipients.administrators()],
        "webhook-stopped",
        f"webhook:{webhook.pk}:{stopped.isoformat()}",
        room=webhook.room,
        facts=WebhookStopped(webhook=webhook.pk, name=webhook.name, why=why),
    )
