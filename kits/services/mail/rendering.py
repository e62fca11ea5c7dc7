"""Letters as the exact bytes of a message (RFC 5322, MIME), rendered once and kept."""

import email
from datetime import datetime
from email.headerregistry import Address
from email.message import EmailMessage, Message
from email.policy import SMTP
from email.utils import format_datetime, parseaddr
from typing import Any
from urllib.parse import urlsplit

from django.core import mail
from django.template.loader import render_to_string
from django.utils.encoding import punycode
from django.utils.translation import override

from gearroom.core.models import Person
from gearroom.core.models.installation import current
from kits.rules.mail.plain_text import Letter, as_text, one_line
from kits.services.notices.notice_text import page

Attachment = tuple[str, bytes]
"""A PDF: the file's name, and its bytes."""


def domain() -> str:
    """The domain that Message-IDs are under: the public address's host, else the sender's."""
    host = urlsplit(current().public_url).hostname if current().public_url else None
    return punycode(host or parseaddr(current().mail_from)[1].rpartition("@")[2])


def envelope(address: str) -> str:
    """An address as SMTP takes it: an international domain in ASCII (RFC 5891)."""
    local, _, host = address.rpartition("@")
    return f"{local}@{punycode(host)}"


def html(letter: Letter, language: str = "en-gb") -> str:
    """The letter as one HTML page without anything to load."""
    with override(language):
        return render_to_string("kits/mail/letter.html", {"letter": letter, "language": language})


def render(
    letter: Letter,
    *,
    person: Person,
    message_id: str,
    at: datetime,
    attachments: tuple[Attachment, ...] = (),
) -> bytes:
    """The whole message to a person, as it is sent however often."""
    message = EmailMessage(policy=SMTP)
    name, sender = parseaddr(current().mail_from)
    unsubscribe = page("/notices/settings/") or f"mailto:{envelope(sender)}?subject=unsubscribe"
    for header, value in {
        "From": Address(one_line(name), addr_spec=envelope(sender)),
        "To": Address(one_line(person.name), addr_spec=envelope(person.email)),
        "Subject": one_line(letter.subject),
        "Date": format_datetime(at),
        "Message-ID": message_id,
        "Auto-Submitted": "auto-generated",
        "List-Unsubscribe": f"<{unsubscribe}>",
    }.items():
        message[header] = value
    message.set_content(as_text(letter), cte="quoted-printable")
    message.add_alternative(html(letter, person.reads), subtype="html", cte="quoted-printable")
    for filename, content in attachments:
        message.add_attachment(content, maintype="application", subtype="pdf", filename=filename)
    return message.as_bytes()


class RenderedMessage(mail.EmailMessage):
    """A message rendered before, for Django's mail backends: sent byte for byte."""

    def __init__(self, content: bytes, recipient: str) -> None:
        super().__init__(to=[envelope(recipient)], from_email=parseaddr(current().mail_from)[1])
        self.content = content

    def message(self, **_: Any) -> Any:
        """The message; as bytes exactly what was rendered."""
        message = email.message_from_bytes(self.content, _class=_RawMessage)
        message.content = self.content
        return message


class _RawMessage(Message):
    content = b""

    def as_bytes(self, *_: Any, **__: Any) -> bytes:
        return self.content
