"""What to move because of the weather, and what may be put back: of a room, and of one kit."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Invalid, Problem
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from gearroom.site.web.page import Done, actor, form_view, read_page, show
from kits.models import Kit, Location, Place, PlaceKind
from kits.services.ledger import room_place
from kits.services.lookup import find
from kits.services.text import weather_texts
from kits.services.weather import jobs, moving
from kits.services.weather.jobs import WeatherJob

_QUARANTINE = "quarantine"


@dataclass(frozen=True)
class JobRow:
    """One job as pages show it: what has to leave and may come back in words, the places that it
    may go to with the one that is chosen at first, and whether whoever asks may do it."""

    kit: Kit | None
    name: str
    location: Location
    anchor: str
    address: str
    out: list[str]
    back: list[str]
    counted: bool
    begun: Promise | None
    exposed: Promise | None
    may: bool
    places: list[tuple[str, str]]
    place: str


def rows(who: Actor, found: Iterable[WeatherJob], today: date) -> list[JobRow]:
    """Jobs as pages show them."""
    placed = [(job, *_where(job)) for job in found]
    shelves = grouped(
        (shelf.room_id, shelf)
        for shelf in Place.objects.open()
        .shelves()
        .filter(room__in={room.pk for _job, room, _address in placed})
        .select_related("location")
    )
    return [_row(who, job, address, room, shelves[room.pk], today) for job, room, address in placed]


def _where(job: WeatherJob) -> tuple[Room, str]:
    """The room that a job is done in, and the address that its forms are sent to."""
    if job.kit is not None:
        return job.kit.room, reverse("kit-weather", args=[job.kit.name])
    assert job.shelf is not None
    return job.shelf.room_now, reverse("shelf-weather", args=[job.shelf.pk])


def _row(
    who: Actor, job: WeatherJob, address: str, room: Room, shelves: Iterable[Place], today: date
) -> JobRow:
    places = [(_QUARANTINE, _("quarantine"))]
    if may := who.may("restock" if job.kit else "move", room.pk):
        places += [
            (str(shelf.pk), shelf.where) for shelf in shelves if shelf.location != job.location
        ]
    return JobRow(
        kit=job.kit,
        name=job.name,
        location=job.location,
        anchor=job.anchor,
        address=address,
        out=job.says_out(today),
        back=job.says_back(),
        counted=job.counted,
        begun=weather_texts.BEGUN if job.begun else None,
        exposed=weather_texts.EXPOSED if job.exposed else None,
        may=may,
        places=places,
        place=places[0 if job.begun else -1][0],
    )


def of_kit(who: Actor, kit: Kit, today: date) -> JobRow | None:
    """What the weather asks for of a kit, as its page shows it."""
    job = jobs.of_kit(kit, today)
    return rows(who, [job], today)[0] if job else None


def _page(request: HttpRequest, room: str, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    of = find.room(who, room)
    today = clock.today(of.time_zone)
    return show(
        request,
        "site/weather/weather.html",
        problem=problem,
        room=of,
        jobs=rows(who, jobs.of_room(of, today), today),
    )


@read_page()
def weather(request: HttpRequest, room: str) -> HttpResponse:
    """What has to be moved in a room for the weather."""
    return _page(request, room)


# ---------------------------------------------------------------------------------------- the acts
def _kit_refused(request: HttpRequest, kit: str, problem: Problem) -> HttpResponse:
    who = actor(request)
    of = find.kit(who, kit)
    if not who.belongs_to(of.home_room_id):
        raise problem
    return _page(request, of.home_room.slug, problem)


@form_view("restock", refused=_kit_refused)
def kit_weather(act: Act, request: HttpRequest, kit: str) -> Done:
    """What was moved out of a kit for the weather, or put back."""
    of = find.kit(act.actor, kit)
    if request.POST.get("do") == "back":
        entry = moving.back_into_kit(act, of)
        says = _("Put back into %(name)s. Look at every pack, and seal the kit when you close it.")
    else:
        entry = moving.out_of_kit(act, of, _target(act, request, of.room))
        says = _("Moved out of %(name)s. You will be reminded when the items may be put back.")
    to = reverse("weather", args=[of.home_room.slug])
    if not act.actor.belongs_to(of.home_room_id):  # the kit is in a room of theirs, away from home
        to = reverse("kit", args=[of.name])
    return Done(says % {"name": of.name}, entry.pk, to=to)


def _shelf_refused(request: HttpRequest, shelf: int, problem: Problem) -> HttpResponse:
    return _page(request, find.shelf(actor(request), shelf).room_now.slug, problem)


@form_view("move", refused=_shelf_refused)
def shelf_weather(act: Act, request: HttpRequest, shelf: int) -> Done:
    """What was moved off a shelf for the weather, or put back."""
    of = find.shelf(act.actor, shelf)
    if request.POST.get("do") == "back":
        entry = moving.back_onto_shelf(act, of)
        says = _("Put back on %(name)s.")
    else:
        entry = moving.out_of_shelf(act, of, _target(act, request, of.room_now))
        says = _("Moved off %(name)s. You will be reminded when the items may be put back.")
    to = reverse("weather", args=[of.room_now.slug])
    return Done(says % {"name": of.name}, entry.pk, to=to)


def _target(act: Act, request: HttpRequest, room: Room) -> Place:
    if (to := request.POST.get("to", "")) == _QUARANTINE:
        return room_place(room, PlaceKind.QUARANTINE)
    if not to:
        raise Invalid(_("Choose where you moved the items to."), field="to")
    return find.shelf(act.actor, to)
