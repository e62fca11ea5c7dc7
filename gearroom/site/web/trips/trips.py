"""Trips: those to come, a month of them, one with its kits, and one added by hand."""

import calendar as months
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.formats import get_format
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Actor, Invalid, Problem, Stale, one
from gearroom.core.models import Room
from gearroom.core.services.people import people
from gearroom.site.web.page import (
    Done,
    Moment,
    PageForm,
    Several,
    ShortText,
    Tick,
    WholeNumber,
    actor,
    form_view,
    here,
    id_of,
    read_page,
    rooms_of,
    show,
    today_here,
    words,
)
from gearroom.site.web.page.forms import Number
from gearroom.site.web.planning.vocabulary import chosen_activity
from kits.models import Activity, Kit, Reservation, Trip
from kits.services.lookup import find
from kits.services.text import reason_texts
from kits.services.trips import (
    carried_when,
    due_times,
    proposals,
    reservations,
    trip_readiness,
    trips,
)
from kits.services.trips.trips import TripFacts

MOST_TRIPS = 60
MOST_HOURS = Decimal(999)
MOST_A_MONTH = 300


# --------------------------------------------------------------------------------- those to come
@read_page()
def list_trips(request: HttpRequest) -> HttpResponse:
    """The trips that are not over, soonest departure first."""
    trips_here, room = _trips_of(request)
    coming = trips_here.filter(last_day__gte=today_here(request), cancelled_at__isnull=True)
    rows = list(coming[: MOST_TRIPS + 1])
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
        "by_hand": row.source == trips.BY_HAND,
        "may_edit": who.may("edit_trip", row.room_id),
        "may_reserve": who.may("reserve", row.room_id),
    }
    if judged.state not in ("cancelled", "over") and facts["may_reserve"]:
        facts["proposal"] = proposals.proposal(who, row)
        # The leader is what is chosen where nobody else is.
        leader = [row.leader_id] if row.leader_id else []
        facts["people"] = people.choices(who).exclude(pk__in=leader)
    return show(request, "site/trips/trip/trip.html", problem=problem, **facts)


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


# ------------------------------------------------------------------------------------- by hand
def _add_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    return _form_page(
        request,
        None,
        request.POST or {"people": "8", "room": getattr(here(request), "slug", "")},
        problem,
    )


@form_view("edit_trip", page_of=_add_page)
def add(act: Act, request: HttpRequest) -> Done:
    """A trip that no other system knows."""
    done = trips.add_by_hand(act, _facts(act.actor, request.POST))
    return Done(
        _("%(trip)s has been added. Reserve kits for it now.") % {"trip": done.trip.name},
        to=reverse("trip", args=[done.trip.pk]),
    )


def _editable(who: Actor, trip: int) -> Trip:
    row = find.trip(who, trip)
    who.require("edit_trip", row.room_id)
    return row


def _require_by_hand(trip: Trip) -> None:
    """Raise Invalid for a trip that another system knows."""
    if trip.source != trips.BY_HAND:
        raise Invalid(
            _(
                "%(trip)s comes from “%(source)s”. Change it there, and it will be updated here "
                "automatically."
            )
            % {"trip": trip.name, "source": trip.source}
        )


def _edit_page(request: HttpRequest, trip: int, problem: Problem | None = None) -> HttpResponse:
    row = _editable(actor(request), trip)
    try:
        _require_by_hand(row)
    except Invalid as elsewhere:
        return show(request, "site/trips/changed_elsewhere.html", problem=elsewhere, trip=row)
    return _form_page(request, row, request.POST if problem else _values_of(row), problem)


