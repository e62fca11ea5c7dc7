"""Tables of the plumbing: people, rooms, roles, tokens, kept answers."""

from gearroom.core.models.access import (
    AccountChange,
    Device,
    KeptAnswer,
    PasswordReset,
    SignedIn,
    Token,
    TryCount,
)
from gearroom.core.models.installation import Installation, InstallationChange
from gearroom.core.models.names import PersonalText, RedactedRow, Redaction
from gearroom.core.models.people import Membership, Person, Room, User

__all__ = [
    "AccountChange",
    "Device",
    "Installation",
    "InstallationChange",
    "KeptAnswer",
    "Membership",
    "PasswordReset",
    "Person",
    "PersonalText",
    "RedactedRow",
    "Redaction",
    "Room",
    "SignedIn",
    "Token",
    "TryCount",
    "User",
]
