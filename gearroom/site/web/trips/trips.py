"""Trips: those to come, a month of them, one with its kits, and one added by hand."""

import calendar as months
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils.formats import get_format
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, Problem, one
from gearroom.core.models import Room
from gearroom.core.services.people import people
from gearroom.site.web.page import (
    Done,
    actor,
    form_view,
    id_of,
    read_page,
    show,
    today_here,
    words,
)
from kits.models import Kit, Reservation, Trip
from kits.services.lookup import find
from kits.services.text import reason_texts
from kits.services.trips import (
    carried_when,
    due_times,
    leaders,
    proposals,
    reservations,
    sources,
    trip_readiness,
    trips,
)

MOST_TRIPS = 60
MOST_A_MONTH = 300


# --------------------------------------------------------------------------------- those to come
@read_page()
def list_trips(request: HttpRequest) -> HttpResponse:
    """The trips that are not over, soonest departure first."""
    trips_here, room = _trips_of(request)
    coming = trips_here.filter(last_day__gte=today_here(request), cancelled_at__isnull=True)
    rows = list(coming.select_related("calendar_event__calendar")[: MOST_TRIPS + 1])
    return show(
        request,
        "site/trips/trips.html",
        trips=trip_readiness.judge_trips(rows[:MOST_TRIPS]),
        more=len(rows) > MOST_TRIPS,
        chosen=room,
        may_edit=actor(request).may("edit_trip"),
    )


@read_page()
def month(request: HttpRequest) -> HttpResponse:
    """A month of trips, past ones too, as a calendar."""
    today = today_here(request)
    first = month_of(request.GET.get("month", ""), today)
    # Django counts the days of a week from Sunday, Python from Monday.
    start = (int(get_format("FIRST_DAY_OF_WEEK")) - 1) % 7
    weeks = months.Calendar(start).monthdatescalendar(first.year, first.month)
    trips_here, room = _trips_of(request)
    rows = trips_here.filter(first_day__lte=weeks[-1][-1], last_day__gte=weeks[0][0])
    judged = trip_readiness.judge_trips(rows[:MOST_A_MONTH])
    after = (first + timedelta(days=31)).replace(day=1)
    return show(
        request,
        "site/trips/month.html",
        first=first,
        before=first - timedelta(days=1),
        after=after,
        today=today,
        chosen=room,
        any=any(j.trip.last_day >= first and j.trip.first_day < after for j in judged),
        days=weeks[0],
        weeks=[
            [
                (day, [j for j in judged if j.trip.first_day <= day <= j.trip.last_day])
                for day in week
            ]
            for week in weeks
        ],
        may_edit=actor(request).may("edit_trip"),
    )


def month_of(text: str, today: date) -> date:
    """The first day of the month that is written as 2026-05; of this one where none is."""
    try:
        first = date.fromisoformat(f"{text}-01") if text else today.replace(day=1)
    except ValueError:
        first = date.min
    if not 2000 <= first.year < 2200:
        raise Invalid(_("Enter the month with its year, such as 2026-05."), field="month")
    return first


def _trips_of(request: HttpRequest) -> tuple[QuerySet[Trip], Room | None]:
    """The trips that somebody may see, of the room that the address names, if it does."""
    rows, room = find.trips_of(actor(request)), chosen_room(request)
    return (rows.filter(room=room) if room else rows), room


def chosen_room(request: HttpRequest) -> Room | None:
    """The room that the address names, if it does."""
    slug = request.GET.get("room", "")
    return find.room(actor(request), slug) if slug else None


