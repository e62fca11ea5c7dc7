"""Which events somebody may read: never more than the API shows them."""

from dataclasses import replace

from django.db.models import CharField, Q, QuerySet, Value
from django.db.models.functions import Cast, Concat

from gearroom.core.acts import Actor
from gearroom.core.rules.roles import USE_CASES
from kits.models import Event
from kits.rules.events import Subject
from kits.services.lookup import find

_OF_TRIP = f"{Subject.TRIP}:"


def reader(actor: Actor, use_case: str, room: int | None = None) -> Actor:
    """Somebody with those of their roles alone that give a right: in the rooms where they have it,
    or in one of these."""
    right = USE_CASES[use_case].roles or frozenset()
    roles = {at: held for at, held in actor.roles.items() if held & right}
    if room is not None:
        here = roles.get(None, frozenset()) | roles.get(room, frozenset())
        roles = {room: here} if here else {}
    return replace(actor, roles=roles)


def readable(reader: Actor) -> QuerySet[Event]:
    """The events of the rooms of a reader, and of the whole organisation; of trips from no room
    those alone that they may see."""
    if reader.everywhere:
        return Event.objects.all()
    rooms = reader.room_ids
    trips = find.trips_of(reader).annotate(
        named=Concat(Value(_OF_TRIP), Cast("pk", CharField()), output_field=CharField())
    )
    of_all = ~Q(subject__startswith=_OF_TRIP) | Q(subject__in=trips.values("named"))
    return Event.objects.filter(Q(room__in=rooms) | Q(other_room__in=rooms) | Q(room=None) & of_all)
