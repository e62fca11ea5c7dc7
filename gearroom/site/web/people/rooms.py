"""Gear rooms, and the shelves in each in the order that one walks them."""

from __future__ import annotations

from typing import Any
from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.dateparse import parse_time
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, NotAllowed, Problem
from gearroom.core.models import Room
from gearroom.core.models.people import MOST_SORTING_NIGHTS
from gearroom.core.services.people import rooms
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from kits.models import Place
from kits.services.lookup import find
from kits.services.stock import shelves

_FIELDS = {"name": 80, "time_zone": 64, "phone": 40, "how_to_return": 300}
_YES_OR_NO = ("guides_decide_important", "expired_always_stops")


# ------------------------------------------------------------------------------------------- rooms
@page()
def every(request: HttpRequest) -> HttpResponse:
    """The rooms that one belongs to; a new one for whoever administers them all."""
    if request.method != "POST":
        return _list_page(request)

    def perform(act: Act) -> Done:
        fields = _fields(request)
        slug = slugify(fields["name"])[:40].strip("-")
        if not slug:
            raise Invalid(_("Enter a name with letters or digits."), field="name")
        added = rooms.add(act, slug=slug, **fields)
        says = _("%(room)s is added. Add its shelves next.") % {"room": added.name}
        return Done(says, to=reverse("room", args=[added.slug]))

    try:
        return acted(request, perform, to=request.path)
    except Problem as problem:
        return _list_page(request, problem)
    except ValidationError as error:
        return _list_page(request, _as_problem(error))


def _list_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    try:
        rooms.require_administrator_everywhere(who)
        may_add = True
    except NotAllowed:
        may_add = False
    facts = {
        "seen": rooms.seen_by(who),
        "may_add": may_add,
        "said": request.POST,
        "zones": sorted(available_timezones()),
        "problem": problem,
    }
    status = problem.status if problem else 200
    return show(request, "site/people/rooms.html", facts, status=status)


@page()
def one(request: HttpRequest, room: str) -> HttpResponse:
    """A room: its phone, how to return a kit to it, its shelves."""
    found = rooms.get(actor(request), room)
    if request.method != "POST":
        return _one_page(request, found)

    def perform(act: Act) -> Done:
        fields = {**_fields(request), **_settings(request)}
        rooms.edit(act, rooms.get(act.actor, room), **fields)
        return Done(_("Saved."))

    try:
        return acted(request, perform, to=request.path)
    except Problem as problem:
        return _one_page(request, rooms.get(actor(request), room), problem)
    except ValidationError as error:
        return _one_page(request, rooms.get(actor(request), room), _as_problem(error))


def _one_page(request: HttpRequest, room: Room, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    places = Place.objects.shelves().filter(room=room).order_by("position", "name")
    rows = list(places)
    facts = {
        "room": room,
        "shelves": [each for each in rows if each.closed_on is None],
        "closed": [each for each in rows if each.closed_on is not None],
        "may_edit": who.may("edit_room", room.pk),
        "may_shelve": who.may("edit_shelf", room.pk),
        "may_print": who.may("print_labels", room.pk),
        "zones": sorted(available_timezones()),
        "most_nights": MOST_SORTING_NIGHTS,
        "problem": problem,
    }
    status = problem.status if problem else 200
    return show(request, "site/people/room.html", facts, status=status)


def _fields(request: HttpRequest) -> dict[str, Any]:
    """What a form says of a room. Raises Invalid."""
    said = {name: " ".join(request.POST.get(name, "").split()) for name in _FIELDS}
    if not said["name"]:
        raise Invalid(_("Enter a name for the gear room."), field="name")
    for name, most in _FIELDS.items():
        if len(said[name]) > most:
            raise Invalid(_("Use at most %(most)d characters.") % {"most": most}, field=name)
    return said


def _settings(request: HttpRequest) -> dict[str, Any]:
    """How strict a form says that a room is. Raises Invalid."""
    nights = request.POST.get("sorting_nights", "").strip()
    if not (nights.isascii() and nights.isdigit() and int(nights[:3]) <= MOST_SORTING_NIGHTS):
        raise Invalid(
            _("Enter the nights needed for sorting as a number from 0 to %(most)d.")
            % {"most": MOST_SORTING_NIGHTS},
            field="sorting_nights",
        )
    try:
        closing = parse_time(request.POST.get("closing_time", "").strip())
    except ValueError:
        closing = None
    if closing is None:
        raise Invalid(
            _("Enter the closing time as hours and minutes: 18:00."), field="closing_time"
        )
    yes_or_no = {name: bool(request.POST.get(name)) for name in _YES_OR_NO}
    return {"closing_time": closing, "sorting_nights": int(nights), **yes_or_no}


def _as_problem(error: ValidationError) -> Invalid:
    return Invalid(" ".join(error.messages))


# ----------------------------------------------------------------------------------------- shelves
def _shelf_act(request: HttpRequest, room: str, perform: Any) -> HttpResponse:
    try:
        return acted(request, perform, to=reverse("room", args=[room]) + "#shelves")
    except Problem as problem:
        return _one_page(request, rooms.get(actor(request), room), problem)


@require_POST
@page("edit_shelf")
def add_shelf(request: HttpRequest, room: str) -> HttpResponse:
    """One more shelf, last in walking order."""

    def perform(act: Act) -> Done:
        found = rooms.get(act.actor, room)
        shelf = shelves.add_shelf(act, found, request.POST.get("name", ""))
        return Done(_("Shelf %(shelf)s is added.") % {"shelf": shelf.name})

    return _shelf_act(request, room, perform)


@require_POST
@page("edit_shelf")
def shelf(request: HttpRequest, shelf: int) -> HttpResponse:
    """Rename a shelf, walk to it earlier or later, close it, or use it again."""
    found = find.shelf(actor(request), shelf)
    assert found.room is not None  # a shelf belongs to a room

    def perform(act: Act) -> Done:
        row, wanted = find.shelf(act.actor, shelf), request.POST.get("do", "")
        match wanted:
            case "earlier" | "later":
                shelves.move(act, row, earlier=wanted == "earlier")
                return Done(_("%(shelf)s is moved in the walking order.") % {"shelf": row.name})
            case "close":
                shelves.close_shelf(act, row)
                return Done(_("%(shelf)s is closed.") % {"shelf": row.name})
            case "open":
                shelves.open_again(act, row)
                return Done(_("%(shelf)s is in use again.") % {"shelf": row.name})
        row = shelves.edit_shelf(act, row, name=request.POST.get("name", ""))
        return Done(_("The shelf is called %(shelf)s now.") % {"shelf": row.name})

    return _shelf_act(request, found.room.slug, perform)
