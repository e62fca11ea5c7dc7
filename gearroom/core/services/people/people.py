"""People: added, edited, come and gone; their roles; their sign-ins."""

import secrets
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import Prefetch, Q, QuerySet
from django.utils.encoding import punycode
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import (
    Act,
    Actor,
    Invalid,
    NotAllowed,
    NotFound,
    Refused,
    locked,
    one,
    refuse_first,
    store,
)
from gearroom.core.models import Membership, Person, Room, Token, User
from gearroom.core.rules.roles import Role
from gearroom.core.services.accounts import account_changes, sign_ins, tokens
from gearroom.core.services.accounts.account_changes import Kind
from gearroom.core.services.people import rooms

# What a generated password is drawn from: nothing that looks like something else.
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"


def visible_to(actor: Actor) -> QuerySet[Person]:
    """Whom somebody may see: who shares a room with them, and themselves; for keepers also people
    who belong to no room yet. Roles in rooms that are not theirs are left out, and shared
    devices."""
    people = Person.objects.select_related("home_room", "user").filter(
        user__device=None, merged_into=None, erased_at=None
    )
    roles = Membership.objects.select_related("room").order_by("room__name", "role")
    if actor.everywhere:
        return people.prefetch_related(Prefetch("memberships", roles))
    mine = actor.room_ids
    near = (
        Q(home_room__in=mine)
        | Q(memberships__room__in=mine)
        | Q(pk__in=Membership.objects.filter(room=None).values("person"))
    )
    if actor.person is not None:
        near |= Q(pk=actor.person.pk)
    if actor.may("edit_person"):
        near |= Q(memberships=None, home_room=None)
    return people.filter(pk__in=Person.objects.filter(near).values("pk")).prefetch_related(
        Prefetch("memberships", roles.filter(Q(room=None) | Q(room__in=mine)))
    )


def may_take(actor: Actor) -> QuerySet[Person]:
    """Whom somebody may choose as who takes a kit: those they may see who are here, no program."""
    return (
        visible_to(actor)
        .filter(left_on=None)
        .exclude(pk__in=programs().values("pk"))
        .order_by("name", "pk")
    )


def choices(actor: Actor) -> QuerySet[Person]:
    """Whom somebody is offered to choose from: nobody, unless they may see people."""
    return may_take(actor) if actor.may("see_people") else Person.objects.none()


def of_room(people: QuerySet[Person], room: Room) -> QuerySet[Person]:
    """Those of them who have a role in a room or are at home there."""
    members = Membership.objects.filter(room=room).values("person")
    return people.filter(Q(home_room=room) | Q(pk__in=members))


def programs() -> QuerySet[Person]:
    """Those that are no people: shared devices, and other programs that act by token."""
    integrations = Membership.objects.filter(role=Role.INTEGRATION.value).values("person")
    return Person.objects.filter(Q(user__device__isnull=False) | Q(pk__in=integrations))


def is_program(person: Person) -> bool:
    """Whether it is a program, which never has a kit."""
    return programs().filter(pk=person.pk).exists()


def works_alone(person: Person, room: Room) -> bool:
    """Whether nobody else is of a room, so that nobody would miss what they have."""
    others = Person.objects.filter(left_on=None, merged_into=None).exclude(pk=person.pk)
    everywhere = Membership.objects.filter(room=None).values("person")
    near = of_room(others, room) | others.filter(pk__in=everywhere)
    return not near.exclude(pk__in=programs().values("pk")).exists()


def get(actor: Actor, person_id: int) -> Person:
    """Somebody whom they may see; raises NotFound for anybody else, there or not."""
    return one(visible_to(actor).filter(pk=person_id), "person", person_id)


def add(act: Act, *, name: str, home_room: Room | None = None, **fields: Any) -> Person:
    """Somebody new, with phone, email and language if known; no sign-in."""
    _require_edit(act.actor, home_room)
    require_deliverable(fields.get("email", ""))
    return Person.objects.create(name=name, home_room=home_room, **fields)


def require_deliverable(address: str) -> None:
    """Raise Invalid for an email address whose domain no mail server can be asked for (RFC 1035
    §2.3.4, RFC 5891): a part of it is too long in ASCII, or mixes ways of writing."""
    try:
        punycode(address.rpartition("@")[2])
    except UnicodeError:
        raise Invalid(
            _("Email cannot be delivered to this address: the part after the @ is not the name "
              "of a mail server. Check the address."),
            field="email",
        ) from None  # fmt: skip


def add_holder(act: Act, *, name: str, phone: str, room: Room | None = None) -> Person:
    """Somebody new who takes a kit, by name and telephone, at home in the room they stand in: by
    whoever takes kits out. Raises Invalid without either."""
    room = room or act.room or (act.person.home_room if act.person else None)
    act.actor.require("add_holder", room.pk if room else None)
    name, phone = " ".join(name.split()), " ".join(phone.split())
    refuse_first(
        (not name, Invalid(_("Enter the person’s name."), field="name")),
        (
            not phone,
            Invalid(
                _("Enter a telephone number on which this person can be reached."), field="phone"
            ),
        ),
    )
    return Person.objects.create(name=name, phone=phone, home_room=room)


