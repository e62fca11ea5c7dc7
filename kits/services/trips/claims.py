"""Whose reservation the kit in the hand has, and what follows at the hatch before it goes.

Another kit is reserved for one's own trip: the refusal names it, and one tap swaps the two. The kit
in the hand is reserved for another guide: the two change places by themselves where the same list
leaves every trip covered; else one tap swaps, or it is taken with a reason.
"""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import NOT_GIVEN, Act, NotGiven, Problem, Refused, part
from gearroom.core.models import Person
from kits.models import Kit, Trip
from kits.rules.trips.trips import Coverage
from kits.services.ledger import verdicts
from kits.services.lookup import OpenPromise, promises
from kits.services.trips import reservations, trip_readiness
from kits.services.trips.purpose import (
    Plan,
    instead_of,
    plan,
    reserved_for_another,
    uncovered_soon,
    would_do,
)

_SOON = timedelta(days=1)
"""How long before a departure somebody with another kit in the hand is thought to mean it."""


@dataclass(frozen=True)
class Terms:
    """A request to take a kit out, apart from who takes it; see `custody.check_out`. `swap`: let it
    change places with the kit that is reserved."""

    trip: Trip | NotGiven | None = NOT_GIVEN
    due_at: datetime | NotGiven | None = NOT_GIVEN
    swap: bool = False
    take_reason: str = ""


@dataclass(frozen=True)
class Departure:
    """For which trip a kit goes, to whom, and what was swapped for it."""

    trip: Trip | NotGiven | None
    holder: Person | None
    swapped: str = ""


def settle(act: Act, kit: Kit, terms: Terms, holder: Person | None, *, alone: bool) -> Departure:
    """Settle what stands between a kit and whoever takes it, as far as it settles itself or
    `terms.swap` says so. Only a kit that was read `alone` is swapped: others were locked before.

    Raises Refused (`another-kit-is-reserved`, `reserved-for-another`), and what a swap raises.
    """
    going, replaced = _look(kit, terms, holder)
    if alone and (replaced is not None or going.others):
        _lock(going, replaced)
        going, replaced = _look(kit, terms, holder)  # another phone may have swapped them
    if replaced is not None:
        return _for_ones_own_trip(act, going, replaced, terms, holder, alone=alone)
    if going.others and alone and not terms.take_reason:
        return Departure(terms.trip, holder, _give_another(act, going, terms))
    return Departure(terms.trip, holder)


def _look(kit: Kit, terms: Terms, holder: Person | None) -> tuple[Plan, OpenPromise | None]:
    going = plan(kit, person=holder, trip=terms.trip, due_at=terms.due_at)
    return going, replaced_promise(kit, terms, holder)


def _lock(going: Plan, replaced: OpenPromise | None) -> None:
    """Lock the kits that would change places, in ascending order, until the act is done."""
    other = replaced.reservation.kit if replaced is not None else instead_of(going.others[0])
    kits = {going.kit.pk, other.pk if other is not None else going.kit.pk}
    list(Kit.objects.select_for_update(of=("self",)).filter(pk__in=kits).order_by("pk"))


def _for_ones_own_trip(
    act: Act,
    going: Plan,
    replaced: OpenPromise,
    terms: Terms,
    holder: Person | None,
    *,
    alone: bool,
) -> Departure:
    """Another kit is reserved for the trip that this one would go with."""
    kit, other = going.kit, next(iter(going.others), None)
    planned, trip = replaced.reservation.kit, replaced.trip
    swap_act = part(act, kit.name, "swap")
    holder = holder or replaced.reservation.person
    if other is not None and alone and not terms.take_reason:
        done = swap_by_itself(swap_act, planned, kit, trip, [trip, other.trip])
        if done is not None:
            return Departure(trip, holder, _now_has(other, planned))
    if terms.swap:
        reservations.swap(swap_act, planned, kit, trip)
        return Departure(trip, holder, _now_has(other, planned) if other else "")
    if other is None:
        raise another_is_reserved(kit, replaced)
    near = uncovered_soon(other, going.due_day)
    if not terms.take_reason:
        swap = planned if would_do(planned, other) else None
        raise reserved_for_another(kit, other, swap, near)
    return Departure(trip, holder)


