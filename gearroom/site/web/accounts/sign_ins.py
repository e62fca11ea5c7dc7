"""Signing in and out, and one's own sign-in: where it is used, the password, the PIN, and a
forgotten password; and which room this device stands in."""

import secrets
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth import authenticate, login, logout, update_session_auth_hash
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_protect
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, NotAllowed, Problem, database_problems
from gearroom.core.models.installation import current
from gearroom.core.services.accounts import attempts, shared_devices, sign_ins
from gearroom.core.services.installation import claiming
from gearroom.site.web.page import (
    NOTED,
    Done,
    actor,
    back_to,
    form_view,
    post_page,
    read_page,
    rooms_of,
    say,
    show,
)


# ------------------------------------------------------------------------------ where signed in
@read_page("own_account")
def own_browsers(request: HttpRequest) -> HttpResponse:
    """The browsers that one is signed in on; password and PIN."""
    return _page(request)


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    return show(
        request,
        "site/accounts/signed_in_devices.html",
        problem=problem,
        signed_in=sign_ins.of(who.user) if who.user else [],
        this_one=request.session.session_key,
        own=who.person,
        digits=shared_devices.PIN_DIGITS,
        may_confirm=who.may("release"),
    )


@form_view("own_account")
def end(act: Act, request: HttpRequest, signed_in: int) -> Done:
    """Sign out of one browser."""
    sign_ins.end(act, signed_in)
    return Done(_("You have been logged out on that device."), to=reverse("signed-in"))


@form_view("own_account", "signed-in")
def end_others(act: Act, request: HttpRequest) -> Done:
    """Sign out of every browser but this one."""
    sign_ins.end_others(act, request.session.session_key or "")
    return Done(_("You have been logged out everywhere else."))


# What follows carries a password or a PIN, so it comes without a key: of what has one, a digest is
# kept for ever. Sent twice it does no harm.
@sensitive_post_parameters("old", "new")
@post_page("own_account")
def password(request: HttpRequest) -> HttpResponse:
    """Another password; the other browsers are signed out by it."""
    try:
        _not_too_often(request)
        user = sign_ins.change_password(
            Act(actor(request)), request.POST.get("old", ""), request.POST.get("new", "")
        )
    except Problem as problem:
        return _page(request, problem)
    update_session_auth_hash(request, user)
    sign_ins.end_others(Act(actor(request)), "")
    note_sign_in(request, user)
    say(request, _("Your password has been changed, and you have been logged out everywhere else."))
    return redirect("signed-in")


@sensitive_post_parameters("password", "pin")
@post_page("own_account")
def pin(request: HttpRequest) -> HttpResponse:
    """A PIN for shared devices; the password shows that it is oneself who chooses it."""
    who = actor(request)
    try:
        _not_too_often(request)
        if who.user is None or not who.user.check_password(request.POST.get("password", "")):
            raise NotAllowed(
                "wrong-password", _("That is not your current password. Type it again.")
            )
        shared_devices.choose_pin(Act(who), request.POST.get("pin", "").strip())
    except Problem as problem:
        return _page(request, problem)
    say(request, _("Your PIN has been set. It works on every shared device in your gear rooms."))
    return redirect("signed-in")


def _not_too_often(request: HttpRequest) -> None:
    user = actor(request).user
    if wait := attempts.count("password", str(user.pk if user else 0)):
        raise Invalid(too_often(wait))


