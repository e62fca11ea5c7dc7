"""Who leads a trip whose source names the leader by email address.

Whoever has that address on record, if that is one person, leads it; so does whom a keeper once
named for it. Anybody else stays a name, and keepers are asked once an address. Whoever may not see
people is never shown which it was: else a program could find out whom this school knows.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models.functions import Lower
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, Refused
from gearroom.core.models import Person
from gearroom.core.rules.grouping import grouped
from gearroom.core.services.people import people
from kits.models import Entry, EntryKind, LeaderAddress, Trip
from kits.services.ledger import Book
from kits.services.lookup import find
from kits.services.notices import writing
from kits.services.notices.facts import LeaderUnknown
from kits.services.notices.recipients import administrators, keepers_of
from kits.services.trips import change_times


@dataclass(frozen=True)
class NamedLeader:
    """Whom an address stands for from now on, and their trips to come that say so."""

    person: Person
    trips: Sequence[Trip]


def by_address(addresses: Iterable[str]) -> dict[str, Person]:
    """Whom email addresses (in lower case) stand for, as far as each is one person."""
    wanted = set(addresses) - {""}
    if not wanted:
        return {}
    rows = Person.objects.filter(merged_into=None, erased_at=None, left_on=None)
    rows = rows.exclude(pk__in=people.programs().values("pk"))
    by_own = grouped(
        (row.address, row)
        for row in rows.annotate(address=Lower("email")).filter(address__in=wanted)
    )
    named = LeaderAddress.objects.filter(leader_email__in=wanted, person__left_on=None)
    alone = {address: rows[0] for address, rows in by_own.items() if len(rows) == 1}
    return alone | {row.leader_email: row.person for row in named.select_related("person")}


def shows_leader(actor: Actor, trip: Trip) -> bool:
    """Whether somebody may see which person leads a trip: of one that was named by address, only
    who may see people."""
    return not trip.leader_email or actor.may("see_people", trip.room_id)


def ask_who(entry: Entry, trip: Trip) -> None:
    """Ask keepers who leads a trip, once an address, where its source named somebody unknown; again
    once whom they named has left."""
    if not trip.leader_email or trip.leader_id is not None or trip.cancelled_at is not None:
        return
    facts: LeaderUnknown = {
        "trip": trip.name,
        "trip_id": trip.pk,
        "leader_name": trip.leader_name,
        "leader_email": trip.leader_email,
    }
    address = salted_hmac("gearroom.leader", trip.leader_email, algorithm="sha256").hexdigest()
    left = LeaderAddress.objects.filter(leader_email=trip.leader_email).first()
    writing.notify(
        keepers_of(trip.room) if trip.room else administrators(),
        "leader-unknown",
        f"leader:{address[:32]}" + (f":{left.person_id}" if left else ""),
        entry=entry,
        room=trip.room,
        facts=facts,
    )


def name_leader(act: Act, trip: Trip, person: Person) -> NamedLeader:
    """Say who the leader of a trip is, whom its source names by address: of this and all other
    trips to come with that address in rooms of the actor's, and of those that come later.

    Raises Refused: `leader-has-no-address`, `not-a-person`.
    """
    act.actor.require("edit_trip", trip.room_id)
    act.actor.require("see_people", trip.room_id)
    if not trip.leader_email:
        raise Refused(
            "leader-has-no-address",
            _("The source of %(trip)s gives no email address for its leader. Edit the trip there.")
            % {"trip": trip.name},
        )
    if people.is_program(person):
        raise Refused("not-a-person", _("A program cannot lead a trip. Choose a person."))
    with Book(act) as book:
        LeaderAddress.objects.update_or_create(
            leader_email=trip.leader_email, defaults={"person": person}
        )
        coming = find.trips_of(act.actor).filter(
            leader_email=trip.leader_email, returns_at__gt=act.received_at
        )
        ours = [row.pk for row in coming if act.actor.may("edit_trip", row.room_id)]
        changed = change_times.change_all(
            Trip.objects.filter(pk__in={*ours, trip.pk}).exclude(leader=person), leader=person
        )
        for row in changed:
            row.leader = person
            book.post(
                EntryKind.TRIP, room=row.room, trip=row, detail={"what": "changed", "changed": {}}
            )
    return NamedLeader(person, changed)
