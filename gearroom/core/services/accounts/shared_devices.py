"""Shared devices at the hatch: signed in as the room, asking who stands before them.

Anybody may say who they are there; what a keeper may do there, a keeper confirms with their PIN.
A device forgets both when nobody touched it for `LOCKS_AFTER`. What it may be used for at all is
in `gearroom.core.rules.roles.SHARED_DEVICE`.
"""

import secrets
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from django.contrib.auth.hashers import check_password, make_password
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import (
    Act,
    Actor,
    Invalid,
    NotAllowed,
    NotFound,
    PersonNeeded,
    PinNeeded,
    Refused,
    TooOften,
    actor_of,
    one,
    store,
)
from gearroom.core.models import Device, Membership, Person, Room, User
from gearroom.core.rules.roles import Assurance, Role
from gearroom.core.services.accounts import account_changes, attempts
from gearroom.core.services.people import people

LOCKS_AFTER = timedelta(minutes=2)
PIN_DIGITS = 4

DEVICE, PERSON, ASSURANCE, TOUCHED = "hatch_device", "hatch_person", "hatch_sure", "hatch_touched"
"""What the session of a device's browser keeps: ids, how sure it is, and when it was touched."""


# ---------------------------------------------------------------------------------------- devices
def devices_of(actor: Actor) -> QuerySet[Device]:
    """The devices of the rooms that somebody belongs to."""
    rows = Device.objects.select_related("room", "made_by", "user__person")
    return rows if actor.everywhere else rows.filter(room__in=actor.room_ids)


def add(act: Act, room: Room, name: str) -> Device:
    """A new shared device of a room, with a user that nobody can sign in as by a password."""
    act.actor.require("edit_device", room.pk)
    name = " ".join(name.split())
    if not name or len(name) > 80:
        raise Invalid(_("Give the device a name of up to 80 characters."), field="name")
    user = User(username=f"hatch-{room.slug[:60]}-{secrets.token_hex(6)}")
    user.set_unusable_password()
    user.person = Person(name=f"{name} ({room.name})"[:120], home_room=room)
    user.save()
    Membership.objects.create(person=user.person, room=room, role=Role.GUIDE.value)
    return Device.objects.create(
        user=user, room=room, name=name, made_by=act.person, made_at=act.received_at
    )


def end(act: Act, device_id: int) -> Device:
    """End a device: its browser is signed out at once. Raises NotFound."""
    device = one(devices_of(act.actor).filter(pk=device_id), "device", device_id)
    act.actor.require("edit_device", device.room_id)
    if device.ended_at is None:
        store(device, ended_at=act.received_at)
        User.objects.filter(pk=device.user_id).update(is_active=False)
    return device


def end_here(actor: Actor, device_id: int) -> Device:
    """End the very device that somebody stands before, as its keeper with their PIN."""
    if actor.assurance is not Assurance.CONFIRMED:
        sentence = _("A keeper must confirm this with their PIN.")
        if actor.assurance is Assurance.NOBODY:
            raise PersonNeeded("who-are-you", sentence)
        raise PinNeeded("confirm-with-pin", sentence)
    return end(Act(replace(actor, assurance=None)), device_id)


# ------------------------------------------------------------------------------------- who is there
def actor_at(user: User, session: Mapping[str, Any]) -> Actor:
    """Who acts through a browser's session: the signed-in user; on a shared device whoever said
    who they are, with what they are in its room, else the device itself."""
    if DEVICE not in session:
        return actor_of(user)
    own = replace(actor_of(user), assurance=Assurance.NOBODY)
    if PERSON not in session or _locked(session):
        return own
    person = Person.objects.filter(pk=session[PERSON], left_on=None, merged_into=None).first()
    if person is None:
        return own
    room_id = next(iter(own.room_ids), None)
    held = Membership.objects.filter(person=person).values_list("room", "role")
    theirs = {Role(role) for room, role in held if room in (room_id, None)}
    roles = {room_id: frozenset({Role.GUIDE} | theirs)}
    return Actor(
        person=person,
        roles=roles,
        user=user,
        assurance=Assurance(session.get(ASSURANCE, Assurance.NAMED)),
    )


def _locked(session: Mapping[str, Any]) -> bool:
    try:
        touched = datetime.fromisoformat(session[TOUCHED])
    except (KeyError, ValueError):
        return True
    return clock.now() - touched > LOCKS_AFTER


def may_be(actor: Actor) -> QuerySet[Person]:
    """Who can be chosen at a device: the people of its room who are here, but no program."""
    room = Room.objects.get(pk=next(iter(actor.room_ids)))
    return people.of_room(people.may_take(actor), room)


# ----------------------------------------------------------------------------------------- the PIN
def choose_pin(act: Act, pin: str) -> Person:
    """Choose the PIN with which whoever asks confirms acts at shared devices. Raises Invalid."""
    act.actor.require("own_account")
    if (person := act.actor.person) is None:
        raise NotFound("person")
    if not (len(pin) == PIN_DIGITS and pin.isascii() and pin.isdigit()):
        raise Invalid(_("A PIN has %(count)d digits.") % {"count": PIN_DIGITS}, field="pin")
    steps = {int(b) - int(a) for a, b in pairwise(pin)}
    if len(steps) == 1 and steps <= {-1, 0, 1}:
        raise Invalid(_("That PIN is too easy to guess. Choose another."), field="pin")
    store(person, pin=make_password(pin))
    account_changes.note(act, person, account_changes.Kind.PIN)
    return person


def confirm(person: Person, pin: str) -> None:
    """Raise unless this is their PIN: Refused (`no-pin`), NotAllowed (`wrong-pin`), TooOften. A
    wrong one counts as a try, counted before it is looked at."""
    if not person.pin:
        raise Refused(
            "no-pin",
            _("%(name)s has no PIN yet. Choose a PIN on your own device, under Settings.")
            % {"name": person.name},
        )
    if wait := attempts.count("pin", str(person.pk)):
        raise TooOften(
            "too-many-requests",
            _("Too many attempts. Wait %(minutes)d minutes, or use your own device.")
            % {"minutes": -(-wait // 60)},
            retry_after=wait,
        )
    if check_password(pin, person.pin):
        attempts.give_back("pin", str(person.pk))
    else:
        raise NotAllowed("wrong-pin", _("Wrong PIN. Enter it again."))