def edit(act: Act, person: Person, **fields: Any) -> Person:
    """Change name, phone, email, language or home room. One's own but the home room is one's own
    to change. Another address needs the right over all that they may do, and the old one is told.
    """
    own = act.actor.person is not None and act.actor.person.pk == person.pk
    if own:
        act.actor.require("own_account")
    if not own or "home_room" in fields:
        _require_care_of(act.actor, person)
    if "home_room" in fields:
        _require_edit(act.actor, fields["home_room"])
    require_deliverable(fields.get("email", ""))
    with transaction.atomic():
        person = locked(act, person)
        before = person.email
        moved = fields.get("email", before) != before
        if moved:
            account_changes.require_right_over(act.actor, person)
        store(person, **fields)
        if "name" in fields:
            Person.objects.filter(merged_into=person).update(name=person.name)
        if moved:
            account_changes.note(act, person, Kind.ADDRESS, before)
    return person


def merge(act: Act, person: Person, into: Person) -> Person:
    """Somebody was on record twice: keep one record of them, with the sign-in and the roles of
    both. What points to the other elsewhere is moved by `kits.services.people.personal_records`.

    Raises Refused: `same-person`, `merged-already`, `not-a-person`, `two-sign-ins`.
    """
    for each in (person, into):
        _require_care_of(act.actor, each)
    refuse_first(
        (
            person.pk == into.pk,
            Refused("same-person", _("That is the same person. Choose the other person.")),
        ),
        (
            person.merged_into_id is not None or into.merged_into_id is not None,
            Refused(
                "merged-already",
                _("These two people have already been merged. There is nothing to do."),
            ),
        ),
        (
            is_program(person) or is_program(into),
            Refused(
                "not-a-person",
                _("This is a program, not a person: it cannot be merged with anybody."),
            ),
        ),
    )
    account_changes.require_right_over(act.actor, person, into)
    _refuse_advice_for_oneself(act, person, into)
    if person.user is not None and into.user is not None and person.left_on is None:
        raise Refused(
            "two-sign-ins",
            _("Both %(name)s and %(other)s have a login. First record that one of them has left.")
            % {"name": person.name, "other": into.name},
        )
    user, before = person.user, person.email
    Person.objects.filter(Q(pk=person.pk) | Q(merged_into=person)).update(
        name=into.name, phone="", email="", pin="", merged_into=into
    )
    if user is not None and into.user is None:
        Person.objects.filter(pk=person.pk).update(user=None)
        Person.objects.filter(pk=into.pk).update(user=user)
        account_changes.note(act, into, Kind.SIGN_IN)
        if before != into.email:
            account_changes.note(act, into, Kind.ADDRESS, before)
    for held in Membership.objects.filter(person=person):
        Membership.objects.get_or_create(person=into, room=held.room, role=held.role)
    Membership.objects.filter(person=person).delete()
    if not into.phone and person.phone:
        Person.objects.filter(pk=into.pk).update(phone=person.phone)
    into.refresh_from_db()
    return into


def leave(act: Act, person: Person, on: date | None = None) -> Person:
    """They left, today or on an earlier day: sign-in and tokens end at once, roles are kept."""
    _require_care_of(act.actor, person)
    if person.user is not None:
        account_changes.require_right_over(act.actor, person)
    today = clock.today(person.home_room.time_zone if person.home_room else "UTC")
    if on is not None and on > today:
        raise Invalid(_("Record this on the day they leave, not before."), field="on")
    require_another_administrator(person)
    store(person, left_on=on or today)
    if person.user is not None:
        User.objects.filter(pk=person.user.pk).update(is_active=False)
        tokens.end(Token.objects.filter(user=person.user), act.received_at)
    return person


def rejoin(act: Act, person: Person) -> Person:
    """They are here again, next season: the sign-in works again, tokens are made anew."""
    _require_care_of(act.actor, person)
    if person.user is not None:
        account_changes.require_right_over(act.actor, person)
    store(person, left_on=None)
    if person.user is not None:
        User.objects.filter(pk=person.user.pk).update(is_active=True)
    return person


