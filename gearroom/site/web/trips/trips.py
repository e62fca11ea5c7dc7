"""Trips: those to come, a month of them, one with its kits, and one added by hand."""

from __future__ import annotations

import calendar as months
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.formats import get_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.problems import Invalid, NotFound, Problem, Stale
from gearroom.core.models import Room
from gearroom.core.services.people import people
from gearroom.site.web.page import words
from gearroom.site.web.page.forms import Moment, PageForm, Several, ShortText, Tick, WholeNumber
from gearroom.site.web.page.shell import Done, acted, actor, here, page, rooms_of, show, today_here
from kits.models import Reservation, Trip
from kits.services.lookup import find
from kits.services.text import reason_texts
from kits.services.trips import due_times, proposals, reservations, trip_readiness, trips
from kits.services.trips.trips import TripFacts

MOST_TRIPS = 60
MOST_A_MONTH = 300


# --------------------------------------------------------------------------------- those to come
@require_safe
@page()
def list_trips(request: HttpRequest) -> HttpResponse:
    """The trips that are not over, soonest departure first."""
    rows = find.trips_of(actor(request)).filter(last_day__gte=today_here(request))
    chosen = _room_said(request)
    if chosen is not None:
        rows = rows.filter(room=chosen)
    found = list(rows.filter(cancelled_at__isnull=True)[: MOST_TRIPS + 1])
    facts = {
        "trips": trip_readiness.judge_trips(found[:MOST_TRIPS]),
        "more": len(found) > MOST_TRIPS,
        "chosen": chosen,
        "may_edit": actor(request).may("edit_trip"),
    }
    return show(request, "site/trips/trips.html", facts)


@require_safe
@page()
def month(request: HttpRequest) -> HttpResponse:
    """A month of trips, past ones too, as a calendar."""
    today = today_here(request)
    first = _month_said(request.GET.get("month", ""), today)
    # Django counts the days of a week from Sunday, Python from Monday.
    start = (int(get_format("FIRST_DAY_OF_WEEK")) - 1) % 7
    weeks = months.Calendar(start).monthdatescalendar(first.year, first.month)
    chosen = _room_said(request)
    rows = find.trips_of(actor(request)).filter(
        first_day__lte=weeks[-1][-1], last_day__gte=weeks[0][0]
    )
    if chosen is not None:
        rows = rows.filter(room=chosen)
    seen = trip_readiness.judge_trips(rows[:MOST_A_MONTH])
    after = (first + timedelta(days=31)).replace(day=1)
    facts = {
        "first": first,
        "before": first - timedelta(days=1),
        "after": after,
        "today": today,
        "chosen": chosen,
        "any": any(s.trip.last_day >= first and s.trip.first_day < after for s in seen),
        "days": weeks[0],
        "weeks": [
            [(day, [s for s in seen if s.trip.first_day <= day <= s.trip.last_day]) for day in week]
            for week in weeks
        ],
        "may_edit": actor(request).may("edit_trip"),
    }
    return show(request, "site/trips/month.html", facts)


def _month_said(text: str, today: date) -> date:
    """The first day of the month that is asked for as 2026-05; of this one where none is."""
    try:
        first = date.fromisoformat(f"{text}-01") if text else today.replace(day=1)
    except ValueError:
        first = date.min
    if not 2000 <= first.year < 2200:
        says = _("Enter a month as year and month, such as 2026-05.")
        raise Invalid(says, field="month")
    return first


def _room_said(request: HttpRequest) -> Room | None:
    slug = request.GET.get("room", "")
    return find.room(actor(request), slug) if slug else None


# ------------------------------------------------------------------------------------------ one
@require_safe
@page()
def show_trip(request: HttpRequest, trip: int) -> HttpResponse:
    """A trip: what it needs, its kits, and which others could go."""
    return _trip_page(request, find.trip(actor(request), trip))


