"""Which free kits to send with a trip, and why not the others. Nothing is reserved by asking."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q
from django.utils.functional import Promise
from django.utils.translation import gettext as _, gettext_lazy as _lazy

from gearroom.core import clock
from gearroom.core.acts import Actor
from kits.models import Checkout, Kit, Trip
from kits.rules.ledger.facts import Reason
from kits.rules.trips.proposal import Candidate, PassedOver, propose
from kits.services.ledger import readiness
from kits.services.lookup import find, promises
from kits.services.text import reason_texts, wording
from kits.services.trips import reservations


@dataclass(frozen=True)
class PassedOverKit:
    """A kit that is not proposed, with each reason as `reason_row` gives it."""

    kit: Kit
    reasons: Sequence[dict[str, Any]]


@dataclass(frozen=True)
class TripProposal:
    """Kits reserved for the trip already, those proposed beside them, why not the others, and what
    all of them together do not serve (nothing when they suit)."""

    trip: Trip
    promised: Sequence[Kit]
    proposed: Sequence[Kit]
    passed_over: Sequence[PassedOverKit]
    lacking: Sequence[dict[str, Any]]
    as_of: datetime


def proposal(actor: Actor, trip: Trip) -> TripProposal:
    """Propose the fewest kits, of those that somebody sees and that are at home or now in the
    trip's room, that are free, fit through its last day and suit it together.

    Asked of the database in a number of queries that does not grow with the kits. Raises Refused
    (`trip-cancelled`), Unacceptable (`trip-is-over`).
    """
    visible = find.kits_of(actor).active()
    going = visible.filter(
        Q(reservations__trip=trip, reservations__released__isnull=True)
        | Q(checkouts__trip=trip, checkouts__in_at__isnull=True, checkouts__section__isnull=True)
    ).values("pk")
    if trip.room_id is not None:
        visible = visible.filter(Q(room=trip.room_id) | Q(home_room=trip.room_id) | Q(pk__in=going))
    kits = {kit.pk: kit for kit in visible.order_by("name")}
    promised = set(going.values_list("pk", flat=True))
    promises.refuse_ended(trip, _("%(trip)s was cancelled, so it needs no kits."))
    states = readiness.states(kits)
    reserved = {r.kit_id: r.trip.name for r in reservations.clashing(kits, trip)}
    out = {
        c.kit_id: c
        for c in Checkout.objects.open()
        .of_whole_kits()
        .filter(kit__in=kits)
        .select_related("person")
    }
    candidates = [
        Candidate(
            states[pk],
            readiness.for_trip(kit, states[pk], trip),
            reserved_for=reserved.get(pk, ""),
            out_with=_beyond(out.get(pk), kit, trip),
        )
        for pk, kit in kits.items()
        if pk not in promised
    ]
    proposed = propose(
        readiness.needs_of(trip), candidates, [states[pk] for pk in sorted(promised)]
    )
    return TripProposal(
        trip,
        [kit for pk, kit in kits.items() if pk in promised],
        [kits[pk] for pk in proposed.chosen],
        [
            PassedOverKit(kit, [reason_row(r) for r in proposed.passed_over[pk]])
            for pk, kit in kits.items()
            if pk in proposed.passed_over
        ],
        [reason_row(r) for r in proposed.lacking],
        clock.now(),
    )


def reason_row(why: Reason) -> dict[str, Any]:
    """A reason with its sentence, those of passing over a kit among them."""
    if (sentence := _SENTENCES.get(why.code)) is None:
        return reason_texts.reason(why)
    facts: Mapping[str, Any] = why.facts
    return {
        "code": str(why.code),
        "weight": why.weight.name.lower(),
        "text": str(sentence)
        % {
            **facts,
            "hazards": ", ".join(wording.hazards(facts.get("hazards", ()))),
            "kits": ", ".join(facts.get("kits", ())),
        },
        "facts": reason_texts.plain(facts),
    }


_SENTENCES: dict[str, Promise] = {
    PassedOver.RESERVED: _lazy("This kit is reserved for %(trip)s on those days."),
    PassedOver.OUT_PAST_DEPARTURE: _lazy("%(person)s has this kit until after the departure."),
    PassedOver.NOT_SET_UP: _lazy("Nobody has entered the contents of this kit yet."),
    PassedOver.FEWER_DO: _lazy("Fewer kits are enough: %(kits)s."),
    PassedOver.FEWER_PEOPLE: _lazy("This kit serves %(served)s people, but %(people)s are going."),
    PassedOver.FEWER_DAYS: _lazy(
        "The kit list of this kit is made for %(made_for)s days, but the trip lasts %(days)s."
    ),
    PassedOver.MORE_PEOPLE: _lazy(
        "This kit serves %(served)s people; %(instead)s is enough for this trip."
    ),
    PassedOver.OTHER_HAZARDS: _lazy(
        "The kit list of this kit is also made for %(hazards)s, which this trip does not involve."
    ),
    PassedOver.AS_GOOD: _lazy("%(instead)s is enough."),
}


def _beyond(held: Checkout | None, kit: Kit, trip: Trip) -> str:
    """Who has a kit when the trip departs, as it looks now; an overdue kit may stay out as well."""
    if held is None or promises.back_in_time(held, kit.home_room, trip, clock.now()):
        return ""
    return held.person.name if held.person else _("Somebody")