def give_sign_in(act: Act, person: Person, username: str | None = None) -> tuple[User, str]:
    """A sign-in with a generated password, or a new password for the sign-in they have: that ends
    where they are signed in, and their tokens.

    Returns the user and the password, which is kept nowhere.
    """
    _require_rule_over(act.actor, person)
    if person.left_on is not None:
        sentence = _("%(name)s has left. First record that they have come back.")
        raise Refused("person-left", sentence % {"name": person.name})
    password = "-".join("".join(secrets.choice(_LETTERS) for _ in range(5)) for _ in range(4))
    if (user := person.user) is None:
        if not username:
            raise Invalid(_("Enter a username for the new login."), field="username")
        if User.objects.filter(username__iexact=username).exists():
            sentence = _("The username “%(name)s” is already taken. Choose another.")
            raise Refused("name-taken", sentence % {"name": username})
        user = User(username=username, email=person.email)
        user.person = person
    elif username and username != user.username:
        sentence = _("%(name)s already logs in as “%(username)s”.")
        raise Refused("has-sign-in", sentence % {"name": person.name, "username": user.username})
    kind = Kind.SIGN_IN if user.pk is None else Kind.PASSWORD
    user.set_password(password)
    user.given_by = act.person
    user.full_clean()
    user.save()
    sign_ins.end_everywhere(user, act.received_at)
    account_changes.note(act, person, kind)
    return user, password


def add_role(act: Act, person: Person, role: Role, room: Room | None) -> Membership:
    """Make somebody something in a room, or everywhere. Being so already is no error. A medical
    adviser is appointed by an administrator of every room, who is never it themselves."""
    _require_administer(act.actor, room.pk if room else None)
    _require_appoint(act, role, person)
    result, _ = Membership.objects.get_or_create(person=person, room=room, role=role.value)
    return result


def end_role(act: Act, person: Person, role: Role, room: Room | None) -> None:
    """Take a role from somebody. Raises NotFound if they do not have it."""
    _require_administer(act.actor, room.pk if room else None)
    if role is Role.ADVISER:
        act.actor.require("appoint_adviser")
    held = Membership.objects.filter(person=person, room=room, role=role.value)
    if not held.exists():
        raise NotFound("such role of", person.name)
    if room is None and role is Role.ADMINISTRATOR:
        require_another_administrator(person)
    held.delete()


def _require_edit(actor: Actor, home_room: Room | None) -> None:
    if home_room is not None and not actor.belongs_to(home_room.pk):
        raise NotFound("room", home_room.slug)
    actor.require("edit_person", home_room.pk if home_room else None)


def _require_care_of(actor: Actor, person: Person) -> None:
    """A keeper of their home room; for somebody with a role everywhere, one everywhere."""
    actor.require("edit_person", person.home_room_id)
    if not actor.everywhere and person.memberships.filter(room=None).exists():
        raise NotAllowed(
            "role-missing",
            _("%(name)s has a role in every gear room. Ask an administrator of all gear rooms.")
            % {"name": person.name},
        )


def _require_administer(actor: Actor, room_id: int | None) -> None:
    if room_id is None:
        actor.require("edit_member")
        rooms.require_administrator_everywhere(actor)
    elif not actor.belongs_to(room_id):
        raise NotFound("room")
    else:
        actor.require("edit_member", room_id)


def _require_appoint(act: Act, role: Role, person: Person) -> None:
    if role is not Role.ADVISER:
        return
    act.actor.require("appoint_adviser")
    if not may_appoint(act.actor, person):
        raise _not_oneself()


def may_appoint(actor: Actor, person: Person) -> bool:
    """Whether somebody may make a person a medical adviser: others, and themselves only while
    nobody else is or ever was on record. (Whoever makes an installation theirs says there whether
    they sign the lists themselves; until a second person comes they still can.)"""
    if not actor.may("appoint_adviser"):
        return False
    others = Person.objects.exclude(pk=person.pk).exclude(pk__in=programs().values("pk"))
    return actor.person is None or actor.person.pk != person.pk or not others.exists()


def _refuse_advice_for_oneself(act: Act, *records: Person) -> None:
    """Nobody becomes the medical adviser by being one with their record."""
    if act.person is None or act.person.pk not in {each.pk for each in records}:
        return
    held = Membership.objects.filter(person__in=records, role=Role.ADVISER.value)
    if held.exclude(person=act.person).exists() and not held.filter(person=act.person).exists():
        raise _not_oneself()


def _not_oneself() -> NotAllowed:
    return NotAllowed(
        "not-oneself",
        _(
            "Nobody can appoint themselves medical adviser. Ask another administrator of all "
            "gear rooms."
        ),
    )


def _require_rule_over(actor: Actor, person: Person) -> None:
    """An administrator wherever they have a role, so that nobody is made to lend theirs."""
    actor.require("edit_member")
    for room_id in Membership.objects.filter(person=person).values_list("room_id", flat=True):
        _require_administer(actor, room_id)
    account_changes.require_right_over(actor, person)


def require_another_administrator(person: Person) -> None:
    """Raise Refused (`last-administrator`) where nobody else administers every room."""
    everywhere = Membership.objects.filter(
        room=None, role=Role.ADMINISTRATOR.value, person__user__is_active=True
    )
    ours = everywhere.filter(person=person)
    if ours.exists() and not everywhere.exclude(person=person).exists():
        raise Refused(
            "last-administrator",
            _(
                "%(name)s is the only administrator of all gear rooms. Appoint another "
                "administrator first."
            )
            % {"name": person.name},
        )
