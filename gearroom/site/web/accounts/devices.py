"""Shared devices, as their keepers see them: made out of the very device, listed, ended."""

from datetime import timedelta

from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.core.services.accounts import shared_devices
from gearroom.core.services.people import rooms
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.shell import Done, actor, page, show

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
def end(act: Act, request: HttpRequest, device: int) -> Done:
    """End a device: it is signed out at once."""
    ended = shared_devices.end(act, device)
    return Done(
        _("%(device)s has been signed out.") % {"device": ended.name}, to=reverse("devices")
    )
