"""Sending notices: each is a row, claimed, sent once, and marked with when and as which message.

A filtered `update` claims rows with a token and a lease that outlasts the mail server's timeout
times the answers one message waits for, so nobody else sends what is in the air. What was rendered
at the first claim is what any later try sends, byte for byte. Only a crash or a lost answer
between the server's acceptance and our record can have a message sent again.
"""

import logging
import smtplib
import uuid
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta

from django.conf import settings
from django.core import mail
from django.db import transaction
from django.db.models import F, Q, QuerySet

from gearroom.core import clock
from gearroom.core.models.installation import current
from kits.models import Notice, NotificationPreferences
from kits.rules.notices.policy import WEEKLY, Unsent, When, quiet_until, wait_after
from kits.services.mail import composing, overdue, rendering
from kits.services.mail.digest import digest
from kits.services.mail.digest.digest_rotation import DigestStock
from kits.services.notices import (
    AddressRefused,
    bundling,
    kind_of,
    preferences,
    recipients,
    when_sent,
    writing,
)

log = logging.getLogger(__name__)

ANSWERS = 15
"""How many answers of a mail server one message may wait for, each at most EMAIL_TIMEOUT."""
BATCH = 25
"""How many notices are claimed and written together."""


def lease() -> timedelta:
    """How long a claim holds."""
    return timedelta(seconds=settings.EMAIL_TIMEOUT * ANSWERS)


def waiting(now: datetime) -> QuerySet[Notice]:
    """What is due, not sent, and in nobody's hands."""
    return Notice.objects.unsent().filter(
        Q(lease_until__isnull=True) | Q(lease_until__lte=now), due_at__lte=now, unsent_why=""
    )


def send_weekly(at: datetime | None = None) -> list[Notice]:
    """Write and send the weekly email that was due last at an instant (None: now), once a person
    and week: what `manage.py send_digests` does."""
    ids = digest.write(at or clock.now(), newcomers=True)
    sent = send(Notice.objects.filter(pk__in=ids), at=at)
    return list(Notice.objects.filter(pk__in=sent).order_by("pk"))


def send_due(limit: int = 500) -> int:
    """Send what is due, at most `limit` messages; how many were sent."""
    return len(send(None, limit=limit))


def send(
    among: QuerySet[Notice] | None, *, at: datetime | None = None, limit: int = 10_000
) -> list[int]:
    """Send what is due (among some notices), a batch at a time; the ids of what was sent.

    `at` is the instant a weekly email is written for; None: when it is written.
    """
    sent: list[int] = []
    stock = DigestStock()
    while len(sent) < limit:
        token = uuid.uuid4()
        if not (claimed := _claim(among, token)):
            break
        ready = bundling.mails(_sifted(claimed, token, by_hand=among is not None))
        written = _written(ready, token, at, stock)
        sent += [notice.pk for notice in written if _deliver(notice, token)]
    return sent


# ------------------------------------------------------------------------------------- claiming
def _claim(among: QuerySet[Notice] | None, token: uuid.UUID) -> list[Notice]:
    """Up to a batch of what is due, and what goes in one mail with that, in our hands from now
    on."""
    now = clock.now()
    due = waiting(now)
    if among is not None:
        due = due & among
    while ids := list(due.order_by("due_at", "pk").values_list("pk", flat=True)[:BATCH]):
        ours = {"lease": token, "lease_until": now + lease()}
        if waiting(now).filter(pk__in=ids).update(**ours):
            mine = Notice.objects.filter(lease=token)
            if among is None:
                more = bundling.others(list(mine.defer("rendered")), waiting(now))
                waiting(now).filter(pk__in=more).update(**ours)
            return list(
                mine.select_related(
                    "person__home_room", "room", "kit__home_room", "entry__person"
                ).order_by("due_at", "pk")
            )
    return []


def _let_go(rows: QuerySet[Notice], **change: object) -> int:
    return rows.update(lease=None, lease_until=None, **change)


