"""The mail server of the settings page: how its password is kept, and Django's way to it."""

from typing import Any

from django.conf import settings
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.backends.smtp import EmailBackend

from gearroom.core.mail import EmlBackend
from gearroom.core.models import Installation
from gearroom.core.models.installation import Security
from gearroom.core.services.installation import encryption

_PURPOSE = "mail password"


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
    """A password as it is kept."""
    return encryption.encrypted(password, _PURPOSE)


def decrypted(kept: str) -> str:
    """The password; empty where it has to be entered again."""
    return encryption.decrypted(kept, _PURPOSE)
