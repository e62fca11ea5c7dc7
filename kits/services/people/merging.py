"""Somebody on record twice becomes one: what concerns them now points to the record that is kept.

What was written in the book stays under the number that it was written under; that record bears
the kept one's name.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Q

from gearroom.core import clock
from gearroom.core.acts import Act
from gearroom.core.models import Person
from gearroom.core.services.people import people
from kits.models import Checkout, Kit, Label, Notice, RecallPlace, Reservation, Trip
from kits.services.ledger.book import Book


@dataclass(frozen=True)
class Moves:
    """What moves with somebody's record, by name: the kits that they have, the trips that they take
    a kit on or lead, and the kits that they answer for."""

    has: Sequence[str]
    trips: Sequence[str]
    answers_for: Sequence[str]


def moves(person: Person) -> Moves:
    """What merging would move from a record of somebody."""
    out = Checkout.objects.open().filter(person=person).order_by("kit__name")
    answered = Kit.objects.filter(Q(responsible=person) | Q(deputy=person)).order_by("name")
    trips = Trip.objects.filter(
        Q(pk__in=Reservation.objects.promised().filter(person=person).values("trip"))
        | Q(leader=person),
        returns_at__gt=clock.now(),
    )
    return Moves(
        list(dict.fromkeys(out.values_list("kit__name", flat=True))),
        list(trips.order_by("departs_at", "pk").values_list("name", flat=True)),
        list(answered.values_list("name", flat=True)),
    )


def merge(act: Act, person: Person, into: Person) -> Person:
    """Keep one record of somebody, and move kits, reservations, trips, tags and unsent notices to
    it. Raises what `people.merge` raises."""
    out = Checkout.objects.open().filter(person=person)
    answered = Kit.objects.filter(Q(responsible=person) | Q(deputy=person))
    with transaction.atomic(), Book(act) as book:
        book.lock(*{*out.values_list("kit", flat=True), *answered.values_list("pk", flat=True)})
        kept = people.merge(act, person, into)
        out.update(person=kept)
        _answer_for(person, kept)
        Reservation.objects.promised().filter(person=person).update(person=kept)
        coming = Trip.objects.filter(leader=person, returns_at__gt=clock.now())
        coming.update(leader=kept, changed_at=act.received_at)
        Label.objects.active().filter(person=person).update(person=kept)
        RecallPlace.objects.filter(person=person, answered=None).update(person=kept)
        _tell(person, kept)
    return kept


def _answer_for(person: Person, kept: Person) -> None:
    """Kits whose deputy would be who answers for them already have none."""
    Kit.objects.filter(responsible=person, deputy=kept).update(deputy=None)
    Kit.objects.filter(responsible=kept, deputy=person).update(deputy=None)
    Kit.objects.filter(responsible=person).update(responsible=kept)
    Kit.objects.filter(deputy=person).update(deputy=kept)


def _tell(person: Person, kept: Person) -> None:
    """What they were not told yet, save what the kept record has been left as well."""
    waiting = Notice.objects.filter(person=person, sent_at=None, taken_back_at=None)
    theirs = set(Notice.objects.filter(person=kept).values_list("kind", "fact"))
    for notice in waiting.only("kind", "fact"):
        there = (notice.kind, notice.fact) in theirs
        change = {"taken_back_at": clock.now()} if there else {"person": kept}
        Notice.objects.filter(pk=notice.pk).update(**change)
