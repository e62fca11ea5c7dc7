"""The shell that every page is built on: who asks, which room, where to go.

    @page("restock")                                  # a use case of core.rules.roles, or None
    def restock(request, kit):
        return show(request, "site/restocking/sorting.html", kit=kit, …)

A page that is only read is a `read_page`, one that is only sent forms a `post_page`. What a form
holds is read by a `PageForm` (see `forms`), and what it does is done by `form_acts`. A view that
does one act is a `form_view` (see `form_views`), which shows what was refused beside the form.

A new page needs its view, its line in `urls.py`, and, if people should find it from everywhere, a
`NavigationItem` in NAVIGATION.
"""

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from functools import wraps
from typing import Any
from urllib.parse import urlencode, urlsplit

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse, HttpResponseBase, QueryDict
from django.shortcuts import redirect, render
from django.urls import resolve, reverse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe

from gearroom.core import clock
from gearroom.core.acts import Actor, PersonNeeded, PinNeeded, Problem
from gearroom.core.models import Room
from gearroom.core.models.installation import current
from gearroom.core.rules.roles import FOR_SEVERAL
from gearroom.core.services.accounts import shared_devices, sign_ins
from gearroom.core.services.people import alone, rooms
from gearroom.core.setup.languages import speak
from gearroom.site.web.page import errors


@dataclass(frozen=True)
class NavigationItem:
    """A place that people find from every page: its address's name, what it is called, what they
    must be allowed to do (a use case) to see it, and whether it waits under *More*."""

    name: str
    label: str | Promise
    use_case: str | None = "look"
    more: bool = False
    several: bool = False
    """Left out for somebody who works alone: others are what it is about."""


NOTED = "noted"
"""When it was last noted that somebody's browser was used."""

NAVIGATION = (
    NavigationItem("board", _("Board")),
    NavigationItem("scan", _("Scan"), "identify"),
    NavigationItem("kits", _("Kits")),
    NavigationItem("stock", _("Stock")),
    NavigationItem("trips", _("Trips")),
    NavigationItem("lists", _("Kit lists")),
    NavigationItem("rates", _("How often things are needed"), more=True),
    NavigationItem("strip", _("Break down a bought kit"), "strip", more=True),
    NavigationItem("labels", _("Labels"), "print_labels", more=True),
    NavigationItem("people", _("People"), "see_people", more=True, several=True),
    NavigationItem("notices", _("Notifications sent"), "own_account", more=True),
    NavigationItem("first-day", _("First day"), "edit_kit", more=True),
    NavigationItem("settings", _("Settings"), "own_account", more=True),
    NavigationItem("help", _("Help"), None, more=True),
)


# ----------------------------------------------------------------------------------- who and where
def actor(request: HttpRequest) -> Actor:
    """Who asks, with their roles; they are signed in."""
    if not hasattr(request, "_actor"):
        who = shared_devices.actor_at(request.user, request.session)  # type: ignore[arg-type]  # signed in
        request._actor = who  # type: ignore[attr-defined]  # kept for one request
    return request._actor  # type: ignore[attr-defined,no-any-return]  # set just above


def rooms_of(request: HttpRequest) -> list[Room]:
    """The rooms that they belong to."""
    if not hasattr(request, "_rooms"):
        request._rooms = list(rooms.visible_to(actor(request)))  # type: ignore[attr-defined]  # as above
    return request._rooms  # type: ignore[attr-defined,no-any-return]  # set just above


def here(request: HttpRequest) -> Room | None:
    """The room that this device stands in: the chosen one, else the person's own, else the first
    of theirs; None for whoever belongs to none."""
    theirs = {room.pk: room for room in rooms_of(request)}
    person = actor(request).person
    wanted = (request.session.get("room"), person.home_room_id if person else None, *theirs)
    return next((theirs[pk] for pk in wanted if pk in theirs), None)


def company(request: HttpRequest) -> alone.Company:
    """Whether there are others: whoever works alone is not shown what takes several."""
    if not hasattr(request, "_company"):
        found = alone.company(actor(request), len(rooms_of(request)))
        request._company = found  # type: ignore[attr-defined]  # as above
    return request._company  # type: ignore[attr-defined,no-any-return]  # set just above


def names_room(request: HttpRequest) -> bool:
    """Whether what is printed says which gear room it is of."""
    return not company(request).alone


def is_offered(request: HttpRequest, use_case: str, *where: int | None) -> bool:
    """Whether a page offers a use case to whoever asks: they may, or could at a shared device, and
    there are others where it takes several."""
    several = use_case in FOR_SEVERAL and company(request).alone
    return not several and actor(request).could(use_case, *where)


class NoRoom(Exception):
    """Whoever asks belongs to no gear room yet."""


def room_here(request: HttpRequest) -> Room:
    """The room that this device stands in. Raises NoRoom, which `page` answers."""
    if (room := here(request)) is None:
        raise NoRoom
    return room


def today_here(request: HttpRequest) -> date:
    """Today where the device stands."""
    room = here(request)
    return clock.today(room.time_zone if room else settings.TIME_ZONE)


def shell_facts(request: HttpRequest) -> dict[str, Any]:
    """Context processor: what the shell shows on every page."""
    facts: dict[str, Any] = {"organisation": current().organisation}
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return facts
    who = actor(request)
    match, is_alone = request.resolver_match, company(request).alone
    return {
        **facts,
        "alone": is_alone,
        "navigation": [
            item
            for item in NAVIGATION
            if (item.use_case is None or who.may(item.use_case)) and not (item.several and is_alone)
        ],
        "current": match.url_name if match else "",
        "person": who.person,
        "rooms": rooms_of(request),
        "here": here(request),
        "hatch": who.assurance,
    }