# ------------------------------------------------------------------------------------------ one
@read_page()
def show_trip(request: HttpRequest, trip: int, problem: Problem | None = None) -> HttpResponse:
    """A trip: what it needs, its kits, and which others could go."""
    who, row = actor(request), find.trip(actor(request), trip)
    (judged,) = trip_readiness.judge_trips([row])
    facts: dict[str, Any] = {
        "judged": judged,
        "trip": row,
        "hazards": words.hazards(row.hazards),
        "to_add": carried_when.to_add(row, [each.kit for each in judged.kits])
        if judged.state not in ("cancelled", "over")
        else (),
        "kits": [
            (
                each,
                reason_texts.reasons(each.verdict.reasons) if each.verdict else [],
                each.reservation is not None
                and not each.on_it
                and who.may("reserve", each.kit.home_room_id),
            )
            for each in judged.kits
        ],
        "profile": _profile(row, [each.kit for each in judged.kits]),
        "freed": trips.freed(row),
        "longer": due_times.longer(who, row) if any(each.on_it for each in judged.kits) else (),
        "lacking": reason_texts.reasons(judged.lacking),
        "clashes": trips.clashes_of(row) if judged.state != "over" else [],
        "phones": who.may("see_people", row.room_id),
        "ages": _ages(row),
        "changed_here": sources.is_changed_here(row),
        "may_edit": who.may("edit_trip", row.room_id),
        "may_reserve": who.may("reserve", row.room_id),
    }
    if judged.state not in ("cancelled", "over") and facts["may_reserve"]:
        facts["proposal"] = proposals.proposal(who, row)
        # The leader is what is chosen where nobody else is.
        leader = [row.leader_id] if row.leader_id else []
        facts["people"] = people.choices(who).exclude(pk__in=leader)
    facts["may_name_leader"] = (
        bool(row.leader_email)
        and judged.state not in ("cancelled", "over")
        and facts["may_edit"]
        and facts["phones"]
    )
    if facts["may_name_leader"]:
        facts["people_here"] = people.choices(who)
    return show(request, "site/trips/trip/trip.html", problem=problem, **facts)


def _ages(trip: Trip) -> str:
    """The ages of those who go on a trip, as far as somebody gave them."""
    ages = {"youngest": trip.youngest, "oldest": trip.oldest}
    if trip.youngest is None and trip.oldest is None:
        return ""
    if trip.oldest is None:
        return _("%(youngest)s years and older") % ages
    if trip.youngest is None:
        return _("up to %(oldest)s years old") % ages
    if trip.youngest == trip.oldest:
        return _("%(youngest)s years old") % ages
    return _("%(youngest)s to %(oldest)s years old") % ages


def _profile(trip: Trip, kits: Sequence[Kit]) -> str:
    """What a list is drafted for, as the address of that page says it."""
    said: dict[str, Any] = {
        "people": trip.people,
        "days": (trip.last_day - trip.first_day).days + 1,
        "activity": trip.activity.key if trip.activity else "",
        "hazard": trip.hazards,
        "hours": "" if trip.hours_to_care is None else f"{trip.hours_to_care.normalize():f}",
        "like": kits[0].list_version_id if kits else "",
        "children": "" if trip.children else 0,
    }
    return urlencode(said, doseq=True)


@form_view("reserve", "trip", refused=show_trip)
def reserve(act: Act, request: HttpRequest, trip: int) -> Done:
    """Reserve the named kits for a trip, for a person of it if one is named."""
    row, ref = find.trip(act.actor, trip), request.POST.get("person", "")
    if not (names := [name for name in request.POST.getlist("kit") if name]):
        raise Invalid(_("Choose a kit to reserve."), field="kit")
    person = find.person(act.actor, ref) if ref else None
    done = [
        reservations.reserve(act, find.kit(act.actor, name), row, person=person) for name in names
    ]
    return Done(
        _("Reserved for %(trip)s: %(kits)s.")
        % {
            "trip": row.name,
            "kits": ", ".join(each.reservation.kit.name for each in done),
        }
    )


@form_view("reserve", "trip", refused=show_trip)
def release(act: Act, request: HttpRequest, trip: int) -> Done:
    """Take the reservation of a kit back."""
    row, ref = find.trip(act.actor, trip), request.POST.get("reservation", "")
    reservation = one(Reservation.objects.filter(trip=row, pk=id_of(ref) or 0), "reservation", ref)
    done = reservations.release(act, reservation)
    return Done(
        _("%(kit)s is no longer reserved for %(trip)s.") % {"kit": done.kit.name, "trip": row.name}
    )


@form_view("edit_trip", "trip", refused=show_trip)
def name_leader(act: Act, request: HttpRequest, trip: int) -> Done:
    """Say who the leader is whom another system names by email address."""
    row, ref = find.trip(act.actor, trip), request.POST.get("person", "")
    if not ref:
        raise Invalid(_("Choose who leads the trip."), field="person")
    person = find.person(act.actor, ref)
    leaders.name_leader(act, row, person)
    return Done(
        _("Saved: %(email)s is %(name)s, for this trip and those to come.")
        % {"email": row.leader_email, "name": person.name}
    )
