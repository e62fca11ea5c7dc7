"""Who acts, and one act as a door received it. Services take these; they never see a request."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.models import Membership, Person, Room, User
from gearroom.core.problems import NotAllowed
from gearroom.core.role_names import ROLE_NAMES
from gearroom.core.rules.roles import ANYONE, HATCH, USE_CASES, Right, Role, Scope, Sure


@dataclass(frozen=True)
class Actor:
    """Who acts: a person with roles by room (None: everywhere) and, by token, a set of scopes.

    `person` None is the program itself (a scheduled task), which may do everything. `sure` is how
    sure a shared device is of them; None on a device of their own.
    """

    person: Person | None
    roles: Mapping[int | None, frozenset[Role]] = field(default_factory=dict)
    scopes: frozenset[Scope] | None = None
    user: User | None = None
    sure: Sure | None = None

    @property
    def everywhere(self) -> bool:
        """Whether every room is theirs."""
        return self.person is None or None in self.roles

    @property
    def room_ids(self) -> frozenset[int]:
        """The rooms they belong to by name (see `everywhere`)."""
        return frozenset(r for r in self.roles if r is not None)

    def belongs_to(self, room_id: int | None) -> bool:
        """Whether a room is one of theirs."""
        return self.everywhere or room_id in self.roles

    def may(self, use_case: str, room_id: int | None = None) -> bool:
        """Whether they may do a use case in a room (None: something of the whole organisation,
        for which a role in any room counts)."""
        right = USE_CASES[use_case]
        if self.person is None:
            return True
        if self.scopes is not None and right.scope not in self.scopes:
            return False
        if self.sure is not None and (use_case not in HATCH or self.sure < HATCH[use_case]):
            return False
        return self._has_role_for(right, room_id)

    def could(self, use_case: str, room_id: int | None = None) -> bool:
        """Whether they may, or may as soon as a shared device is surer of them: what it offers."""
        if self.sure is None or self.may(use_case, room_id):
            return self.may(use_case, room_id)
        if use_case not in HATCH:
            return False
        return self.sure is Sure.NOBODY or self._has_role_for(USE_CASES[use_case], room_id)

    def require(self, use_case: str, room_id: int | None = None) -> None:
        """Raise NotAllowed unless `may`."""
        if self.may(use_case, room_id):
            return
        right = USE_CASES[use_case]
        if self.sure is not None:
            self._require_sure(self.sure, use_case, room_id)
        if self.scopes is not None and right.scope not in self.scopes:
            raise NotAllowed(
                "scope-missing",
                _("This token lacks the scope “%(scope)s”. Make one that has it.")
                % {"scope": right.scope},
                scope=str(right.scope),
            )
        who = ", ".join(str(ROLE_NAMES[role]) for role in sorted(right.roles))
        raise NotAllowed(
            "role-missing",
            _("This needs one of these roles here: %(roles)s. Ask a keeper of the room.")
            % {"roles": who},
            roles=sorted(right.roles),
        )

    def _has_role_for(self, right: Right, room_id: int | None) -> bool:
        if right.roles is ANYONE:
            return True
        held = (
            frozenset().union(*self.roles.values())
            if room_id is None
            else self.roles.get(room_id, frozenset()) | self.roles.get(None, frozenset())
        )
        return bool(held & right.roles)

    def _require_sure(self, sure: Sure, use_case: str, room_id: int | None) -> None:
        needed = HATCH.get(use_case)
        if needed is None:
            raise NotAllowed(
                "not-at-the-hatch",
                _("This is not done at a shared device. Sign in on a device of your own."),
            )
        if sure >= needed:
            return
        if sure is Sure.NOBODY:
            raise NotAllowed("who-are-you", _("Say first who you are: choose your name."))
        if self._has_role_for(USE_CASES[use_case], room_id):
            raise NotAllowed("confirm-with-pin", _("Confirm it with your PIN."))


SYSTEM = Actor(person=None)


def actor_of(user: User, scopes: frozenset[Scope] | None = None) -> Actor:
    """The actor behind a signed-in user, with roles from the memberships."""
    return Actor(person=user.person, roles=_roles(user.person), scopes=scopes, user=user)


def actor_of_person(person: Person) -> Actor:
    """Somebody who acts by a link that was sent to them, with their roles."""
    return Actor(person=person, roles=_roles(person))


def _roles(person: Person) -> dict[int | None, frozenset[Role]]:
    roles: dict[int | None, frozenset[Role]] = {}
    for room_id, role in Membership.objects.filter(person=person).values_list("room_id", "role"):
        roles[room_id] = roles.get(room_id, frozenset()) | {Role(role)}
    return roles


@dataclass(frozen=True)
class Act:
    """One act: who, under which key, when it is said to have happened, and why.

    `claimed_at` and `device_now` come from a device that may have been offline; `received_at` is
    ours. `part` tells apart several entries written under one key.
    """

    actor: Actor
    key: uuid.UUID = field(default_factory=uuid.uuid4)
    received_at: datetime = field(default_factory=clock.now)
    claimed_at: datetime | None = None
    device_now: datetime | None = None
    reason: str = ""
    room: Room | None = None

    @property
    def person(self) -> Person | None:
        """The person on record as having acted; None for the program itself."""
        return self.actor.person


def secret_key(salt: str, *names: object) -> uuid.UUID:
    """A key for an act that has one of its own, such as the answer to a link: always the same, and
    nobody outside can work it out, since this program signs it."""
    text = ":".join(map(str, names))
    return uuid.UUID(bytes=salted_hmac(salt, text, algorithm="sha256").digest()[:16], version=4)


def part(act: Act, *names: object) -> Act:
    """The act for one thing of several under one key: a key of its own that is always the same for
    the same thing."""
    return replace(act, key=uuid.uuid5(act.key, ":".join(map(str, names))))
