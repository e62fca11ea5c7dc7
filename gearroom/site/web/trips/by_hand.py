"""Trips that no other system knows: added, changed and cancelled by hand."""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Q
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Actor, Invalid, Problem, Stale
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
    rooms_of,
    show,
    words,
)
from gearroom.site.web.page.forms import Number
from gearroom.site.web.planning.vocabulary import chosen_activity
from kits.models import Activity, Trip
from kits.services.lookup import find
from kits.services.trips import sources, trips
from kits.services.trips.trip_facts import MOST_PEOPLE, OLDEST, TripFacts

MOST_HOURS = Decimal(999)


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


def _require_changed_here(trip: Trip) -> None:
    """Raise Invalid for a trip that another program would change back."""
    if not sources.is_changed_here(trip):
        calendar = sources.calendar_of(trip.source, trip.reference)
        raise Invalid(
            _(
                "%(trip)s comes from “%(source)s”. Change it there, and it will be updated here "
                "automatically."
            )
            % {"trip": trip.name, "source": calendar.name if calendar else trip.source}
        )


def _edit_page(request: HttpRequest, trip: int, problem: Problem | None = None) -> HttpResponse:
    row = _editable(actor(request), trip)
    try:
        _require_changed_here(row)
    except Invalid as elsewhere:
        return show(request, "site/trips/changed_elsewhere.html", problem=elsewhere, trip=row)
    return _form_page(request, row, request.POST if problem else _values_of(row), problem)


@form_view("edit_trip", "trip", page_of=_edit_page)
def edit(act: Act, request: HttpRequest, trip: int) -> Done:
    """Change a trip that no other program would change back, or cancel it."""
    sent, row = request.POST, _editable(act.actor, trip)
    _require_changed_here(row)

    def as_it_was_read(now: Trip) -> None:
        if sent.get("revision") != str(now.revision):
            raise Stale(
                "changed-since",
                _("Somebody has changed %(trip)s since you opened it. Reload the page.")
                % {"trip": now.name},
            )

    facts = _facts(act.actor, sent, row)
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
    people = WholeNumber(least=1, most=MOST_PEOPLE, label=gettext_lazy("People"))
    hazard = Several()
    activity = ShortText(40)
    hours_to_care = Number(
        MOST_HOURS, required=False, label=gettext_lazy("Hours to a hospital or doctor")
    )
    children = Tick()
    youngest = WholeNumber(required=False, most=OLDEST, label=gettext_lazy("Age of the youngest"))
    oldest = WholeNumber(required=False, most=OLDEST, label=gettext_lazy("Age of the oldest"))
    latex_free = Tick()
    planned = Tick()
    leader_name = ShortText(120)
    leader_phone = ShortText(40)


def _facts(who: Actor, sent: QueryDict, trip: Trip | None = None) -> TripFacts:
    slug, ref = sent.get("room", ""), sent.get("leader", "")
    room = find.room(who, slug) if slug else None
    values = TripForm.read(sent, zone=room.time_zone if room else settings.TIME_ZONE)
    values["hazards"] = values.pop("hazard")
    values["activity"] = chosen_activity(values["activity"])
    leader = find.person(who, ref) if ref else None
    if leader is not None:
        values |= {"leader_name": "", "leader_phone": ""}
    elif trip is not None:
        values["leader_email"] = trip.leader_email  # a program may have added it
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
        "youngest": "" if trip.youngest is None else trip.youngest,
        "oldest": "" if trip.oldest is None else trip.oldest,
        "planned": trip.planned,
        "latex_free": trip.latex_free,
        "leader": str(trip.leader_id or ""),
        "leader_name": trip.leader_name,
        "leader_phone": trip.leader_phone,
    }
