"""Somebody's record: two of one person become one, or it is erased.

What concerns somebody on record twice points to the record that is kept from then on; what was
written in the book stays under the number that it was written under, and that record bears the kept
one's name. Erasing is refused while something hangs on somebody, then they are gone from everywhere
at once.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from gearroom.core import clock, mail
from gearroom.core.acts import Act, Actor, Refused, part, refuse_first
from gearroom.core.models import Person
from gearroom.core.rules.names import Names
from gearroom.core.services.people import people, personal_data, redaction
from kits.models import (
    Checkout,
    Kit,
    Label,
    LeaderAddress,
    Notice,
    NotificationChoice,
    NotificationPreferences,
    RecallPlace,
    Reservation,
    Trip,
)
from kits.services.labelling import labelling
from kits.services.ledger.book import Book
from kits.services.notices import bundling
from kits.services.trips import change_times


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
        change_times.change_all(coming, leader=kept)
        LeaderAddress.objects.filter(person=person).update(person=kept)
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


# ----------------------------------------------------------------------------------------- erasing
@dataclass(frozen=True)
class Erased:
    """Somebody by the number that stays; `still_named`: what things go by that tells of them."""

    person: int
    still_named: Sequence[str]


def may_erase(actor: Actor) -> bool:
    """Whether somebody may erase anybody: an administrator of every room."""
    return actor.everywhere and actor.may("erase_person")


@transaction.atomic
def erase(act: Act, person: Person, words: Sequence[str] = ()) -> Erased:
    """Erase what tells of somebody: names, telephones and addresses wherever they stand, their
    sign-in, tokens, roles, PIN, tag, calendar and what they chose to hear. What they did stays in
    the book, under their number. `words` are further names of theirs, such as a nickname, to be
    taken out of what was typed. It is not undone.

    Raises Refused: `erased-already`, `not-a-person`, `last-administrator`, `has-a-kit`,
    `leads-a-trip`, `answers-for-a-kit`; Unacceptable (`no-name`), NotAllowed.
    """
    redaction.require_administrator(act.actor)
    words = personal_data.check_words(words)
    person = Person.objects.select_for_update(of=("self",)).get(pk=person.pk)
    personal_data.refuse(person)
    _refuse_needed(person)
    record = personal_data.record_of(person)
    known = personal_data.known_of(person, words)
    names = Names([*known, *redaction.single_words(record)])
    for label in Label.objects.active().filter(person__in=record):
        labelling.cancel(part(act, "tag", label.pk), label.code, "")
    _forget_choices(record)
    _forget_mails(record, names)
    for each in record:
        theirs = Q(leader=each, leader_name=each.name)
        if each.phone:
            theirs |= Q(leader_phone=each.phone)
        if each.email:
            theirs |= Q(leader_email__iexact=each.email)
        addresses = LeaderAddress.objects.filter(person=each)
        theirs |= Q(leader=each, leader_email__in=addresses.values("leader_email"))
        change_times.change_all(
            Trip.objects.filter(theirs), leader_name="", leader_phone="", leader_email=""
        )
        addresses.delete()
    personal_data.erase(act, person, known)
    still = personal_data.named_after(Names(known))
    mail.forget(names)
    return Erased(person.pk, still)


def _refuse_needed(person: Person) -> None:
    needed = moves(person)
    refuse_first(
        (
            bool(needed.has),
            Refused(
                "has-a-kit",
                _("%(name)s still has %(kits)s. Hand everything back or pass it on first.")
                % {"name": person.name, "kits": ", ".join(needed.has)},
            ),
        ),
        (
            bool(needed.trips),
            Refused(
                "leads-a-trip",
                _(
                    "%(name)s is leading or taking a kit on %(trips)s. First enter someone else "
                    "in their place."
                )
                % {"name": person.name, "trips": ", ".join(needed.trips)},
            ),
        ),
        (
            bool(needed.answers_for),
            Refused(
                "answers-for-a-kit",
                _(
                    "%(name)s is responsible for %(kits)s. First choose someone else to be "
                    "responsible."
                )
                % {"name": person.name, "kits": ", ".join(needed.answers_for)},
            ),
        ),
    )


def _forget_choices(record: Sequence[Person]) -> None:
    NotificationPreferences.objects.filter(person__in=record).delete()
    NotificationChoice.objects.filter(person__in=record).delete()
    Reservation.objects.promised().filter(person__in=record).update(person=None)


def _forget_mails(record: Sequence[Person], names: Names) -> None:
    """Mails to them and mails that name them; what is not sent yet is written anew without."""
    theirs = Notice.objects.filter(person__in=record)
    waiting = theirs.filter(sent_at=None, taken_back_at=None)
    rows = list(waiting.defer("rendered"))
    waiting.update(taken_back_at=clock.now())
    bundling.let_go(rows)
    theirs.update(recipient="", rendered=None, last_error="")
    others = Notice.objects.filter(rendered__isnull=False).only("pk", "rendered", "sent_at")
    naming = [
        notice.pk
        for notice in others.iterator(chunk_size=100)
        if mail.mentions(bytes(notice.rendered or b""), names)
    ]
    named = Notice.objects.filter(pk__in=naming)
    named.update(rendered=None)
    named.filter(sent_at=None).update(message_id="", recipient="")
