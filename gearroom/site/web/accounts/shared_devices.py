"""At a shared device: who stands before it, their PIN, and locking it. And shared devices as their
keepers see them: made out of the very device, listed, ended."""

from datetime import timedelta
from typing import Any

from django.contrib.auth import login, logout
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Problem
from gearroom.core.rules.roles import Assurance
from gearroom.core.services.accounts import shared_devices
from gearroom.core.services.people import rooms
from gearroom.site.web.page import (
    Done,
    actor,
    back_to,
    forget_held_act,
    form_view,
    held_act,
    page,
    post_page,
    show,
)
from kits.services.lookup import find


def _leave_own_device(request: HttpRequest) -> HttpResponse | None:
    """On a device of one's own none of this is asked."""
    return redirect("board") if actor(request).assurance is None else None


@page()
def who(request: HttpRequest) -> HttpResponseBase:
    """Who stands before the device: chosen by name, or by scanning their tag."""
    if (away := _leave_own_device(request)) is not None:
        return away
    if request.method != "POST":
        return _who_page(request)
    try:
        ref = request.POST.get("person", "") or request.POST.get("tag", "").strip()
        chosen = find.person(actor(request), ref).pk
        person = shared_devices.may_be(actor(request)).filter(pk=chosen).first()
        if person is None:
            raise Invalid(
                _(
                    "This person has no role in this gear room. Ask the gear room’s "
                    "keeper to add them."
                )
            )
    except Problem as problem:
        return _who_page(request, problem)
    request.session.update(
        {
            shared_devices.PERSON: person.pk,
            shared_devices.ASSURANCE: Assurance.NAMED.value,
            shared_devices.TOUCHED: clock.now().isoformat(),
        }
    )
    return held_act(request) or redirect(back_to(request, reverse("board")))


def _who_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    search = request.GET.get("search", "").strip()[:80]
    people = shared_devices.may_be(actor(request))
    return show(
        request,
        "site/accounts/shared_device_who.html",
        problem=problem,
        people=people.filter(name__icontains=search) if search else people,
        search=search,
        **_waiting(request),
    )


def _waiting(request: HttpRequest) -> dict[str, Any]:
    """Where to go afterwards, and the act that waits."""
    return {name: request.POST.get(name) or request.GET.get(name, "") for name in ("to", "act")}


@sensitive_post_parameters("pin")
@page()
def pin(request: HttpRequest) -> HttpResponseBase:
    """The PIN of whoever said who they are."""
    if (away := _leave_own_device(request)) is not None:
        return away
    person = actor(request).person
    if person is None or actor(request).assurance is Assurance.NOBODY:
        return redirect(f"{reverse('hatch-who')}?{request.META['QUERY_STRING']}")
    if request.method != "POST":
        return _pin_page(request)
    try:
        shared_devices.confirm(person, request.POST.get("pin", "").strip())
    except Problem as problem:
        return _pin_page(request, problem)
    request.session[shared_devices.ASSURANCE] = Assurance.CONFIRMED.value
    return held_act(request) or redirect(back_to(request, reverse("board")))


def _pin_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    return show(
        request,
        "site/accounts/shared_device_pin.html",
        problem=problem,
        digits=shared_devices.PIN_DIGITS,
        keys=(*"123456789", "0"),
        **_waiting(request),
    )


@post_page()
def lock(request: HttpRequest) -> HttpResponse:
    """Forget who stood before the device."""
    forget_held_act(request)
    for name in (shared_devices.PERSON, shared_devices.ASSURANCE, shared_devices.TOUCHED):
        request.session.pop(name, None)
    return redirect("board")


@post_page()
def end(request: HttpRequest) -> HttpResponse:
    """Stop being a shared device: a keeper's to say, with their PIN."""
    if (away := _leave_own_device(request)) is not None:
        return away
    shared_devices.end_here(actor(request), request.session[shared_devices.DEVICE])
    logout(request)
    return redirect("sign-in")


# -------------------------------------------------------------------------------- for their keepers
_KEEPS = timedelta(days=400)
"""How long a shared device stays signed in; browsers keep no cookie for longer (RFC 6265bis)."""


@page("edit_device")
def shared(request: HttpRequest) -> HttpResponse:
    """The shared devices of one's rooms; and making this one such a device."""
    if request.method != "POST":
        return _page(request)
    try:
        room = rooms.get(actor(request), request.POST.get("room", ""))
        # No key: the second of two taps comes from the shared device, which may not do it.
        device = shared_devices.add(
            Act(actor(request), room=room), room, request.POST.get("name", "")
        )
    except Problem as problem:
        return _page(request, problem)
    login(request, device.user, backend="django.contrib.auth.backends.ModelBackend")
    request.session[shared_devices.DEVICE] = device.pk
    request.session.set_expiry(_KEEPS)
    return redirect("scan")


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    return show(
        request,
        "site/accounts/shared_devices.html",
        problem=problem,
        devices=shared_devices.devices_of(who)[:100],
        own_rooms=[room for room in rooms.visible_to(who) if who.may("edit_device", room.pk)],
        own=who.person,
        name=request.POST.get("name", ""),
    )


@form_view("edit_device")
def end_device(act: Act, request: HttpRequest, device: int) -> Done:
    """End a device: it is signed out at once."""
    ended = shared_devices.end(act, device)
    return Done(
        _("%(device)s has been logged out.") % {"device": ended.name}, to=reverse("devices")
    )
