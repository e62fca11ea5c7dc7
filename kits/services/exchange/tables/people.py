"""People: names, telephones, addresses. Roles and logins are given on people's own pages."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db.models import QuerySet

from gearroom.core.acts import Act, Actor, Invalid
from gearroom.core.models import Person
from gearroom.core.rules.sentences import say
from gearroom.core.services.people import people
from kits.rules.exchange.tables import FileRow, RowChange
from kits.rules.exchange.values import Column, Type
from kits.services.exchange.names import Names
from kits.services.exchange.table import (
    Filters,
    Importer,
    Row,
    Table,
    as_read,
    by_number_or_name,
    number_of,
    row_by_row,
)

COLUMNS = (
    Column("number", say("Number"), say("The person’s number here. Leave it empty for a new one."),
           Type.WHOLE, most=10**9 - 1, blank_keeps=True),
    Column("name", say("Name"), say("First name and surname."), needed=True),
    Column("phone", say("Telephone"), say("Where they can be reached."), longest=40),
    Column("email", say("Email"), say("Where emails to them are sent."), longest=254),
    Column("language", say("Language"),
           say("For emails to them; empty: the organisation’s language."),
           Type.CHOICE, choices=("en-gb", "de")),
    Column("home_room", say("Home gear room"), say("The gear room where they belong."),
           refers="room"),
    Column("left_on", say("Left on"), say("Their last day; empty: they are here."), Type.DAY),
    Column("roles", say("Roles"), say("Change them on the person’s page."), Type.SEVERAL,
           only_read=True),
)  # fmt: skip

_FACTS = ("name", "phone", "email", "language")


def _visible(actor: Actor) -> QuerySet[Person]:
    """Whom somebody administers: of rooms where they are an administrator, no programs."""
    seen = people.visible_to(actor).exclude(pk__in=people.programs().values("pk"))
    if actor.everywhere and actor.may("edit_member"):
        return seen
    administered = [room for room in actor.room_ids if actor.may("edit_member", room)]
    return seen.filter(home_room__in=administered)


def rows(actor: Actor, filters: Filters) -> Iterator[Row]:
    """The people of the rooms that somebody administers, by name; who has left too."""
    seen = _visible(actor)
    if filters.room:
        seen = seen.filter(home_room=filters.room)
    for person in seen.order_by("name", "pk"):
        yield {
            "number": person.pk,
            **{name: getattr(person, name) for name in _FACTS},
            "home_room": person.home_room.slug if person.home_room else None,
            "left_on": person.left_on,
            "roles": tuple(
                f"{held.role} ({held.room.slug})" if held.room else str(held.role)
                for held in person.memberships.all()
            ),
        }


def _save(act: Act, names: Names, change: RowChange, row: FileRow) -> None:
    new = {each.column: each.new for each in change.cells}
    facts: dict[str, Any] = {name: new[name] for name in _FACTS if name in new}
    if facts.get("email"):
        try:
            validate_email(facts["email"])
        except ValidationError as error:
            raise Invalid(" ".join(error.messages), field="email") from error
    if "home_room" in new:
        facts["home_room"] = names.room(str(new["home_room"])) if new["home_room"] else None
    left = new.get("left_on")
    if change.old is None:
        act.actor.require("edit_member", facts["home_room"].pk if facts.get("home_room") else None)
        person = people.add(act, **facts)
    else:
        person = Person.objects.get(pk=int(str(change.old["number"])))
        act.actor.require("edit_member", person.home_room_id)
        if facts:
            person = people.edit(as_read(act, change, _FACTS), person, **facts)
    if isinstance(left, date):
        people.leave(act, person, left)
    elif "left_on" in new and change.old is not None:
        people.rejoin(act, person)


TABLE = Table(
    "people",
    say("People"),
    say("Everybody on record with telephone and email. Only administrators export or import it."),
    COLUMNS,
    rows,
    use_case="edit_member",
    narrowed_by=frozenset({"room"}),
    importer=Importer("edit_member", by_number_or_name, number_of, row_by_row(_save)),
)
