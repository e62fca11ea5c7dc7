"""Tables of the plumbing: people, rooms, roles, tokens, kept answers."""

from gearroom.core.models.access import KeptAnswer, Token
from gearroom.core.models.people import Membership, Person, Room, User

__all__ = ["KeptAnswer", "Membership", "Person", "Room", "Token", "User"]