def _give_another(act: Act, going: Plan, terms: Terms) -> str:
    """Give the other guide a free kit in the place of this one; says which, or nothing."""
    kit, other = going.kit, going.others[0]
    if (free := instead_of(other)) is None:
        return ""
    swap_act = part(act, kit.name, "swap")
    done = swap_by_itself(swap_act, kit, free, other.trip, [other.trip])
    if done is None and terms.swap:
        done = reservations.swap(swap_act, kit, free, other.trip)
    return _now_has(other, free) if done is not None else ""


def _now_has(other: OpenPromise, kit: Kit) -> str:
    trip = other.trip
    whom = other.guide.name if other.guide else trip.leader_name or trip.name
    return _("Swapped: %(whom)s now has %(kit)s.") % {"whom": whom, "kit": kit.name}


def replaced_promise(kit: Kit, terms: Terms, holder: Person | None) -> OpenPromise | None:
    """The reservation of another kit that this one would go out in the place of, or None.

    That is so where a trip is named which has other kits and not this one; and where somebody is
    named for whom another kit is reserved that departs soon, and not this one.
    """
    if isinstance(terms.trip, Trip):
        rows = promises.open_promises(trips=[terms.trip.pk])
    elif terms.trip is not None and holder is not None:
        soon = clock.now() + _SOON
        rows = [r for r in promises.open_promises(guide=holder.pk) if r.trip.departs_at <= soon]
    else:
        return None
    own = next((r for r in rows if r.promise.kit == kit.pk), None)
    if own is not None and (holder is None or own.reservation.person_id in (None, holder.pk)):
        return None
    waiting = [r for r in rows if r.promise.kit != kit.pk and not r.promise.taken]
    theirs = [r for r in waiting if holder and r.reservation.person_id == holder.pk]
    return _best_replaced(theirs or ([] if own else waiting), kit)


def _best_replaced(rows: list[OpenPromise], kit: Kit) -> OpenPromise | None:
    """Which of these reservations a kit is taken in the place of: of a kit of the same list before
    others, of one that may not go as it is before those that may, then in their order."""
    same = kit.list_version.packing_list_id
    rows = [r for r in rows if r.reservation.kit.list_version.packing_list_id == same] or rows
    if len(rows) < 2:
        return next(iter(rows), None)
    questions = [(r.reservation.kit, verdicts.Question(r.trip.last_day, r.trip)) for r in rows]
    judged = zip(rows, verdicts.answers(questions), strict=True)
    return next((r for r, its in judged if not its.verdict.fit), rows[0])


def another_is_reserved(kit: Kit, replaced: OpenPromise) -> Refused:
    """The refusal that says which kit is the one for this trip."""
    row = replaced.reservation
    sentence = (
        _(
            "%(other)s is reserved for %(whom)s for %(trip)s, not %(mine)s. Take %(other)s, or "
            "swap the two kits."
        )
        if row.person
        else _(
            "%(other)s is reserved for %(trip)s, not %(mine)s. Take %(other)s, or swap the two "
            "kits."
        )
    )
    return Refused(
        "another-kit-is-reserved",
        sentence
        % {
            "other": row.kit.name,
            "trip": replaced.trip.name,
            "mine": kit.name,
            "whom": row.person.name if row.person else "",
        },
        kit=kit.name,
        reserved=row.kit.name,
        reservation=row.pk,
        trip=replaced.trip.pk,
    )


# ------------------------------------------------------------------------------------------- swaps
def swap_by_itself(
    act: Act, from_kit: Kit, to_kit: Kit, trip: Trip, trips: Iterable[Trip]
) -> reservations.SwapResult | None:
    """Let `to_kit` go with `trip` in the place of `from_kit`, where both follow the same list and
    each of `trips` is covered then; else nothing is written, and the answer is None."""
    if from_kit.list_version.packing_list_id != to_kit.list_version.packing_list_id:
        return None
    with suppress(Problem), transaction.atomic():
        done = reservations.swap(act, from_kit, to_kit, trip)
        after = trip_readiness.judge_trips(trips, still_here=True)
        if all(each.coverage is Coverage.COVERED for each in after):
            return done
        transaction.set_rollback(True)
    return None
