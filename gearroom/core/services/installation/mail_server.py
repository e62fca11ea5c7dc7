"""The mail server of the settings page: how its password is kept, and Django's way to it."""

import base64
import hashlib
from typing import Any

from cryptography.fernet import Fernet, InvalidToken
from django.conf import settings
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.backends.smtp import EmailBackend

from gearroom.core.mail import EmlBackend
from gearroom.core.models import Installation
from gearroom.core.models.installation import Security


def backend(**options: Any) -> BaseEmailBackend:
    """Django's mail backend of the server that is set; files in the data folder while none is."""
    row = Installation.objects.first()
    if row is None or not row.mail_host:
        return EmlBackend(**options)
    return EmailBackend(
        host=row.mail_host,
        port=row.mail_port,
        username=row.mail_user,
        password=decrypted(row.mail_password),
        use_tls=row.mail_security == Security.STARTTLS,
        use_ssl=row.mail_security == Security.TLS,
        timeout=settings.EMAIL_TIMEOUT,
        **options,
    )


def encrypted(password: str) -> str:
    """A password as it is kept: whoever has the database alone cannot read it."""
    return _cipher().encrypt(password.encode()).decode() if password else ""


def decrypted(kept: str) -> str:
    """The password; empty where SECRET_KEY is another now, so that it has to be entered again."""
    try:
        return _cipher().decrypt(kept.encode()).decode() if kept else ""
    except InvalidToken:
        return ""


def _cipher() -> Fernet:
    key = hashlib.sha256(b"mail password" + settings.SECRET_KEY.encode()).digest()
    return Fernet(base64.urlsafe_b64encode(key))
