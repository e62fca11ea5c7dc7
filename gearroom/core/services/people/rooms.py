"""Gear rooms: added and edited by administrators, seen by those who belong to them."""

from collections.abc import Callable
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, NotAllowed, Refused, locked, one
from gearroom.core.models import Room
from gearroom.core.models.people import valid_time_zone
from gearroom.core.rules.roles import Role

EDITED: list[Callable[[Act, Room, frozenset[str]], None]] = []
"""What the apps above do once a room was edited, in the same transaction: each is called with the
room and the names of the fields that are different now."""


def visible_to(actor: Actor) -> QuerySet[Room]:
    """The rooms that somebody belongs to."""
    return Room.objects.all() if actor.everywhere else Room.objects.filter(pk__in=actor.room_ids)


def get(actor: Actor, slug: str) -> Room:
    """A room of theirs; raises NotFound for any other, there or not."""
    return one(visible_to(actor).filter(slug=slug), "room", slug)


def add(act: Act, *, name: str, slug: str, **fields: Any) -> Room:
    """A new room. Needs an administrator everywhere, since nobody belongs to it yet."""
    require_administrator_everywhere(act.actor)
    _not_taken(Room.objects.all(), name=name, slug=slug)
    room = Room(name=name, slug=slug, **fields)
    valid_time_zone(room.time_zone)
    room.save()
    return room


def edit(act: Act, room: Room, **fields: Any) -> Room:
    """Change what is on record of a room, or how strict it is."""
    act.actor.require("edit_room", room.pk)
    with transaction.atomic():
        room = locked(act, room)
        if "name" in fields:
            _not_taken(Room.objects.exclude(pk=room.pk), name=fields["name"])
        changed = frozenset(name for name, value in fields.items() if getattr(room, name) != value)
        for name, value in fields.items():
            setattr(room, name, value)
        valid_time_zone(room.time_zone)
        room.save(update_fields=list(fields))
        for then in EDITED:
            then(act, room, changed)
    return room


def require_administrator_everywhere(actor: Actor) -> None:
    """Raise NotAllowed unless they administer every room (`require` without a room asks less)."""
    actor.require("edit_room")
    if actor.person is not None and Role.ADMINISTRATOR not in actor.roles.get(None, ()):
        raise NotAllowed(
            "role-missing",
            _("Only an administrator of all gear rooms can do this."),
            roles=[Role.ADMINISTRATOR.value],
        )


def _not_taken(rooms: QuerySet[Room], **names: str) -> None:
    for field, value in names.items():
        if rooms.filter(**{field: value}).exists():
            raise Refused(
                "name-taken",
                _("There is already a gear room called “%(name)s”. Choose another name.")
                % {"name": value},
            )