def _trip_page(request: HttpRequest, trip: Trip, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    (seen,) = trip_readiness.judge_trips([trip])
    facts: dict[str, Any] = {
        "seen": seen,
        "trip": trip,
        "hazards": words.hazards(trip.hazards),
        "kits": [
            (
                row,
                reason_texts.reasons(row.verdict.reasons) if row.verdict else [],
                row.reservation is not None
                and not row.on_it
                and who.may("reserve", row.kit.home_room_id),
            )
            for row in seen.kits
        ],
        "freed": trips.freed(trip),
        "longer": due_times.longer(who, trip) if any(row.on_it for row in seen.kits) else (),
        "lacking": reason_texts.reasons(seen.lacking),
        "clashes": trips.clashes_of(trip) if seen.state != "over" else [],
        "phones": who.may("see_people", trip.room_id),
        "by_hand": trip.source == trips.BY_HAND,
        "may_edit": who.may("edit_trip", trip.room_id),
        "may_reserve": who.may("reserve", trip.room_id),
    }
    if seen.state not in ("cancelled", "over") and facts["may_reserve"]:
        facts["proposal"] = proposals.proposal(who, trip)
        facts["people"] = _people(request)
    return show(request, "site/trips/trip.html", facts, problem=problem)


def _people(request: HttpRequest) -> Any:
    who = actor(request)
    if not who.may("see_people"):
        return []
    return people.may_take(who)


@require_POST
@page("reserve")
def reserve(request: HttpRequest, trip: int) -> HttpResponse:
    """Promise the named kits to a trip, to a person of it if one is named."""
    found = find.trip(actor(request), trip)
    names = [name for name in request.POST.getlist("kit") if name]

    def perform(act: Act) -> Done:
        if not names:
            raise Invalid(_("Choose a kit to reserve."), field="kit")
        ref = request.POST.get("person", "")
        person = find.person(act.actor, ref) if ref else None
        done = [
            reservations.reserve(act, find.kit(act.actor, name), found, person=person)
            for name in names
        ]
        says = _("Reserved for %(trip)s: %(kits)s.") % {
            "trip": found.name,
            "kits": ", ".join(row.reservation.kit.name for row in done),
        }
        return Done(says)

    return acted(
        request,
        perform,
        to=reverse("trip", args=[found.pk]),
        refused=lambda problem: _trip_page(request, found, problem),
    )


@require_POST
@page("reserve")
def release(request: HttpRequest, trip: int) -> HttpResponse:
    """Take the promise of a kit back."""
    found = find.trip(actor(request), trip)

    def perform(act: Act) -> Done:
        ref = request.POST.get("reservation", "")
        rows = Reservation.objects.filter(trip=found)
        row = rows.filter(pk=ref).first() if ref.isdecimal() and len(ref) < 19 else None
        if row is None:
            raise NotFound("reservation", ref)
        done = reservations.release(act, row)
        says = _("%(kit)s is no longer reserved for %(trip)s.")
        return Done(says % {"kit": done.kit.name, "trip": found.name})

    return acted(
        request,
        perform,
        to=reverse("trip", args=[found.pk]),
        refused=lambda problem: _trip_page(request, found, problem),
    )


# ------------------------------------------------------------------------------------- by hand
@page("edit_trip")
def add(request: HttpRequest) -> HttpResponse:
    """A trip that no other system knows."""
    if request.method != "POST":
        return _form_page(
            request, None, {"people": "8", "room": getattr(here(request), "slug", "")}
        )

    def perform(act: Act) -> Done:
        done = trips.add_by_hand(act, _facts(act.actor, request.POST))
        says = _("%(trip)s is added. Reserve its kits now.") % {"trip": done.trip.name}
        return Done(says, to=reverse("trip", args=[done.trip.pk]))

    return acted(
        request,
        perform,
        to=reverse("trips"),
        refused=lambda problem: _form_page(request, None, request.POST, problem),
    )


@page("edit_trip")
def edit(request: HttpRequest, trip: int) -> HttpResponse:
    """Change a trip that was added by hand, or cancel it."""
    found = find.trip(actor(request), trip)
    actor(request).require("edit_trip", found.room_id)
    if found.source != trips.BY_HAND:
        raise Invalid(
            _("%(trip)s comes from “%(source)s”. Change it there; it changes here by itself.")
            % {"trip": found.name, "source": found.source}
        )
    if request.method != "POST":
        return _form_page(request, found, _values_of(found))

    def as_it_was_read(row: Trip) -> None:
        if request.POST.get("revision") != str(row.revision):
            says = _("Somebody changed %(trip)s since you opened it. Load the page again.")
            raise Stale("changed-since", says % {"trip": row.name})

    def perform(act: Act) -> Done:
        facts = _facts(act.actor, request.POST)
        act = replace(act, match=as_it_was_read)
        done = trips.put(act, found.source, found.reference, facts)
        if facts.cancelled:
            if not done.released:
                return Done(_("%(trip)s is cancelled.") % {"trip": done.trip.name})
            says = _("%(trip)s is cancelled. Free again: %(kits)s.")
            return Done(says % {"trip": done.trip.name, "kits": ", ".join(done.released)})
        says = _("%(trip)s is saved.") % {"trip": done.trip.name}
        if done.due_changed:
            follow = _("Due at its new return: %(kits)s.") % {"kits": ", ".join(done.due_changed)}
            says = f"{says} {follow}"
        return Done(says)

    return acted(
        request,
        perform,
        to=reverse("trip", args=[found.pk]),
        refused=lambda problem: _form_page(request, found, request.POST, problem),
    )


def _form_page(
    request: HttpRequest,
    trip: Trip | None,
    sent: Mapping[str, Any],
    problem: Problem | None = None,
) -> HttpResponse:
    who = actor(request)
    facts = {
        "trip": trip,
        "sent": sent,
        "chosen": request.POST.getlist("hazard") if problem else sent.get("hazard", ()),
        "hazards": words.HAZARDS.items(),
        "rooms_here": [room for room in rooms_of(request) if who.may("edit_trip", room.pk)],
        "people": _people(request),
    }
    return show(request, "site/trips/form.html", facts, problem=problem)


class TripForm(PageForm):
    """A trip added by hand."""

    name = ShortText(160)
    departs_at = Moment(label=gettext_lazy("Departs"))
    returns_at = Moment(label=gettext_lazy("Returns"))
    people = WholeNumber(least=1, most=trips.MOST_PEOPLE, label=gettext_lazy("People"))
    hazard = Several()
    children = Tick()
    latex_free = Tick()
    leader_name = ShortText(120)
    leader_phone = ShortText(40)


def _facts(who: Actor, sent: QueryDict) -> TripFacts:
    slug, ref = sent.get("room", ""), sent.get("leader", "")
    room = find.room(who, slug) if slug else None
    zone = room.time_zone if room else settings.TIME_ZONE
    values = TripForm.read(sent, zone=zone)
    values["hazards"] = values.pop("hazard")
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
        "children": trip.children,
        "latex_free": trip.latex_free,
        "leader": str(trip.leader_id or ""),
        "leader_name": trip.leader_name,
        "leader_phone": trip.leader_phone,
    }
