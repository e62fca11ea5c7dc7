"""Making a new installation one's own: the first person, by a code that `serve` prints.

While nobody has a login, whoever has the code may; afterwards nobody. The code follows from
SECRET_KEY, so that every process knows it and it is kept nowhere.
"""

from dataclasses import dataclass

from django.contrib.auth import password_validation
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.text import slugify
from django.utils.translation import gettext as _

from gearroom.core.acts import SYSTEM, Act, Invalid, NotFound, Refused
from gearroom.core.models import Installation, InstallationChange, Membership, Person, User
from gearroom.core.models.installation import announce, from_environment, remember
from gearroom.core.rules.roles import Role
from gearroom.core.services.people import people, rooms

_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
_GROUPS, _LENGTH = 3, 4


class Claimed(Refused):
    """Somebody has a login already."""


@dataclass(frozen=True)
class Claim:
    """What the first person says of themselves and of the installation. `signs`: whether they sign
    kit lists themselves, being the medical adviser or deciding alone."""

    name: str
    username: str
    password: str
    email: str
    organisation: str
    room: str
    time_zone: str
    language: str
    signs: bool


def is_open() -> bool:
    """Whether nobody has a login yet."""
    return not User.objects.exists()


def code() -> str:
    """The code by which a new installation is claimed, such as k7mp-2xwq-9hfd."""
    digest = salted_hmac("gearroom.claim", "first person", algorithm="sha256").digest()
    letters = [_LETTERS[byte % len(_LETTERS)] for byte in digest[: _GROUPS * _LENGTH]]
    groups = (letters[at : at + _LENGTH] for at in range(0, _GROUPS * _LENGTH, _LENGTH))
    return "-".join("".join(group) for group in groups)


def require_code(typed: str) -> None:
    """Raise Claimed (`claimed-already`) once somebody has a login, NotFound for a wrong code."""
    if not is_open():
        raise Claimed(
            "claimed-already",
            _("This installation already belongs to somebody. Log in, or ask an administrator."),
        )
    plain = "".join(each for each in typed.casefold() if each in _LETTERS)
    if not constant_time_compare(plain, code().replace("-", "")):
        raise NotFound("code", typed[:20])


def claim(typed: str, of: Claim) -> User:
    """Make the first person, who may do everything, and the first gear room. Of several at once one
    is first. Raises what `require_code` raises, and Invalid."""
    with transaction.atomic():
        Installation.objects.get_or_create(pk=1)
        row = Installation.objects.select_for_update().get(pk=1)  # whoever else claims waits here
        require_code(typed)
        user = _first_user(of)
        act = Act(SYSTEM)
        slug = slugify(of.room)[:40].strip("-") or "gear-room"
        room = rooms.add(act, name=of.room, slug=slug, time_zone=of.time_zone)
        Person.objects.filter(user=user).update(home_room=room)
        _give_roles(user.person, of.signs)
        _keep(row, of, user.person, act)
    return user


def _first_user(of: Claim) -> User:
    user = User(username=of.username, email=of.email)
    people.require_deliverable(of.email)
    try:
        password_validation.validate_password(of.password, user)
    except ValidationError as error:
        raise Invalid(" ".join(error.messages), field="password") from None
    user.set_password(of.password)
    try:
        user.full_clean()
    except ValidationError as error:
        field = next(iter(error.message_dict), "")
        raise Invalid(" ".join(error.messages), field=field) from None
    user.person = Person(name=of.name, email=of.email, language=of.language)
    user.save()
    return user


def _give_roles(person: Person, signs: bool) -> None:
    """Administrator of every room, which is keeper, instructor and guide too."""
    roles = [Role.ADMINISTRATOR, *([Role.ADVISER] if signs else [])]
    for role in roles:
        Membership.objects.create(person=person, room=None, role=role.value)


def _keep(row: Installation, of: Claim, person: Person, act: Act) -> None:
    given = from_environment()
    said = {"organisation": of.organisation, "time_zone": of.time_zone, "language": of.language}
    fields = {name: value for name, value in said.items() if name not in given}
    for name, value in fields.items():
        setattr(row, name, value)
    row.save()
    InstallationChange.objects.create(person=person, at=act.received_at, fields=list(fields))
    remember(row)
    transaction.on_commit(announce)