# ------------------------------------------------------------------------------------------- pages
View = Callable[..., HttpResponseBase]


def page(use_case: str | None = "look") -> Callable[[View], View]:
    """Make a view a page: for whoever is signed in and may do `use_case` somewhere; a Problem that
    it raises is told as a sentence."""

    def wrap(view: View) -> View:
        @wraps(view)
        def inner(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not request.user.is_authenticated:
                if "HX-Request" in request.headers:  # a part of a page cannot be the sign-in
                    there = request.headers.get("Referer", "/")
                    return HttpResponse(status=401, headers={"HX-Redirect": there})
                return redirect_to_login(request.get_full_path())
            _touch(request)
            person = actor(request).person
            speak(person.language if person else "")
            try:
                if use_case is not None:
                    actor(request).require(use_case)
                _say_no_longer_alone(request)
                response = view(request, *args, **kwargs)
            except (PersonNeeded, PinNeeded) as problem:
                return _confirm_first(request, ASKS[type(problem)])
            except Problem as problem:
                return errors.refusal(request, problem)
            except NoRoom:
                response = no_room(request)
            response.headers.setdefault("Cache-Control", "private, no-store")
            return response

        return inner

    return wrap


def read_page(use_case: str | None = "look") -> Callable[[View], View]:
    """Make a view a page that is only read (see `page`)."""
    return lambda view: require_safe(page(use_case)(view))


def post_page(use_case: str | None = "look") -> Callable[[View], View]:
    """Make a view a page that is only sent forms (see `page`)."""
    return lambda view: require_POST(page(use_case)(view))


ASKS = {PersonNeeded: "hatch-who", PinNeeded: "hatch-pin"}
"""Problems at a shared device, with the page that settles each."""

_HELD = "hatch_act"
"""What the session keeps of an act that waits for that: its name, where it goes and came from, what
it says, and since when."""


def _confirm_first(request: HttpRequest, settled_on: str) -> HttpResponse:
    """To the page that settles it, and back; an act is held until then (see `held_act`)."""
    there = to = request.get_full_path()
    named = {}
    if request.method == "POST":
        came_from = urlsplit(request.headers.get("Referer", ""))
        there = came_from.path if came_from.netloc == request.get_host() else reverse("scan")
        there = getattr(request, "_came_from", there)
        if not request.FILES:  # a photo is not kept: its form is sent again
            sentence, since = request.POST.urlencode(), clock.now().isoformat()
            held = {
                "act": uuid.uuid4().hex,
                "to": to,
                "from": there,
                "says": sentence,
                "since": since,
            }
            request.session[_HELD], named["act"] = held, held["act"]
    return redirect(f"{reverse(settled_on)}?{urlencode({'to': there, **named})}")


def held_act(request: HttpRequest) -> HttpResponseBase | None:
    """Do the act that waited until a shared device knew who does it; None where none waits, or the
    page that was asked does not name it: it may be somebody else's, who went away."""
    held = request.session.pop(_HELD, None)
    if held is None or held["act"] != request.POST.get("act"):
        return None
    if clock.now() - datetime.fromisoformat(held["since"]) > shared_devices.LOCKS_AFTER:
        return None
    to = urlsplit(held["to"])
    for kept in ("_actor", "_rooms", "_company"):  # worked out for who it was before
        request.__dict__.pop(kept, None)
    request._came_from = held["from"]  # type: ignore[attr-defined]  # where its form stands
    request.path = request.path_info = to.path
    request.GET, request.POST = QueryDict(to.query), QueryDict(held["says"])
    request.resolver_match = match = resolve(to.path)
    return match.func(request, *match.args, **match.kwargs)  # type: ignore[no-any-return]  # a view


def forget_held_act(request: HttpRequest) -> None:
    """Let nobody else's confirming do it."""
    request.session.pop(_HELD, None)


def _touch(request: HttpRequest) -> None:
    """Note that a browser is used: a shared one stays open by it. What pages ask for by
    themselves (the board, every few seconds) is nobody's touch."""
    session, now = request.session, clock.now()
    by_itself = request.method == "GET" and "HX-Request" in request.headers
    if shared_devices.PERSON in session and not by_itself:
        actor(request)  # judged by the touch before
        session[shared_devices.TOUCHED] = now.isoformat()
    noted = session.get(NOTED)
    if noted and now - datetime.fromisoformat(noted) > sign_ins.TOUCH_EVERY and session.session_key:
        sign_ins.touch(session.session_key)
        session[NOTED] = now.isoformat()


_ALONE = "alone"
"""Whether the last page was one for somebody who works alone."""


def _say_no_longer_alone(request: HttpRequest) -> None:
    """Say it once that pages show everything again, where that came by itself."""
    if request.method != "GET" or "HX-Request" in request.headers:
        return
    found = company(request)
    if found.alone != bool(request.session.get(_ALONE)):
        request.session[_ALONE] = found.alone
        if not found.one:
            messages.info(
                request,
                _(
                    "You are no longer the only person here with one gear room, so pages show "
                    "everything again, such as taking out, passing on and shared devices."
                ),
            )


def show(
    request: HttpRequest,
    template: str,
    *,
    problem: Problem | None = None,
    status: int | None = None,
    **facts: Any,
) -> HttpResponse:
    """A page of facts, with the problem that its form met, whose status it has unless `status` is
    another. A form on it draws its key with `{% once %}`."""
    facts["problem"] = problem
    status = status or (problem.status if problem else 200)
    return render(request, template, facts, status=status)


def no_room(request: HttpRequest, **facts: Any) -> HttpResponse:
    """The page of whoever belongs to no gear room yet."""
    return show(
        request, "site/page/no_room.html", may_begin=actor(request).may("edit_room"), **facts
    )
