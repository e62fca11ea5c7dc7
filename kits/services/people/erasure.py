"""Somebody is erased: refused while something hangs on them, then gone from everywhere at once."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from gearroom.core import clock, mail
from gearroom.core.acts import Act, Actor, Refused, part, refuse_first
from gearroom.core.models import Person
from gearroom.core.rules.names import Names
from gearroom.core.services.people import erasure, redaction
from kits.models import (
    Label,
    Notice,
    NotificationChoice,
    NotificationPreferences,
    Reservation,
    Trip,
)
from kits.services.labelling import labelling
from kits.services.notices import bundling
from kits.services.people import merging
from kits.services.people.merging import Moves


@dataclass(frozen=True)
class Erased:
    """Somebody by the number that stays; `still_named`: what things go by that tells of them."""

    person: int
    still_named: Sequence[str]


def may_erase(actor: Actor) -> bool:
    """Whether somebody may erase anybody: an administrator of every room."""
    return actor.everywhere and actor.may("erase_person")


def erase(act: Act, person: Person, words: Sequence[str] = ()) -> Erased:
    """Erase what tells of somebody: names, telephones and addresses wherever they stand, their
    sign-in, tokens, roles, PIN, tag, calendar and what they chose to hear. What they did stays in
    the book, under their number. `words` are further names of theirs, such as a nickname, to be
    taken out of what was typed. It is not undone.

    Raises Refused: `erased-already`, `not-a-person`, `last-administrator`, `has-a-kit`,
    `leads-a-trip`, `answers-for-a-kit`; Unacceptable (`no-name`), NotAllowed.
    """
    redaction.require_administrator(act.actor)
    words = erasure.check_words(words)
    with transaction.atomic():
        person = Person.objects.select_for_update(of=("self",)).get(pk=person.pk)
        erasure.refuse(person)
        _refuse(person, merging.moves(person))
        record = erasure.record_of(person)
        known = erasure.known_of(person, words)
        names = Names([*known, *redaction.single_words(record)])
        for label in Label.objects.active().filter(person__in=record):
            labelling.cancel(part(act, "tag", label.pk), label.code, "")
        _forget_choices(record)
        _forget_mails(record, names)
        for each in record:
            theirs = Q(leader=each, leader_name=each.name)
            if each.phone:
                theirs |= Q(leader_phone=each.phone)
            Trip.objects.filter(theirs).update(
                leader_name="", leader_phone="", changed_at=act.received_at
            )
        erasure.erase(act, person, known)
        still = erasure.named_after(Names(known))
        mail.forget(names)
    return Erased(person.pk, still)


def _refuse(person: Person, moves: Moves) -> None:
    refuse_first(
        (
            bool(moves.has),
            Refused(
                "has-a-kit",
                _("%(name)s still has %(kits)s. Hand everything back or pass it on first.")
                % {"name": person.name, "kits": ", ".join(moves.has)},
            ),
        ),
        (
            bool(moves.trips),
            Refused(
                "leads-a-trip",
                _(
                    "%(name)s is leading or taking a kit on %(trips)s. First enter someone else "
                    "in their place."
                )
                % {"name": person.name, "trips": ", ".join(moves.trips)},
            ),
        ),
        (
            bool(moves.answers_for),
            Refused(
                "answers-for-a-kit",
                _(
                    "%(name)s is responsible for %(kits)s. First choose someone else to be "
                    "responsible."
                )
                % {"name": person.name, "kits": ", ".join(moves.answers_for)},
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
