"""Who gets notices: those who answer for a kit, the keepers of its room, administrators."""

from functools import cache

from django.conf import settings

from gearroom.core.models import Person, Room
from gearroom.core.rules.roles import Role
from kits.models import Kit


def keepers_of(room: Room) -> list[Person]:
    """The keepers of a room; where it has none, its instructors; else its administrators."""
    for role in (Role.KEEPER, Role.INSTRUCTOR, Role.ADMINISTRATOR):
        people = list(
            Person.objects.filter(memberships__room=room, memberships__role=role).distinct()
        )
        if people:
            return people
    return administrators()


def administrators() -> list[Person]:
    """Who administers every room."""
    return list(Person.objects.filter(memberships__room=None, memberships__role=Role.ADMINISTRATOR))


def responsible_for(kit: Kit) -> list[Person]:
    """A kit's responsible instructor and deputy."""
    return [person for person in (kit.responsible, kit.deputy) if person]


class Keepers:
    """The keepers of rooms, each room's loaded once."""

    def __init__(self) -> None:
        self.of = cache(keepers_of)
        """The keepers of a room."""

    def of_kit(self, kit: Kit) -> list[Person]:
        """Who answers for a kit, who stands in, and the keepers of its home room."""
        return [*responsible_for(kit), *self.of(kit.home_room)]


def zone_of(person: Person) -> str:
    """The time zone that somebody's times are in: their home room's."""
    return person.home_room.time_zone if person.home_room else settings.TIME_ZONE
