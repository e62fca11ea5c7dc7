"""What an installation is called, where it is reached and how it sends mail: one row, written on
the settings pages, and what of it holds now (`current`): the environment wins over the row.

The row is read once a process, and again once it was changed: whoever changes it touches a file in
the data folder, which every process on the machine looks at; other machines look again after
`LOOK_AGAIN_SECONDS`.
"""

from dataclasses import dataclass
from datetime import time
from pathlib import Path
from time import monotonic

from django.conf import settings
from django.db import Error, models
from django.db.models import Q

from gearroom.core.models.append_only import InOrder, append_only
from gearroom.core.models.people import Person, valid_time_zone

LOOK_AGAIN_SECONDS = 30.0
KEPT_MAIL_SERVER = "gearroom.core.services.installation.mail_server.backend"
"""The mail backend while the environment names no mail server."""


class Security(models.TextChoices):
    """How a connection to a mail server is protected: from its start (RFC 8314), by STARTTLS
    (RFC 3207), or not at all."""

    TLS = "tls"
    STARTTLS = "starttls"
    NONE = "none"


class Installation(models.Model):
    """The installation: one row, or none while nobody ever set anything. The password is encrypted
    under SECRET_KEY. `reached_at` is when a phone reached `public_url`."""

    organisation = models.CharField(max_length=80, blank=True)
    time_zone = models.CharField(
        max_length=64, default="Europe/London", validators=[valid_time_zone]
    )
    language = models.CharField(max_length=10, blank=True)
    public_url = models.CharField(max_length=200, blank=True)
    reached_at = models.DateTimeField(null=True, blank=True)
    mail_from = models.CharField(max_length=200, blank=True)
    mail_host = models.CharField(max_length=200, blank=True)
    mail_port = models.PositiveIntegerField(default=587)
    mail_security = models.CharField(
        max_length=10, choices=Security.choices, default=Security.STARTTLS
    )
    mail_user = models.CharField(max_length=200, blank=True)
    mail_password = models.TextField(blank=True)
    quiet_from = models.TimeField(null=True, blank=True, default=time(22))
    quiet_until = models.TimeField(null=True, blank=True, default=time(7))

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="installation_once"),
            models.CheckConstraint(
                condition=Q(quiet_from__isnull=True, quiet_until__isnull=True)
                | Q(quiet_from__isnull=False, quiet_until__isnull=False),
                name="installation_quiet_hours_whole",
            ),
        ]


@append_only
class InstallationChange(InOrder):
    """That somebody changed settings of the installation: which (`fields`), not what to."""

    person = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    fields = models.JSONField()


@dataclass(frozen=True)
class CurrentSettings:
    """The settings that hold now; `quiet_hours` are from and until, or nothing."""

    organisation: str
    time_zone: str
    language: str
    public_url: str
    mail_from: str
    quiet_hours: tuple[time, ...]


def current() -> CurrentSettings:
    """The settings that hold now: each from the environment where it is set there."""
    row = _row()
    both = (row.quiet_from, row.quiet_until)
    kept = tuple(each for each in both if each is not None)
    return CurrentSettings(
        organisation=settings.ORGANISATION or row.organisation,
        time_zone=row.time_zone,
        language=settings.LANGUAGE or row.language or settings.LANGUAGE_CODE,
        public_url=settings.PUBLIC_URL or row.public_url,
        mail_from=settings.MAIL_FROM or row.mail_from or settings.DEFAULT_FROM_EMAIL,
        quiet_hours=kept if settings.QUIET_HOURS is None else settings.QUIET_HOURS,
    )


def from_environment() -> dict[str, str]:
    """The fields that the environment sets, each with the name of its variable."""
    given = {
        "organisation": ("GEARROOM_ORGANISATION", settings.ORGANISATION),
        "language": ("GEARROOM_LANGUAGE", settings.LANGUAGE),
        "public_url": ("GEARROOM_PUBLIC_URL", settings.PUBLIC_URL),
        "mail_from": ("GEARROOM_MAIL_FROM", settings.MAIL_FROM),
        "mail_host": ("EMAIL_URL", settings.EMAIL_BACKEND != KEPT_MAIL_SERVER),
        "quiet_hours": ("GEARROOM_QUIET_HOURS", settings.QUIET_HOURS is not None),
    }
    return {field: variable for field, (variable, value) in given.items() if value}


# ------------------------------------------------------------------------------- one row a process
@dataclass(frozen=True)
class _Reading:
    row: Installation
    stamp: int
    until: float


_reading: _Reading | None = None


def _row() -> Installation:
    """The row as it was read; without a database the one from before, or defaults."""
    global _reading
    stamp, now = _stamp(), monotonic()
    if _reading is None or _reading.stamp != stamp or now > _reading.until:
        try:
            row = Installation.objects.first() or Installation()
        except Error:
            return _reading.row if _reading else Installation()
        _reading = _Reading(row, stamp, now + LOOK_AGAIN_SECONDS)
    return _reading.row


def remember(row: Installation) -> None:
    """Have this process go on with a row, without reading it."""
    global _reading
    _reading = _Reading(row, _stamp(), monotonic() + LOOK_AGAIN_SECONDS)


def announce() -> None:
    """Have every process on this machine read the row again."""
    _file().touch()


def _file() -> Path:
    return Path(settings.DATA_DIR) / "settings-changed"


def _stamp() -> int:
    try:
        return _file().stat().st_mtime_ns
    except OSError:
        return 0
