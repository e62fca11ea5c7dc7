"""Sign in, sign out, and which room this device stands in."""

from typing import Any

from django.contrib.auth import authenticate, login, logout
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_protect
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from gearroom.core import clock
from gearroom.core.acts.exceptions import database_problems
from gearroom.core.acts.problems import Problem
from gearroom.core.services.accounts import attempts, shared_devices, sign_ins
from gearroom.site.web.accounts import known_browsers
from gearroom.site.web.page.shell import NOTED, back_to, page, rooms_of


@sensitive_post_parameters("password")
@csrf_protect
def sign_in(request: HttpRequest) -> HttpResponse:
    """Name and password; so many tries a minute (see `_wait`)."""
    if shared_devices.DEVICE in request.session and request.user.is_authenticated:
        return redirect("hatch-who")
    to = request.POST.get("to") or request.GET.get("next", "/")
    if request.method != "POST":
        return render(request, "site/accounts/sign_in.html", {"to": to})
    name = request.POST.get("username", "").strip()
    error, status = _("The username and password do not match. Check both and try again."), 403
    try:
        if wait := _wait(request, name):
            error, status = too_often(wait), 429
        elif _signed_in(request, name):
            response = redirect(back_to(request, "/"))
            known_browsers.remember(request, response, name)
            return response
    except Problem as problem:
        error, status = problem.detail, problem.status
    facts = {"to": to, "username": name, "error": error}
    return render(request, "site/accounts/sign_in.html", facts, status=status)


def too_often(wait: int) -> str:
    """What whoever tried too often is told, with the seconds to wait."""
    return _("Too many attempts. Wait %(seconds)d seconds, then try again.") % {"seconds": wait}


def _wait(request: HttpRequest, name: str) -> int:
    """Count a try; the seconds to wait, or 0.

    What is tried elsewhere never keeps somebody out of a browser that they signed in on before:
    there, tries count by themselves. Any other browser shares a count of its address, and one of
    the name with all who guess it anywhere. Whom that keeps out asks for a new password, which
    makes their browser known.
    """
    name = name.casefold()[:150]
    if browser := known_browsers.number_of(request, name):
        return attempts.count("sign-in", f"{browser} {name}")
    address = request.META.get("REMOTE_ADDR", "")
    return (
        attempts.count("sign-in-address", address)
        or attempts.count("sign-in", f"{address} {name}")
        or attempts.count("sign-in-name", name)
    )


@database_problems()
def _signed_in(request: HttpRequest, name: str) -> bool:
    """Sign somebody in, and note the browser; whether name and password go together."""
    user = authenticate(request, username=name, password=request.POST.get("password", ""))
    if user is None:
        return False
    login(request, user)
    request.session[NOTED] = clock.now().isoformat()
    request.session.save()  # here, where it can still be said that it could not be written
    note_sign_in(request, user)
    return True


def note_sign_in(request: HttpRequest, user: Any) -> None:
    """Note on which browser somebody is signed in."""
    sign_ins.note(
        user,
        request.session.session_key or "",
        request.META.get("HTTP_USER_AGENT", ""),
        request.META.get("REMOTE_ADDR", ""),
    )


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    """End the session on this device; a shared one is ended by a keeper (see `hatch.end`)."""
    if shared_devices.DEVICE in request.session and request.user.is_authenticated:
        return redirect("hatch-who")
    logout(request)
    return redirect("sign-in")


@require_POST
@page(None)
def choose_room(request: HttpRequest) -> HttpResponse:
    """Say which room this device stands in."""
    chosen = request.POST.get("room", "")
    for room in rooms_of(request):
        if room.slug == chosen:
            request.session["room"] = room.pk
    return redirect(back_to(request, "/"))
