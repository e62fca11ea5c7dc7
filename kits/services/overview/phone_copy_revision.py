"""What changes whenever the pocket book of somebody may have: facts that are stored, read in a few
queries whose number never grows, so that a phone that has the book costs next to nothing."""

import hashlib
from collections.abc import Iterator

from django.db.models import Count, Max

from gearroom.core import clock
from gearroom.core.acts.act import Actor
from gearroom.core.models import Membership, Person, Room
from kits.models import Entry, Item, Kit, Label, Trip
from kits.rules.ledger.readiness import EDITION


def revision(actor: Actor) -> str:
    """A name for the pocket book as it is now, in 32 hexadecimal digits; to be read before the book
    is. It may change where the book does not."""
    rows = hashlib.sha256()
    for each in _facts(actor):
        rows.update(repr(each).encode())
    return rows.hexdigest()[:32]


def _facts(actor: Actor) -> Iterator[object]:
    yield EDITION
    yield actor.person and actor.person.pk
    yield sorted((room or 0, *sorted(roles)) for room, roles in actor.roles.items())
    yield actor.assurance
    yield list(Room.objects.order_by("pk").values_list())
    # What a kit is judged by, and the day that it is judged on, change at midnight where it is.
    zones = Room.objects.order_by("time_zone").values_list("time_zone", flat=True).distinct()
    yield [clock.today(zone) for zone in zones]
    # Entries are numbered before they are committed: kits say of themselves that they changed.
    yield Entry.objects.aggregate(newest=Max("id"))
    yield list(
        Kit.objects.order_by("pk").values_list("pk", "revision", "name", "room", "home_room")
    )
    # A trip that ends falls out at that instant.
    coming = Trip.objects.filter(returns_at__gt=clock.now())
    yield list(coming.order_by("pk").values_list("pk", "changed_at"))
    yield list(Item.objects.order_by("pk").values_list("pk", "revision", "name"))
    yield list(
        Person.objects.order_by("pk").values_list(
            "pk", "name", "phone", "left_on", "merged_into", "home_room"
        )
    )
    yield list(Membership.objects.order_by("pk").values_list("person", "room", "role"))
    bound = ("kit", "place", "lot", "person", "cancelled_at")
    yield Label.objects.aggregate(newest=Max("id"), **{f"of_{name}": Count(name) for name in bound})
