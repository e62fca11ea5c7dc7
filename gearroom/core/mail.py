"""Mail as files: a folder that each message is put into, whole, as a mail server would get it."""

import email
import itertools
import os
import uuid
from collections.abc import Sequence
from datetime import UTC
from email.policy import default
from pathlib import Path

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

from gearroom.core import clock
from gearroom.core.rules.names import Known, Names

_order = itertools.count()


class EmlBackend(BaseEmailBackend):
    """Django's mail backend that writes each message as one `.eml` file.

    Files are in settings.EMAIL_OUTBOX_DIR, named YYYYMMDDTHHMMSS.ffffffZ-…, so that their names
    sort by the time of sending. A file is the exact bytes of the message (RFC 5322, CRLF), appears
    whole by a rename, and is on the disk when `send_messages` returns. Recipients that the headers
    do not name (Bcc) are in none of them, as in a mail that arrived.
    """

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        """Write the messages; how many were written. Raises OSError unless `fail_silently`."""
        written = 0
        for message in email_messages:
            if not message.recipients():
                continue
            try:
                write(Path(settings.EMAIL_OUTBOX_DIR), message)
            except OSError:
                if not self.fail_silently:
                    raise
            else:
                written += 1
        return written


def write(folder: Path, message: EmailMessage) -> Path:
    """Put one message into the folder; the path of its file."""
    content = message.message().as_bytes(linesep="\r\n")  # type: ignore[call-arg]  # newer types
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    now = clock.now().astimezone(UTC)
    name = f"{now:%Y%m%dT%H%M%S.%fZ}-{next(_order):06d}-{uuid.uuid4().hex[:12]}"
    path, draft = folder / f"{name}.eml", folder / f".{name}.draft"
    try:
        with draft.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        draft.rename(path)
    except OSError:
        draft.unlink(missing_ok=True)
        raise
    _sync(folder)
    return path


def mentions(content: bytes, names: Names) -> bool:
    """Whether a message (RFC 5322) names or goes to somebody."""
    message = email.message_from_bytes(content, policy=default)
    texts = [str(value) for _name, value in message.items()]
    texts += [
        str(part.get_content()) for part in message.walk() if part.get_content_maintype() == "text"
    ]
    return any(isinstance(each, Known) for text in texts for each in names.split(text))


def forget(names: Names) -> int:
    """Remove the messages in the folder that name or went to somebody; how many."""
    gone = 0
    for path in Path(settings.EMAIL_OUTBOX_DIR).glob("*.eml"):
        if mentions(path.read_bytes(), names):
            path.unlink(missing_ok=True)
            gone += 1
    return gone


def _sync(folder: Path) -> None:
    """Have the rename itself on the disk."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