def _sifted(claimed: Sequence[Notice], token: uuid.UUID, *, by_hand: bool) -> Iterator[Notice]:
    """Those that are to be sent now; the others are marked with why not, or with until when they
    wait: for quiet hours to end, or for more of their kind. What is sent by hand does not."""
    preferred = preferences.of_many(n.person for n in claimed)
    chosen = preferences.choices_of(preferred)
    now = clock.now()
    lately = bundling.Lately(claimed, now)
    passed = overdue.keep_what_lasts(n for n in claimed if n.rendered is None)
    for notice in claimed:
        how = preferred[notice.person_id]
        resend = bundling.is_resend(notice)
        why = _why_not(notice, how, chosen.get(notice.person_id, {}), resend)
        if why or notice.pk in passed:
            _not_sent(notice, token, why or Unsent.PASSED)
            continue
        may_wait = not resend and not by_hand and notice.tries == 0
        if may_wait and (later := _quiet(notice, how, now) or lately.put_off(notice)):
            _let_go(_mine(notice, token), due_at=later)
        else:
            yield notice


def _quiet(notice: Notice, how: NotificationPreferences, now: datetime) -> datetime | None:
    """When the quiet hours of now end, where a notice waits for that: not what is about a
    departure before then, nor a weekly email for quiet hours that nobody chose."""
    start, end = how.quiet_from, how.quiet_until
    if start is None and current().quiet_hours and notice.kind != WEEKLY:
        start, end = current().quiet_hours
    until = quiet_until(
        kind_of(notice.kind).policy, now, recipients.zone_of(notice.person), start, end
    )
    departs = notice.facts.get("departs_at")
    return None if until and departs and datetime.fromisoformat(departs) <= until else until


@transaction.atomic
def _not_sent(notice: Notice, token: uuid.UUID, why: Unsent, error: str = "") -> bool:
    """Mark a notice in our hands, and what goes with it, with why it is not sent; whether it was
    still ours."""
    change = {"unsent_why": str(why), "last_error": error[:300]}
    if not _let_go(_mine(notice, token), **change):
        return False
    bundling.held_by(notice).filter(unsent_why=Unsent.TOGETHER).update(**change)
    return True


def _why_not(
    notice: Notice, how: NotificationPreferences, chosen: dict[str, When], resend: bool
) -> Unsent | None:
    person, when = notice.person, when_sent(notice.kind, chosen)
    cases = (
        (person.left_on is not None, Unsent.LEFT),
        (not person.email, Unsent.NO_ADDRESS),
        (resend, None),
        (how.refused_address == person.email, Unsent.REFUSED),
        (when is When.NEVER, Unsent.CHOSEN),
        (when is When.WEEKLY and notice.kind != WEEKLY, Unsent.WEEKLY),
    )
    return next((why for applies, why in cases if applies), None)


def _mine(notice: Notice, token: uuid.UUID) -> QuerySet[Notice]:
    return Notice.objects.filter(pk=notice.pk, lease=token)


# -------------------------------------------------------------------------------------- writing
def _written(
    ready: Sequence[list[Notice]],
    token: uuid.UUID,
    at: datetime | None,
    stock: DigestStock,
) -> Iterable[Notice]:
    """The mails' notices with their bytes, which are kept with the row before anything is sent."""
    weeks = [lead for lead, *_ in ready if lead.kind == WEEKLY and lead.rendered is None]
    try:
        written = composing.write(weeks, at=at, stock=stock)
    except Exception:  # one letter that cannot be written must not keep back the others
        log.exception("A batch of weekly emails could not be written together")
        written = {}
    for lead, *rest in ready:
        if lead.rendered is None:
            try:
                _keep(lead, rest, written.get(lead.pk), token, at)
            except Exception as error:  # kept and tried again, and the others go on
                log.exception("Notification %s could not be written", lead.pk)
                if rest:
                    yield from _written([[n] for n in (lead, *rest)], token, at, stock)
                else:
                    _postpone(lead, token, f"{type(error).__name__}: {error}")
                continue
        yield lead