@form_view("edit_trip", "trip", page_of=_edit_page)
def edit(act: Act, request: HttpRequest, trip: int) -> Done:
    """Change a trip that was added by hand, or cancel it."""
    sent, row = request.POST, _editable(act.actor, trip)
    _require_by_hand(row)

    def as_it_was_read(now: Trip) -> None:
        if sent.get("revision") != str(now.revision):
            raise Stale(
                "changed-since",
                _("Somebody has changed %(trip)s since you opened it. Reload the page.")
                % {"trip": now.name},
            )

    facts = _facts(act.actor, sent)
    act = replace(act, match=as_it_was_read)
    done = trips.put(act, row.source, row.reference, facts)
    if facts.cancelled and done.released:
        sentence = _("%(trip)s has been cancelled. Available again: %(kits)s.")
        return Done(sentence % {"trip": done.trip.name, "kits": ", ".join(done.released)})
    sentence = (
        _("%(trip)s has been cancelled.") if facts.cancelled else _("%(trip)s has been saved.")
    )
    sentence %= {"trip": done.trip.name}
    if done.due_changed and not facts.cancelled:
        follow = _("Now due back at the trip’s new return time: %(kits)s.") % {
            "kits": ", ".join(done.due_changed)
        }
        sentence = f"{sentence} {follow}"
    return Done(sentence)


def _form_page(
    request: HttpRequest, trip: Trip | None, sent: Mapping[str, Any], problem: Problem | None = None
) -> HttpResponse:
    who = actor(request)
    return show(
        request,
        "site/trips/form.html",
        problem=problem,
        trip=trip,
        sent=sent,
        chosen=request.POST.getlist("hazard") if problem else sent.get("hazard", ()),
        hazards=words.HAZARDS.items(),
        activities=Activity.objects.filter(
            Q(retired_on=None) | Q(pk=trip.activity_id if trip else None)
        ),
        rooms_here=[room for room in rooms_of(request) if who.may("edit_trip", room.pk)],
        people=people.choices(actor(request)),
    )


class TripForm(PageForm):
    """A trip added by hand."""

    name = ShortText(160)
    departs_at = Moment(label=gettext_lazy("Departs"))
    returns_at = Moment(label=gettext_lazy("Returns"))
    people = WholeNumber(least=1, most=trips.MOST_PEOPLE, label=gettext_lazy("People"))
    hazard = Several()
    activity = ShortText(40)
    hours_to_care = Number(
        MOST_HOURS, required=False, label=gettext_lazy("Hours to a hospital or doctor")
    )
    children = Tick()
    latex_free = Tick()
    leader_name = ShortText(120)
    leader_phone = ShortText(40)


def _facts(who: Actor, sent: QueryDict) -> TripFacts:
    slug, ref = sent.get("room", ""), sent.get("leader", "")
    room = find.room(who, slug) if slug else None
    values = TripForm.read(sent, zone=room.time_zone if room else settings.TIME_ZONE)
    values["hazards"] = values.pop("hazard")
    values["activity"] = chosen_activity(values["activity"])
    leader = find.person(who, ref) if ref else None
    if leader is not None:
        values |= {"leader_name": "", "leader_phone": ""}
    return TripFacts(room=room, leader=leader, cancelled=bool(sent.get("cancel")), **values)


def _values_of(trip: Trip) -> dict[str, Any]:
    """A trip as its form shows it."""
    zone = ZoneInfo(trip.room.time_zone if trip.room else settings.TIME_ZONE)
    return {
        "name": trip.name,
        "revision": trip.revision,
        "departs_at": f"{trip.departs_at.astimezone(zone):%Y-%m-%dT%H:%M}",
        "returns_at": f"{trip.returns_at.astimezone(zone):%Y-%m-%dT%H:%M}",
        "people": trip.people,
        "room": trip.room.slug if trip.room else "",
        "hazard": trip.hazards,
        "activity": trip.activity.key if trip.activity else "",
        "hours_to_care": "" if trip.hours_to_care is None else f"{trip.hours_to_care:f}",
        "children": trip.children,
        "latex_free": trip.latex_free,
        "leader": str(trip.leader_id or ""),
        "leader_name": trip.leader_name,
        "leader_phone": trip.leader_phone,
    }