# ------------------------------------------------------------------------------------- forgotten
@csrf_protect
def forgotten(request: HttpRequest) -> HttpResponse:
    """Request a mail with a link to a new password. It tells nobody who has a sign-in."""
    if request.method != "POST":
        return show(request, "site/accounts/password_forgotten.html")
    name, status = request.POST.get("name", "").strip(), 429
    if wait := attempts.count("reset-address", request.META.get("REMOTE_ADDR", "")):
        error = too_often(wait)
    elif wait := attempts.count("reset", name.casefold()[:150]):
        error = _(
            "Too many emails have been requested for this username. Use the most recent email, "
            "or wait %(minutes)d minutes."
        ) % {"minutes": -(-wait // 60)}
    elif not name:
        error, status = _("Enter your username or your email address."), 400
    else:
        sign_ins.ask_reset(name, current().public_url or request.build_absolute_uri("/")[:-1])
        return show(request, "site/accounts/password_forgotten.html", requested=True)
    return show(
        request, "site/accounts/password_forgotten.html", status=status, error=error, name=name
    )


@sensitive_post_parameters("new")
@csrf_protect
def new_password(request: HttpRequest, uid: str, token: str) -> HttpResponse:
    """Where the link leads: a new password, once."""
    posted = request.method == "POST"
    if posted and (wait := attempts.count("link", request.META.get("REMOTE_ADDR", ""))):
        return show(request, "site/accounts/password_new.html", status=429, error=too_often(wait))
    if sign_ins.user_of(uid, token) is None:
        return show(request, "site/accounts/password_link_over.html", status=404)
    if not posted:
        return show(request, "site/accounts/password_new.html")
    try:
        user = sign_ins.reset(uid, token, request.POST.get("new", ""))
    except Problem as problem:
        template, status = "site/accounts/password_new.html", problem.status
        return show(request, template, status=status, error=problem.detail)
    name = user.get_username()
    response = show(request, "site/accounts/password_set.html", username=name)
    remember_browser(request, response, name)
    return response


# ---------------------------------------------------------------------------- signing in and out
@sensitive_post_parameters("password")
@csrf_protect
def sign_in(request: HttpRequest) -> HttpResponse:
    """Name and password; so many tries a minute (see `_wait`)."""
    if shared_devices.DEVICE in request.session and request.user.is_authenticated:
        return redirect("hatch-who")
    to = request.POST.get("to") or request.GET.get("next", "/")
    if request.method != "POST":
        if claiming.is_open():
            return redirect("claim-code")
        return show(request, "site/accounts/sign_in.html", to=to)
    name = request.POST.get("username", "").strip()
    error, status = _("The username and password do not match. Check both and try again."), 403
    try:
        if wait := _wait(request, name):
            error, status = too_often(wait), 429
        elif _signed_in(request, name):
            response = redirect(back_to(request, "/"))
            remember_browser(request, response, name)
            return response
    except Problem as problem:
        error, status = problem.detail, problem.status
    return show(
        request, "site/accounts/sign_in.html", status=status, to=to, username=name, error=error
    )


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
    if browser := browser_of(request, name):
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
    """End the session on this device; a keeper ends a shared one (`shared_devices.end`)."""
    if shared_devices.DEVICE in request.session and request.user.is_authenticated:
        return redirect("hatch-who")
    sign_ins.sign_out(request.session.session_key or "")
    logout(request)
    return redirect("sign-in")


@post_page(None)
def choose_room(request: HttpRequest) -> HttpResponse:
    """Say which room this device stands in."""
    chosen = request.POST.get("room", "")
    for room in rooms_of(request):
        if room.slug == chosen:
            request.session["room"] = room.pk
    return redirect(back_to(request, "/"))


# ----------------------------------------------------------------------------------- known browsers
# What others try elsewhere never keeps somebody out of a browser that they signed in on before. It
# carries which names signed in on it, in a cookie that this program signed: that lets nobody in, it
# only has their tries counted apart from those of browsers that nobody knows.
COOKIE = "known_browser"
KNOWN_FOR = timedelta(days=400)
"""Browsers keep no cookie for longer (RFC 6265bis)."""

_SALT = "gearroom.known-browser"
_MOST_NAMES = 10


def browser_of(request: HttpRequest, name: str) -> str:
    """What a browser that this name signed in on before is known by; empty for any other."""
    number, names = _known_browser(request)
    return number if name.casefold() in names else ""


def remember_browser(request: HttpRequest, response: HttpResponse, name: str) -> None:
    """Have a browser carry that this name signed in on it."""
    number, names = _known_browser(request)
    name = name.casefold()
    kept = [name, *(each for each in names if each != name)][:_MOST_NAMES]
    response.set_cookie(
        COOKIE,
        signing.dumps([number or secrets.token_urlsafe(12), kept], salt=_SALT, compress=True),
        max_age=KNOWN_FOR,
        httponly=True,
        secure=settings.SESSION_COOKIE_SECURE,
        samesite="Lax",
    )


def _known_browser(request: HttpRequest) -> tuple[str, list[str]]:
    try:
        number, names = signing.loads(
            request.COOKIES.get(COOKIE, ""), salt=_SALT, max_age=KNOWN_FOR
        )
    except signing.BadSignature:
        return "", []
    return number, names
