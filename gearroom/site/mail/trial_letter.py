"""A letter that tries the mail server: sent at once, and what happened to it, in a sentence."""

import logging
import smtplib
import socket
import ssl
import uuid
from collections.abc import Callable
from dataclasses import dataclass

from django.conf import settings
from django.core import mail
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Invalid, printable
from gearroom.core.mail import EmlBackend
from gearroom.core.models import Person
from gearroom.core.models.installation import current
from gearroom.core.services.people.people import require_deliverable
from kits.rules.mail.plain_text import Letter, LetterRow
from kits.services.mail import rendering

log = logging.getLogger(__name__)
_MOST_REPLY = 200


@dataclass(frozen=True)
class Result:
    """What happened to the letter; `sent`: the mail server took it."""

    sent: bool
    text: str


def send(to: str, person: Person | None) -> Result:
    """Send a test email to an address. Raises Invalid for one that no mail can have."""
    require_deliverable(to)
    recipient = Person(name=person.name if person else "Gearroom", email=to)
    try:
        content = rendering.render(
            _letter(),
            person=recipient,
            message_id=f"<trial-{uuid.uuid4().hex}@{rendering.domain()}>",
            at=clock.now(),
        )
    except Exception:
        log.exception("The test email could not be written")
        raise Invalid(
            _("No email can be sent to this address. Check the address."), field="to"
        ) from None
    try:
        with mail.get_connection() as connection:
            connection.send_messages([rendering.RenderedMessage(content, to)])
    except (smtplib.SMTPException, OSError) as error:
        return Result(False, _why(error))
    if isinstance(connection, EmlBackend):
        return Result(
            False,
            _("No mail server is set, so the test email was saved as a file in %(folder)s. It was "
              "not sent.") % {"folder": settings.EMAIL_OUTBOX_DIR},
        )  # fmt: skip
    return Result(
        True,
        _("The mail server has accepted the test email to %(address)s. Check whether it has "
          "arrived, also in the spam folder.") % {"address": to},
    )  # fmt: skip


def _letter() -> Letter:
    whose = current().organisation or "Gearroom"
    return Letter(
        subject=_("Emails from %(organisation)s arrive") % {"organisation": whose},
        first=(
            LetterRow(
                _(
                    "This email was sent to test the mail server. If you are reading it, the mail "
                    "server works."
                )
            ),
        ),
        closing=(),
    )


_REASONS: tuple[tuple[type[Exception], Callable[[], str]], ...] = (
    (
        smtplib.SMTPAuthenticationError,
        lambda: _("The mail server does not accept the username and password."),
    ),
    (
        smtplib.SMTPNotSupportedError,
        lambda: _("The mail server does not offer this protection, or does not offer a login "
                  "with it. Choose another protection."),
    ),
    (
        smtplib.SMTPSenderRefused,
        lambda: _("The mail server does not accept emails from this sender."),
    ),
    (
        smtplib.SMTPRecipientsRefused,
        lambda: _("The mail server does not accept emails to this address."),
    ),
    (
        smtplib.SMTPServerDisconnected,
        lambda: _("The mail server closed the connection. Check the port and the protection."),
    ),
    (socket.gaierror, lambda: _("There is no mail server with this name. Check the name.")),
    (
        ConnectionRefusedError,
        lambda: _("No mail server answers under this name and port. Check both."),
    ),
    (
        TimeoutError,
        lambda: _("The mail server did not answer in time. Check its name and port, and whether "
                  "this network lets email out."),
    ),
    (
        ssl.SSLCertVerificationError,
        lambda: _("The mail server’s certificate is not for this name. Check the name."),
    ),
    (
        ssl.SSLError,
        lambda: _("The mail server does not offer this protection on this port. Choose another "
                  "protection or port."),
    ),
)  # fmt: skip


def _why(error: Exception) -> str:
    text = next(
        (reason() for kind, reason in _REASONS if isinstance(error, kind)),
        _("The test email could not be sent."),
    )
    reply = _reply(error)
    return (
        f"{text} {_('The mail server answered: %(reply)s') % {'reply': reply}}" if reply else text
    )


def _reply(error: Exception) -> str:
    """What the server said, as one line."""
    answer: bytes | str
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, answer = next(iter(error.recipients.values()), (0, b""))
    elif isinstance(error, smtplib.SMTPResponseException):
        code, answer = error.smtp_code, error.smtp_error
    else:
        return ""
    line = answer.decode("utf-8", "replace") if isinstance(answer, bytes) else str(answer)
    return printable(f"{code} {' '.join(line.split())}"[:_MOST_REPLY])
