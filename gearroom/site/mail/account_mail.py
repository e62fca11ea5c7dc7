"""The mail that says that a sign-in or an address was changed, to the address from before: whoever
did it without leave does not get it instead of them.

It is no notice, as those go to the address that somebody has now. It is sent by the worker.
"""

import logging
import smtplib
import uuid
from collections.abc import Callable
from copy import copy
from datetime import timedelta
from functools import partial

from django.conf import settings
from django.core import mail
from django.utils.translation import gettext as _, override

from gearroom.core import clock
from gearroom.core.models import AccountChange, Person
from kits.rules.mail.plain_text import Letter, LetterRow
from kits.services.mail import rendering
from kits.services.text.wording import moment

log = logging.getLogger(__name__)

TRIED_FOR = timedelta(days=7)
"""How long a mail is tried again that the mail server does not take."""


def send_waiting() -> int:
    """Send what was not sent yet, and forget the address; how many were sent."""
    sent = 0
    since = clock.now() - TRIED_FOR
    AccountChange.objects.filter(sent_at=None, at__lt=since).update(sent_at=since, address="")
    waiting = AccountChange.objects.filter(sent_at=None).select_related("person__home_room", "by")
    for change in waiting.order_by("pk")[:100]:
        row = AccountChange.objects.filter(pk=change.pk)
        if not row.filter(sent_at=None).update(sent_at=clock.now()):
            continue  # another worker has it
        taken = send(_at(change.address, change.person), partial(_letter, change))
        row.update(**({"sent_at": None} if taken is False else {"address": ""}))
        sent += taken is True
    return sent


def send(person: Person, letter: Callable[[], Letter]) -> bool | None:
    """Send somebody a letter, made in the language that they read; whether the mail server took it,
    None where it cannot be written at all (an address that no mail can have): trying again is no
    use, and the mails after it are not kept back."""
    try:
        with override(person.reads):
            content = rendering.render(
                letter(),
                person=person,
                message_id=f"<account-{uuid.uuid4().hex}@{rendering.domain()}>",
                at=clock.now(),
            )
        with mail.get_connection() as connection:
            connection.send_messages([rendering.RenderedMessage(content, person.email)])
    except (smtplib.SMTPException, OSError) as error:
        log.warning("A mail about a sign-in was not sent: %s", error)
        return False
    except Exception:
        log.exception("A mail about a sign-in cannot be written: person %s", person.pk)
        return None
    return True


def _at(address: str, person: Person) -> Person:
    """Somebody at another address."""
    there = copy(person)
    there.email = address
    return there


def _letter(change: AccountChange) -> Letter:
    own = change.by_id == change.person_id
    person = change.person
    facts = {
        "when": moment(change.at, person.home_room.time_zone if person.home_room else "UTC"),
        "who": change.by.name if change.by else _("the person who runs the program"),
    }
    texts = {
        AccountChange.Kind.ADDRESS: _("Emails to you now go to another address."),
        AccountChange.Kind.PASSWORD: _("Your password has been changed."),
        AccountChange.Kind.PIN: _("Your PIN for shared devices has been changed."),
        AccountChange.Kind.SIGN_IN: _("You now have a login."),
    }
    by = _("You changed it yourself on %(when)s.") if own else _("Changed by %(who)s on %(when)s.")
    return Letter(
        subject=_("Your login for %(organisation)s")
        % {"organisation": settings.ORGANISATION or _("the gear room")},
        first=(LetterRow(texts[AccountChange.Kind(change.kind)], lines=(by % facts,)),),
        closing=(
            _(
                "If this is not right, tell an administrator immediately: they can set a new "
                "password."
            ),
        ),
    )
