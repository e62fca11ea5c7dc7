"""People with a sign-in, and the words that mark what is their room's alone."""

from dataclasses import dataclass
from itertools import count

from django.utils import timezone

from gearroom.core.models import Membership, Person, Room, SignedIn, Token, User
from gearroom.core.rules.roles import Role, Scope
from gearroom.core.services.accounts import tokens
from kits.services.notices import preferences
from tests.kits import factories as make

MARKS = {"main-store": ("vexmoor", "7701177"), "cave-hut": ("quillby", "8802288")}
"""By room, what only its own people may read."""
PASSWORD = "a long enough pass phrase"
PIN = "2580"

_numbers = count(10)


@dataclass
class Account:
    """Somebody with a sign-in: themselves, a token of theirs, a browser that they are signed in
    on, and the secret of their calendar's address."""

    person: Person
    token: Token
    signed_in: SignedIn
    calendar: str

    @property
    def user(self) -> User:
        """Their sign-in."""
        assert self.person.user is not None
        return self.person.user


def account(
    name: str, word: str, digits: str, role: Role | None = None, room: Room | None = None
) -> Account:
    """Somebody with a role in a room, or everywhere; their name, address and telephone bear the
    word and the digits."""
    number = next(_numbers)
    user = User.objects.create_user(f"{name}-{word}-{number}".lower(), password=PASSWORD)
    Person.objects.filter(pk=user.person.pk).update(
        name=f"{name} {word.capitalize()}",
        phone=f"0{digits}{number}",
        email=f"{name}.{number}@{word}.example".lower(),
        home_room=room,
    )
    if role is not None:
        Membership.objects.create(person=user.person, role=role.value, room=room)
    person = Person.objects.select_related("user").get(pk=user.person.pk)
    token, _secret = tokens.make(user=user, name=f"{word} program", scopes=[Scope.READ])
    seen = SignedIn.objects.create(
        user=user, session_key=f"elsewhere-{number}", on="phone",
        since=timezone.now(), seen_at=timezone.now(),
    )  # fmt: skip
    calendar = preferences.new_calendar(make.act(person), person)
    return Account(person, token, seen, calendar)


def people_of(room: Room, word: str, digits: str) -> dict[str, Account]:
    """Somebody in each role of a room, and a mate who is a guide too."""
    roles = {
        "guide": Role.GUIDE,
        "instructor": Role.INSTRUCTOR,
        "keeper": Role.KEEPER,
        "administrator": Role.ADMINISTRATOR,
        "mate": Role.GUIDE,
    }
    return {name: account(name, word, digits, role, room) for name, role in roles.items()}
