"""Kits cleared by telephone: the person named as having cleared one gets a link that needs no
account and takes one answer, which stays on record for ever.

The link holds which clearance it is about, signed by this program; it expires. The key of the
answer follows from the clearance, signed as well, so the record itself takes one answer and no
second.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import cast

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from gearroom.core.acts import (
    Act,
    Actor,
    AlreadyAnswered,
    NotAllowed,
    Unacceptable,
    one,
    secret_key,
)
from gearroom.core.models import Person
from kits.models import Checkout, Clearance, ClearanceAnswer, Entry, EntryKind, Kit
from kits.rules.ledger import Reason, ReasonCode, Verdict, Weight
from kits.services.custody import offers
from kits.services.ledger.book import kit_book
from kits.services.notices import ClearedByPhone, Lack, NotCleared, notice_text, writing

WITHIN = timedelta(days=30)
"""How long a link may be answered."""
UNANSWERED_AFTER = timedelta(days=1)
"""After how long a clearance without an answer shows on the board and in the weekly email."""


# ------------------------------------------------------------------------------------ at take-out
def refuse_unless_may_clear(kit: Kit, person: Person) -> None:
    """Raise Unacceptable (`may-not-clear`), with who may, unless somebody may clear a kit."""
    people = offers.clearers(kit)
    if person not in people:
        sentence = (
            _(
                "%(person)s is not allowed to approve taking %(kit)s. Call one of these "
                "people: %(names)s."
            )
            if people
            else _(
                "%(person)s is not allowed to approve taking %(kit)s, and nobody else on record is."
            )
        )
        raise Unacceptable(
            "may-not-clear",
            sentence
            % {
                "person": person.name,
                "kit": kit.name,
                "names": ", ".join(each.name for each in people),
            },
            people=[each.pk for each in people],
        )


def record(entry: Entry, checkout: Checkout, person: Person, verdict: Verdict) -> Clearance:
    """Record who is named as having cleared a kit, and send them the question."""
    made = Clearance.objects.create(
        entry=entry,
        checkout=checkout,
        person=person,
        reasons=[lack(reason) for reason in verdict.reasons if reason.weight >= Weight.SHORT],
    )
    writing.notify(
        [person],
        "cleared-by-phone",
        f"clearance:{made.pk}",
        entry=entry,
        kit=checkout.kit,
        facts=ClearedByPhone(clearance=made.pk, reasons=made.reasons),
    )
    return made


def lack(reason: Reason) -> Lack:
    """A reason as clearances and notices keep it: its code, and what a kit lacks."""
    facts = {name: reason.facts.get(name) for name in ("thing", "lacking")}
    return cast(Lack, {"code": str(reason.code), **facts})


# ------------------------------------------------------------------------------------ the answer
def answers_for(clearance: Clearance) -> Person:
    """Who answers whether they cleared a kit: whoever is named, or the record they were merged
    into."""
    return clearance.person.merged_into or clearance.person


def by_link(link: str) -> Clearance:
    """Which clearance a link is about. Raises NotFound for one that was not made here, Refused
    (`link-too-old`)."""
    expired = _("This link has expired. Tell a keeper whether you approved taking the kit.")
    pk = notice_text.read_link(link, notice_text.CLEARANCE_SALT, WITHIN, expired)
    return one(_with_all().filter(pk=pk), "link", link[:20])


def get(actor: Actor, pk: int) -> Clearance:
    """A clearance that somebody may see: their own, or of a kit of their rooms. Raises NotFound."""
    return one(visible_to(actor).filter(pk=pk), "clearance", pk)


def visible_to(actor: Actor) -> QuerySet[Clearance]:
    """The clearances that somebody may see, the newest first: their own, and those of kits of rooms
    whose notices they may see."""
    rows = _with_all().order_by("-pk")
    if actor.person is None or (actor.everywhere and actor.may("see_notices")):
        return rows
    rooms = [room for room in actor.room_ids if actor.may("see_notices", room)]
    own = Q(person=actor.person) | Q(person__merged_into=actor.person)
    return rows.filter(own | Q(checkout__kit__home_room__in=rooms))


def unanswered(kits: Iterable[int] | QuerySet[Kit], now: datetime) -> list[Clearance]:
    """The clearances of these kits (ids, or a query) that nobody has answered within a day, the
    oldest first; of take-outs that were not undone."""
    return list(
        _with_all()
        .filter(
            checkout__kit__in=kits,
            answer=None,
            entry__reversed_by=None,
            entry__recorded_at__lte=now - UNANSWERED_AFTER,
        )
        .order_by("pk")
    )


def answer_by_link(clearance: Clearance, *, confirmed: bool) -> ClearanceAnswer:
    """Record an answer by link, in the name of whoever it was sent to; see `answer`."""
    key = secret_key(notice_text.CLEARANCE_SALT, clearance.pk)
    act = Act(actor=Actor(person=answers_for(clearance)), key=key)
    return answer(act, clearance, confirmed=confirmed)


def answer(act: Act, clearance: Clearance, *, confirmed: bool) -> ClearanceAnswer:
    """Record whether somebody did clear a kit. Where they did not, its keepers and its responsible
    instructor get a notice at once, and the act is marked irregular.

    Raises NotAllowed (`not-yours`) for anybody else, Refused (`answered-already`).
    """
    act.actor.require("answer_clearance")
    person = answers_for(clearance)
    if act.person is None or act.person.pk != person.pk:
        raise NotAllowed(
            "not-yours",
            _("Only %(person)s can say whether they approved taking the kit.")
            % {"person": person.name},
        )
    with kit_book(act, clearance.checkout.kit) as (book, kit):
        if ClearanceAnswer.objects.filter(clearance=clearance).exists():
            raise AlreadyAnswered(
                "answered-already",
                _("You have already answered this. If your answer was wrong, tell a keeper."),
            )
        entry = book.post(
            EntryKind.CLEARANCE,
            kit=kit,
            trip=clearance.entry.trip,
            irregular=[] if confirmed else [ReasonCode.NOT_CLEARED],
            detail={"clearance": clearance.pk, "confirmed": confirmed},
        )
        done = ClearanceAnswer.objects.create(clearance=clearance, entry=entry, confirmed=confirmed)
        if not confirmed:
            has = clearance.checkout.person
            writing.notify_keepers(
                entry,
                "not-cleared",
                kit=kit,
                facts=NotCleared(
                    clearance=clearance.pk,
                    reasons=clearance.reasons,
                    person_id=has.pk if has else None,
                    person=has.name if has else "",
                    phone=has.phone if has else "",
                ),
            )
    return done


def _with_all() -> QuerySet[Clearance]:
    return Clearance.objects.select_related(
        "entry__trip", "entry__person", "checkout__kit__home_room", "checkout__person",
        "person__merged_into", "answer__entry",
    )  # fmt: skip
