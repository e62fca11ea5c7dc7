"""Tables of the plumbing: people, rooms, roles, tokens, kept answers."""

from gearroom.core.models.access import Device, KeptAnswer, PasswordReset, SignedIn, Token
from gearroom.core.models.names import PersonalText, RedactedRow, Redaction
from gearroom.core.models.people import Membership, Person, Room, User

__all__ = [
    "Device",
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
    "User",
]
