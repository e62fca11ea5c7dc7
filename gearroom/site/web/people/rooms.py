"""Gear rooms, and the shelves in each in the order that one walks them."""

from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.text import slugify
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, NotAllowed, Problem
from gearroom.core.models.installation import current
from gearroom.core.models.people import MOST_SORTING_NIGHTS
from gearroom.core.services.people import rooms
from gearroom.site.web.page import (
    Done,
    Line,
    Money,
    PageForm,
    Tick,
    TimeOfDay,
    WholeNumber,
    actor,
    form_view,
    invalid,
    show,
)
from kits.models import Place
from kits.services.lookup import find
from kits.services.stock import shelves

_ZONES = sorted(available_timezones())


class RoomForm(PageForm):
    """A room's name, time zone and phone, and how a kit is returned to it."""

    name = Line(80, required=False)
    time_zone = Line(64, required=False)
    phone = Line(40, required=False)
    how_to_return = Line(300, required=False)

    def clean_name(self) -> str:
        """Without one it is nothing."""
        name: str = self.cleaned_data["name"]
        if not name:
            raise ValidationError(_("Enter a name for the gear room."))
        return name


class RoomSettingsForm(RoomForm):
    """The same, and how strict it is."""

    closing_time = TimeOfDay(
        message=gettext_lazy("Enter the closing time as hours and minutes, such as 18:00.")
    )
    sorting_nights = WholeNumber(
        most=MOST_SORTING_NIGHTS,
        message=gettext_lazy("Enter the number of nights for sorting, from 0 to %(most)d."),
    )
    guides_decide_important = Tick()
    expired_always_stops = Tick()
    opening_pays_from = Money(label=gettext_lazy("Opening to swap batches"))


# ------------------------------------------------------------------------------------------- rooms
def _list_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    try:
        rooms.require_administrator_everywhere(who)
        may_add = True
    except NotAllowed:
        may_add = False
    return show(
        request,
        "site/people/rooms/rooms.html",
        problem=problem,
        own_rooms=rooms.visible_to(who),
        may_add=may_add,
        values=request.POST,
        zones=_ZONES,
        usual_zone=current().time_zone,
    )


@form_view("look", "rooms", page_of=_list_page)
def all_rooms(act: Act, request: HttpRequest) -> Done:
    """The rooms that one belongs to; a new one for whoever administers them all."""
    values = RoomForm.read(request.POST)
    if not (slug := slugify(values["name"])[:40].strip("-")):
        raise Invalid(_("Enter a name that contains letters or digits."), field="name")
    with invalid():
        added = rooms.add(act, slug=slug, **values)
    return Done(
        _("%(room)s has been added. Add its shelves next.") % {"room": added.name},
        to=reverse("room", args=[added.slug]),
    )


def _page(request: HttpRequest, room: str, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    of = rooms.get(who, room)
    places = list(
        Place.objects.shelves()
        .filter(room=of)
        .select_related("location")
        .order_by("position", "name")
    )
    return show(
        request,
        "site/people/rooms/room.html",
        problem=problem,
        room=of,
        shelves=[each for each in places if each.closed_on is None],
        locations=find.locations_of(who).filter(room=of),
        closed=[each for each in places if each.closed_on is not None],
        may_edit=who.may("edit_room", of.pk),
        may_shelve=who.may("edit_shelf", of.pk),
        may_print=who.may("print_labels", of.pk),
        zones=_ZONES,
        most_nights=MOST_SORTING_NIGHTS,
    )


@form_view("look", "room", page_of=_page)
def room(act: Act, request: HttpRequest, room: str) -> Done:
    """A room: its phone, how to return a kit to it, its shelves."""
    values = RoomSettingsForm.read(request.POST)
    with invalid():
        rooms.edit(act, rooms.get(act.actor, room), **values)
    return Done(_("Saved."))


# ----------------------------------------------------------------------------------------- shelves
@form_view("edit_shelf", "room", part="#shelves", refused=_page)
def add_shelf(act: Act, request: HttpRequest, room: str) -> Done:
    """One more shelf, last in walking order."""
    shelf = shelves.add_shelf(act, rooms.get(act.actor, room), request.POST.get("name", ""))
    return Done(_("Shelf %(shelf)s has been added.") % {"shelf": shelf.name})


def _shelf_refused(request: HttpRequest, shelf: int, problem: Problem) -> HttpResponse:
    return _page(request, find.shelf(actor(request), shelf).room_now.slug, problem)


@form_view("edit_shelf", refused=_shelf_refused)
def shelf(act: Act, request: HttpRequest, shelf: int) -> Done:
    """Rename a shelf, say where it is now, walk to it earlier or later, close or reopen it."""
    row, wanted = find.shelf(act.actor, shelf), request.POST.get("do", "")
    match wanted:
        case "earlier" | "later":
            shelves.move(act, row, earlier=wanted == "earlier")
            sentence = _("%(shelf)s has been moved in the walking order.")
        case "close":
            shelves.close_shelf(act, row)
            sentence = _("%(shelf)s has been closed.")
        case "open":
            shelves.open_again(act, row)
            sentence = _("%(shelf)s is in use again.")
        case "place":
            at = request.POST.get("location", "")
            location = find.location(act.actor, at) if at else None
            row = shelves.edit_shelf(act, row, location=location)
            sentence = _("The location of %(shelf)s has been saved.")
        case _:
            row = shelves.edit_shelf(act, row, name=request.POST.get("name", ""))
            sentence = _("The shelf is now called %(shelf)s.")
    to = reverse("room", args=[row.room_now.slug]) + "#shelves"
    return Done(sentence % {"shelf": row.name}, to=to)
