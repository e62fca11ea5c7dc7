"""What taking a kit out would mean, and whether it may: for which trip it goes, who gets it, until
when, how it stands through then, and whose reservation is in the way.

A kit goes out for the trip that is named; else for what it is reserved for by tomorrow, if whoever
takes it is that trip's guide; else for none.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import NOT_GIVEN, Act, NotGiven, Refused, Unacceptable
from gearroom.core.models import Person
from gearroom.core.services.people import people
from kits.models import Checkout, Kit, Reservation, Trip
from kits.rules.ledger.facts import LivesIn, Verdict
from kits.rules.trips import trips as rule
from kits.services.ledger import readiness, verdicts
from kits.services.lookup import OpenPromise, promises
from kits.services.text import wording

SOON = timedelta(hours=48)
"""How near a departure has to be for its kit to stay reserved for it, whatever the reason."""


@dataclass(frozen=True)
class Plan:
    """What taking a kit out would mean. `due_at` None: nobody set a time. `others`: the
    reservations for others that are in the way."""

    kit: Kit
    trip: Trip | None
    person: Person | None
    reservation: Reservation | None
    due_at: datetime | None
    due_day: date | None
    verdict: Verdict
    others: Sequence[OpenPromise] = ()


def plan(
    kit: Kit,
    *,
    person: Person | None = None,
    trip: Trip | NotGiven | None = NOT_GIVEN,
    due_at: datetime | NotGiven | None = NOT_GIVEN,
    taken_at: datetime | None = None,
) -> Plan:
    """Who and what a kit would go out for. `trip` None: for none; `due_at` None: no time is set;
    `taken_at`: when it was reported, if that is not now."""
    zone = kit.home_room.time_zone
    taken_at = taken_at or clock.now()
    today = readiness.today_of(kit)
    its = promises.of_kits([kit.pk]).get(kit.pk, [])
    if trip is NOT_GIVEN:
        promise = promises.goes_out_for(its, kit, person, clock.local_date(taken_at, zone))
        trip = promise.trip if promise else None
    reservation = None
    if trip is not None:
        reservation = (
            Reservation.objects.promised()
            .select_related("person")
            .filter(kit=kit, trip=trip)
            .first()
        )
        person = person or (reservation.person if reservation else None) or trip.leader
    if due_at is NOT_GIVEN:
        due_at = trip.returns_at if trip else due_without_trip(kit, person, taken_at)
    due_day = clock.local_date(due_at, zone) if due_at else None
    others = promises.in_the_way(
        its,
        kit,
        person,
        today,
        due_day,
        # What was reserved on days of its own is taken as it was reserved.
        nights=0 if reservation else kit.home_room.sorting_nights,
        trip=trip,
    )
    through = max(trip.last_day if trip else due_day or today, today)
    verdict = verdicts.verdict(kit, through, trip)
    return Plan(kit, trip, person, reservation, due_at, due_day, verdict, others)


def due_without_trip(kit: Kit, taker: Person | None, taken_at: datetime) -> datetime | None:
    """When a kit that is taken for no trip is due, where it is at home; at no time for somebody
    who works alone there."""
    room = kit.home_room
    if taker is not None and people.works_alone(taker, room):
        return None
    local = taken_at.astimezone(ZoneInfo(room.time_zone))
    return rule.due_without_trip(local, room.closing_time, LivesIn(kit.lives_in))


def refuse_past(act: Act, due_at: datetime | None) -> None:
    """Raise Unacceptable (`due-in-the-past`) for a time due that has passed."""
    if due_at is not None and due_at <= act.received_at:
        raise Unacceptable(
            "due-in-the-past",
            _("The return time has already passed. Enter a time in the future."),
        )


# --------------------------------------------------------------------- another's reservation
def refuse_promised(act: Act, going: Plan, take_reason: str) -> None:
    """Refuse a kit that is reserved for another's trip then, unless a reason says why it goes all
    the same; where that trip would go uncovered within 48 hours, only a keeper may say so.

    Raises Refused (`reserved-for-another`, with the kit that would do in its place) and, for a
    reason of somebody who may not give one, NotAllowed.
    """
    if not going.others:
        return
    kit, other = going.kit, going.others[0]
    near = uncovered_soon(other, going.due_day)
    if take_reason:
        if not near or act.actor.may("check_out_short", kit.room_id):
            return
        if act.actor.could("check_out_short", kit.room_id):
            act.actor.require("check_out_short", kit.room_id)  # which asks for the PIN
    raise reserved_for_another(kit, other, instead_of(other), near)


def reserved_for_another(kit: Kit, other: OpenPromise, swap: Kit | None, near: bool) -> Refused:
    """The refusal that says whose reservation is in the way, and what would do in its place."""
    trip, guide = other.trip, other.guide
    facts = {
        "kit": kit.name,
        "trip": trip.name,
        "whom": guide.name if guide else trip.leader_name or _("an unnamed person"),
        "day": wording.day(trip.first_day),
        "swap": swap.name if swap else "",
    }
    sentence = _("%(kit)s is reserved for %(whom)s (%(trip)s, %(day)s).") % facts
    if swap is not None:
        sentence += (
            " "
            + _("%(swap)s is ready for that trip: swap the two kits, or take that one instead.")
            % facts
        )
    elif near:
        sentence += " " + _(
            "That trip would be left without a kit. Take another kit, or ask a keeper."
        )
    else:
        sentence += " " + _("Take another kit, or enter why you are taking this one.")
    return Refused(
        "reserved-for-another",
        sentence,
        kit=kit.name,
        reservation=other.reservation.pk,
        trip=trip.pk,
        trip_name=trip.name,
        first_day=trip.first_day.isoformat(),
        guide=guide.pk if guide else None,
        guide_name=guide.name if guide else trip.leader_name,
        swap=swap.name if swap else None,
        uncovered_within_48h=near,
    )


def uncovered_soon(other: OpenPromise, due_day: date | None) -> bool:
    """Whether a trip that leaves within 48 hours would go without a kit that is taken until a day
    (None: nobody set one)."""
    trip = other.trip
    if trip.departs_at > clock.now() + SOON:
        return False
    nights = other.reservation.kit.home_room.sorting_nights
    return not rule.back_in_time(trip.first_day, due_day, overdue=False, nights=nights)


def instead_of(other: OpenPromise) -> Kit | None:
    """A free kit of the same list, the same version first, that is ready or low through the trip's
    last day and would do in the place of the reserved one; None when there is none."""
    kit, trip = other.reservation.kit, other.trip
    out = Checkout.objects.open().of_whole_kits().values("kit")
    rows = {
        row.pk: row
        for row in Kit.objects.active()
        .filter(list_version__packing_list=kit.list_version.packing_list_id, room=kit.room_id)
        .exclude(pk=kit.pk)
        .exclude(pk__in=out)
        .select_related("home_room")
    }
    for each in promises.open_promises(kits=list(rows)):
        if rule.share_a_day(trip.first_day, trip.last_day, each.promise):
            rows.pop(each.promise.kit, None)
    states = readiness.states(rows) if rows else {}
    return min(
        (row for pk, row in rows.items() if readiness.for_trip(row, states[pk], trip).fit),
        key=lambda row: (row.list_version_id != kit.list_version_id, row.name),
        default=None,
    )


def would_do(kit: Kit, other: OpenPromise) -> bool:
    """Whether a kit follows the list of a reserved one and is ready or low through the last day of
    that trip."""
    same = kit.list_version.packing_list_id == other.reservation.kit.list_version.packing_list_id
    state = readiness.states([kit.pk])[kit.pk]
    return same and readiness.for_trip(kit, state, other.trip).fit
