"""Mails about sign-ins, sent by the worker: the link to a new password, asked for on a page; and
that a sign-in or an address was changed, to the address from before: whoever did it without leave
does not get it instead of them.

They are no notices: those go to the address that somebody has now, and whoever keeps the room may
read them, while a link is for one person alone. So it is made when it is sent and kept nowhere.
"""

import logging
import smtplib
import uuid
from collections.abc import Callable
from copy import copy
from datetime import timedelta
from functools import partial
from typing import Any

from django.core import mail
from django.db.models import QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _, override

from gearroom.core import clock
from gearroom.core.models import AccountChange, PasswordReset, Person
from gearroom.core.models.installation import current
from gearroom.core.services.accounts import sign_ins
from kits.rules.mail.plain_text import Letter, LetterRow
from kits.services.mail import rendering
from kits.services.text.wording import moment

log = logging.getLogger(__name__)

TRIED_FOR = timedelta(days=7)
"""How long a mail of a change is tried again that the mail server does not take."""


def send_changes() -> int:
    """Send what was not sent yet of changes, and forget the address; how many were sent."""
    since = clock.now() - TRIED_FOR
    AccountChange.objects.filter(sent_at=None, at__lt=since).update(sent_at=since, address="")
    waiting = AccountChange.objects.select_related("person__home_room", "by")

    def send_one(change: AccountChange) -> bool | None:
        there = copy(change.person)
        there.email = change.address
        return send(there, partial(_change_letter, change))

    return _send_waiting(waiting, send_one, {"address": ""})


def send_resets() -> int:
    """Send the links that were asked for and are not sent yet; how many were sent. What the mail
    server did not take is tried with the next sweep, until the hour of asking is over; what cannot
    be written (an address that no mail can have) is not tried again."""
    waiting = PasswordReset.objects.filter(asked_at__gte=clock.now() - sign_ins.LINK_LASTS)
    return _send_waiting(
        waiting.select_related("user__person"),
        lambda reset: send(reset.user.person, partial(_reset_letter, reset)),
        {},
    )


def _send_waiting(
    waiting: QuerySet[Any], send_one: Callable[[Any], bool | None], afterwards: dict[str, Any]
) -> int:
    """Send a mail for each row that has none yet; `afterwards` is written into what was sent or
    cannot be."""
    sent = 0
    for row in waiting.filter(sent_at=None).order_by("pk")[:100]:
        claim = waiting.model._default_manager.filter(pk=row.pk)
        if not claim.filter(sent_at=None).update(sent_at=clock.now()):
            continue  # another worker has it
        taken = send_one(row)
        if changes := {"sent_at": None} if taken is False else afterwards:
            claim.update(**changes)
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
        log.warning("An email about a login was not sent: %s", error)
        return False
    except Exception:
        log.exception("An email about a login could not be written: person %s", person.pk)
        return None
    return True


def _change_letter(change: AccountChange) -> Letter:
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
    by = (
        _("You made this change yourself on %(when)s.")
        if own
        else _("Changed by %(who)s on %(when)s.")
    )
    return Letter(
        subject=_("Your login for %(organisation)s")
        % {"organisation": current().organisation or _("the gear room")},
        first=(LetterRow(texts[AccountChange.Kind(change.kind)], lines=(by % facts,)),),
        closing=(
            _(
                "If this is not right, tell an administrator immediately: they can set a new "
                "password."
            ),
        ),
    )


def _reset_letter(reset: PasswordReset) -> Letter:
    uid, token = sign_ins.link_of(reset.user)
    link = reset.base + reverse("new-password", args=[uid, token])
    text = _("%(name)s, use this link to choose a new password. Your username is %(username)s.") % {
        "name": reset.user.person.name,
        "username": reset.user.username,
    }
    return Letter(
        subject=_("A new password for %(organisation)s")
        % {"organisation": current().organisation or _("the gear room")},
        first=(LetterRow(text, link),),
        closing=(
            _("The link can be used once and is valid for one hour. If you did not ask for it, "
              "you do not need to do anything: your password stays the same."),
        ),
    )  # fmt: skip
