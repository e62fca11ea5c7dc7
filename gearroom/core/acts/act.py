"""Who acts, and one act as a door received it. Services take these; they never see a request."""

import enum
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Final

from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts.problems import NotAllowed, PersonNeeded, PinNeeded, refuse_first
from gearroom.core.models import Membership, Person, Room, Token, User
from gearroom.core.role_names import ROLE_NAMES
from gearroom.core.rules.grouping import grouped
from gearroom.core.rules.roles import (
    ANYONE,
    MEMBERS,
    SHARED_DEVICE,
    USE_CASES,
    Assurance,
    Right,
    Role,
    Roles,
    Scope,
)


class NotGiven(enum.Enum):
    """The value of what nobody gave, apart from None, which stands for none."""

    NOT_GIVEN = "unsaid"


NOT_GIVEN: Final = NotGiven.NOT_GIVEN


@dataclass(frozen=True)
class Actor:
    """Who acts: a person with roles by room (None: everywhere) and, by token, a set of scopes.

    `person` None is the program itself (a scheduled task), which may do everything. `assurance` is
    how sure a shared device is of them; None on a device of their own. `through` is who sends what
    they did, where that is somebody else: then only what both may do is done.
    """

    person: Person | None
    roles: Roles = field(default_factory=dict)
    scopes: frozenset[Scope] | None = None
    user: User | None = None
    assurance: Assurance | None = None
    token: Token | None = None
    through: "Actor | None" = None

    @property
    def everywhere(self) -> bool:
        """Whether every room is theirs."""
        own = self.person is None or None in self.roles
        return own and (self.through is None or self.through.everywhere)

    @property
    def room_ids(self) -> frozenset[int]:
        """The rooms they belong to by name (see `everywhere`)."""
        own = frozenset(r for r in self.roles if r is not None)
        if self.through is None or self.through.everywhere:
            return own
        return self.through.room_ids if None in self.roles else own & self.through.room_ids

    def belongs_to(self, room_id: int | None) -> bool:
        """Whether a room is one of theirs."""
        return self.everywhere or room_id in self.room_ids

    def may(self, use_case: str, *rooms: int | None) -> bool:
        """Whether they may do a use case in a room, or in one of several. Without a room, or with
        None alone, it is of the whole organisation, for which a role in any room counts."""
        right = USE_CASES[use_case]
        if self.through is not None and not self.through.may(use_case, *rooms):
            return False
        if self.person is None:
            return True
        if self.scopes is not None and right.scope not in self.scopes:
            return False
        if self.assurance is not None and (
            use_case not in SHARED_DEVICE or self.assurance < SHARED_DEVICE[use_case]
        ):
            return False
        return self._has_role_for(right, rooms)

    def could(self, use_case: str, *rooms: int | None) -> bool:
        """Whether they may, or may as soon as a shared device is surer of them: what it offers."""
        if self.assurance is None or self.may(use_case, *rooms):
            return self.may(use_case, *rooms)
        if use_case not in SHARED_DEVICE:
            return False
        return self.assurance is Assurance.NOBODY or self._has_role_for(USE_CASES[use_case], rooms)

    def require(self, use_case: str, *rooms: int | None) -> None:
        """Raise NotAllowed unless `may`."""
        if self.through is not None:
            self.through.require(use_case, *rooms)
        if self.may(use_case, *rooms):
            return
        right = USE_CASES[use_case]
        if self.assurance is not None:
            self._require_assurance(self.assurance, use_case, rooms)
        if self.scopes is not None and right.scope not in self.scopes:
            raise NotAllowed(
                "scope-missing",
                _("This token does not have the scope “%(scope)s”. Create a token that has it.")
                % {"scope": right.scope},
                scope=str(right.scope),
            )
        raise _role_missing(right)

    def _has_role_for(self, right: Right, rooms: Sequence[int | None]) -> bool:
        if right.roles is ANYONE:
            return True
        everywhere = self.roles.get(None, frozenset())
        if everywhere & right.everywhere:
            return True
        if all(room is None for room in rooms):
            return bool(frozenset().union(*self.roles.values()) & right.roles)
        here = (self.roles.get(room, frozenset()) for room in rooms)
        return bool(everywhere.union(*here) & right.roles)

    def _require_assurance(
        self, assurance: Assurance, use_case: str, rooms: Sequence[int | None]
    ) -> None:
        if (needed := SHARED_DEVICE.get(use_case)) is None:
            raise NotAllowed(
                "not-at-the-hatch",
                _("This cannot be done on a shared device. Log in on your own device."),
            )
        if assurance >= needed:
            return
        refuse_first(
            (
                assurance is Assurance.NOBODY,
                PersonNeeded("who-are-you", _("Choose your name first.")),
            ),
            (
                self._has_role_for(USE_CASES[use_case], rooms),
                PinNeeded("confirm-with-pin", _("Confirm this with your PIN.")),
            ),
        )


def _role_missing(right: Right) -> NotAllowed:
    roles = sorted(right.roles or ())
    if set(roles) == set(MEMBERS):
        return NotAllowed(
            "role-missing",
            _("You have no role in this gear room. Ask the keeper to give you one."),
            roles=roles,
        )
    who = [str(ROLE_NAMES[role]) for role in roles]
    who += [
        _("%(role)s of all gear rooms") % {"role": ROLE_NAMES[role]}
        for role in sorted(right.everywhere)
    ]
    return NotAllowed(
        "role-missing",
        _(
            "To do this here you need one of these roles: %(roles)s. Ask the keeper of the gear "
            "room."
        )
        % {"roles": ", ".join(who)},
        roles=roles or sorted(right.everywhere),
    )


SYSTEM = Actor(person=None)


def actor_of(user: User, token: Token | None = None) -> Actor:
    """The actor behind a signed-in user, or a token of theirs, with roles from the memberships."""
    scopes = frozenset(map(Scope, token.scopes)) if token is not None else None
    roles = roles_of(user.person)
    return Actor(person=user.person, roles=roles, scopes=scopes, user=user, token=token)


def actor_of_person(person: Person) -> Actor:
    """Somebody who acts by a link that was sent to them, with their roles."""
    return Actor(person=person, roles=roles_of(person))


def roles_of(person: Person) -> Roles:
    """What somebody is, by room."""
    held = Membership.objects.filter(person=person).values_list("room_id", "role")
    return {room_id: frozenset(map(Role, roles)) for room_id, roles in grouped(held).items()}


@dataclass(frozen=True)
class Act:
    """One act: who, under which key, when it is said to have happened, and why.

    `claimed_at` and `device_now` come from a device that may have been offline; `received_at` is
    ours. `part` tells apart several entries written under one key. `match` is called with a row
    that the act changes, once that is locked (None: there is none yet), and raises Stale where it
    is not as whoever acts read it.
    """

    actor: Actor
    key: uuid.UUID = field(default_factory=uuid.uuid4)
    received_at: datetime = field(default_factory=clock.now)
    claimed_at: datetime | None = None
    device_now: datetime | None = None
    reason: str = ""
    room: Room | None = None
    match: Callable[[Any], None] = lambda row: None  # whatever is there is overwritten

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