@transaction.atomic
def _keep(
    notice: Notice,
    rest: Sequence[Notice],
    letter: composing.Written | None,
    token: uuid.UUID,
    at: datetime | None,
) -> None:
    with_it = bundling.join(rest, token)
    letter = letter or composing.write([notice], with_it=with_it, at=at)[notice.pk]
    notice.message_id = f"<notice-{notice.pk}.{uuid.uuid4().hex}@{rendering.domain()}>"
    notice.recipient = notice.person.email
    notice.rendered = rendering.render(
        letter.letter,
        person=notice.person,
        message_id=notice.message_id,
        at=clock.now(),
        attachments=letter.attachments,
    )
    notice.facts = {**notice.facts, **letter.facts}
    _mine(notice, token).update(
        message_id=notice.message_id,
        recipient=notice.recipient,
        rendered=notice.rendered,
        facts=notice.facts,
    )


# ------------------------------------------------------------------------------------ delivering
def _deliver(notice: Notice, token: uuid.UUID) -> bool:
    """Try to send a written notice, unless somebody else has it by now; whether it was sent."""
    now = clock.now()
    ours = _mine(notice, token).filter(lease_until__gt=now, taken_back_at__isnull=True)
    if not ours.update(lease_until=now + lease(), tries=F("tries") + 1):
        return False
    notice.tries += 1
    message = rendering.RenderedMessage(bytes(notice.rendered or b""), notice.recipient)
    try:
        with mail.get_connection() as connection:
            connection.send_messages([message])
    except smtplib.SMTPRecipientsRefused as error:
        code, answer = next(iter(error.recipients.values()))
        _not_taken(notice, token, code, answer, address=notice.recipient)
    except smtplib.SMTPDataError as error:
        _not_taken(notice, token, error.smtp_code, error.smtp_error, address="")
    except (smtplib.SMTPException, OSError) as error:
        _postpone(notice, token, f"{type(error).__name__}: {error}")
    else:
        with transaction.atomic():
            at = clock.now()
            if not _let_go(_mine(notice, token), sent_at=at, last_error=""):
                log.warning(
                    "Notification %s was sent, but another worker had taken it over", notice.pk
                )
            bundling.held_by(notice).update(sent_at=at, message_id=notice.message_id)
        return True
    return False


def _not_taken(
    notice: Notice, token: uuid.UUID, code: int, answer: bytes | str, *, address: str
) -> None:
    """A mail server took it not: for good, or not now."""
    text = answer.decode("utf-8", "replace") if isinstance(answer, bytes) else answer
    why = f"{code} {' '.join(text.split())}"
    if code >= 500:
        _refuse(notice, token, why, address=address)
    else:
        _postpone(notice, token, why)


def _postpone(notice: Notice, token: uuid.UUID, why: str) -> None:
    """Try again later: minutes at first, a day at most, for ever."""
    _let_go(
        _mine(notice, token),
        due_at=clock.now() + wait_after(max(notice.tries, 1)),
        last_error=why[:300],
    )


@transaction.atomic
def _refuse(notice: Notice, token: uuid.UUID, why: str, *, address: str) -> None:
    """Refused for good: on record with the person, and their keepers are told."""
    person = notice.person
    if not _not_sent(notice, token, Unsent.REFUSED, why):
        return
    NotificationPreferences.objects.update_or_create(
        person=person,
        defaults={
            "refused_address": address,
            "refused_at": clock.now(),
            "refused_why": why[:300],
        },
    )
    room = person.home_room
    keepers = recipients.keepers_of(room) if room else recipients.administrators()
    writing.notify(
        [keeper for keeper in keepers if keeper.pk != person.pk],
        "address-refused",
        f"address:{person.pk}:{notice.recipient}"[:160],
        room=room,
        facts=AddressRefused(
            person_id=person.pk,
            person=person.name,
            phone=person.phone,
            address=notice.recipient,
            said=why[:300],
        ),
    )
