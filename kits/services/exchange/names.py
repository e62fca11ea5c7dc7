"""What the texts of a file name: people, gear rooms, items, kit lists, as somebody may see them.

A reference is written so that it means one thing: a person as *Jo Marsh (12)*, a gear room by its
short name. What people type besides is understood where only one can be meant.
"""

import re
from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any, TypeVar

from django.utils.translation import gettext as _

from gearroom.core.acts import Actor, Invalid
from gearroom.core.models import Person, Room
from gearroom.core.rules.grouping import grouped
from gearroom.core.services.people import people, rooms
from kits.models import Activity, Item, Need
from kits.rules.overview.workbook import fold
from kits.services.lookup import find

T = TypeVar("T")


def person_text(person: Person | None) -> str | None:
    """A person as a file names them."""
    return None if person is None else f"{person.name} ({person.pk})"


class Names:
    """What may be named by somebody, loaded once for a file."""

    def __init__(self, actor: Actor) -> None:
        self.actor = actor
        self._kept: dict[str, Any] = {}

    def once(self, what: str, load: Callable[[], T]) -> T:
        """What a table has to look up in, loaded once for a file."""
        if what not in self._kept:
            self._kept[what] = load()
        kept: T = self._kept[what]
        return kept

    # ------------------------------------------------------------------------------------- to text
    def canonical(self, refers: str, text: str, *, field: str) -> str:
        """A reference as it is written. Raises Invalid where it names nothing, or several."""
        if refers == "person":
            return person_text(self.person(text, field=field)) or ""
        known: Mapping[str, str] = getattr(self, f"_{refers}")
        if (there := known.get(fold(text))) is None:
            says = {
                "room": _("There is no gear room “%(name)s” among yours."),
                "item": _("There is no item “%(name)s”. Add it first, or check its spelling."),
                "activity": _("There is no activity “%(name)s”."),
                "need": _("There is no need “%(name)s”."),
            }[refers]
            raise Invalid(says % {"name": text}, field=field)
        return there

    # ---------------------------------------------------------------------------------- to a thing
    def person(self, text: str, *, field: str) -> Person:
        """Whom a text names: by name, by name and number, or by number."""
        typed = re.fullmatch(r"(?:(?P<name>.*?)\s*)?\(?(?P<number>[0-9]{1,18})\)?", text, re.ASCII)
        person = self._people.get(int(typed["number"])) if typed else None
        if typed and person and fold(typed["name"] or person.name) == fold(person.name):
            return person
        same = self._people_by_name.get(fold(text), [])
        if len(same) == 1:
            return same[0]
        if same:
            says = _("There is more than one %(name)s. Enter one of these: %(choices)s.")
            choices = ", ".join(person_text(each) or "" for each in same)
            raise Invalid(says % {"name": text, "choices": choices}, field=field)
        raise Invalid(
            _("There is nobody called “%(name)s” on record. Add them first, or check the spelling.")
            % {"name": text},
            field=field,
        )

    def room(self, slug: str) -> Room:
        """The room that a written reference names."""
        return self.rooms[slug]

    def item(self, name: str) -> Item:
        """The item that a written reference names."""
        return self.items[fold(name)]

    # --------------------------------------------------------------------------------- loaded once
    @cached_property
    def rooms(self) -> dict[str, Room]:
        """Rooms by short name."""
        return {room.slug: room for room in rooms.visible_to(self.actor)}

    @cached_property
    def items(self) -> dict[str, Item]:
        """Items by name, as it is compared."""
        return {fold(item.name): item for item in Item.objects.prefetch_related("pack_codes")}

    @cached_property
    def _room(self) -> dict[str, str]:
        by_name = {fold(room.name): slug for slug, room in self.rooms.items()}
        return by_name | {fold(slug): slug for slug in self.rooms}

    @cached_property
    def _item(self) -> dict[str, str]:
        return {folded: item.name for folded, item in self.items.items()}

    @cached_property
    def activities(self) -> dict[str, Activity]:
        """Activities by key."""
        return {activity.key: activity for activity in Activity.objects.all()}

    @cached_property
    def _activity(self) -> dict[str, str]:
        by_name = {fold(activity.name): key for key, activity in self.activities.items()}
        return by_name | {fold(key): key for key in self.activities}

    @cached_property
    def needs(self) -> dict[str, Need]:
        """Needs by key."""
        return {need.key: need for need in Need.objects.all()}

    @cached_property
    def _need(self) -> dict[str, str]:
        by_name = {fold(need.name): key for key, need in self.needs.items()}
        return by_name | {fold(key): key for key in self.needs}

    @cached_property
    def _people(self) -> dict[int, Person]:
        programs = people.programs().values("pk")
        return {p.pk: p for p in find.people_of(self.actor).exclude(pk__in=programs)}

    @cached_property
    def _people_by_name(self) -> dict[str, list[Person]]:
        return grouped((fold(person.name), person) for person in self._people.values())
