"""Set up this installation: the first person, by the code that `serve` prints."""

from zoneinfo import available_timezones

from django.conf import settings
from django.contrib.auth import login
from django.core.validators import validate_email
from django.forms import CharField
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import get_language, gettext as _, gettext_lazy
from django.views.decorators.csrf import csrf_protect
from django.views.decorators.debug import sensitive_post_parameters

from gearroom.core import clock
from gearroom.core.acts import Invalid, NotFound, Problem, database_problems
from gearroom.core.models.installation import from_environment
from gearroom.core.services.accounts import attempts
from gearroom.core.services.installation import claiming
from gearroom.core.services.installation.claiming import Claim
from gearroom.site.web.accounts.sign_ins import note_sign_in, remember_browser, too_often
from gearroom.site.web.page import NOTED, Line, PageForm, Tick, invalid, say, show

ZONES = sorted(available_timezones())


class ClaimForm(PageForm):
    """Who one is, how one logs in, and whose gear it is."""

    name = Line(120, required=True, message=gettext_lazy("Enter your name."))
    username = Line(150, required=True, message=gettext_lazy("Choose a username."))
    password = CharField(
        strip=False,
        error_messages={"required": gettext_lazy("Choose a password of at least ten characters.")},
    )
    email = Line(254, required=False)
    organisation = Line(80, required=False)
    room = Line(80, required=True, message=gettext_lazy("Enter a name for the gear room."))
    time_zone = Line(64, required=True, message=gettext_lazy("Choose a time zone."))
    language = Line(10, required=False)
    signs = Tick()


@csrf_protect
def enter_code(request: HttpRequest) -> HttpResponse:
    """Ask for the code; with it the page that it opens."""
    if not claiming.is_open():
        return _claimed(request)
    if request.method == "POST":
        try:
            _require_code(request, request.POST.get("code", "").strip())
        except Problem as problem:
            return show(request, "site/installation/code.html", problem=problem)
        return redirect("claim", claim=claiming.code())
    return show(request, "site/installation/code.html")


@sensitive_post_parameters("password")
@csrf_protect
def claim(request: HttpRequest, claim: str) -> HttpResponse:
    """Say who one is; from then on it is one's own."""
    if not claiming.is_open():
        return _claimed(request)
    try:
        _require_code(request, claim)
    except Problem as problem:
        return show(request, "site/installation/code.html", problem=problem, status=404)
    if request.method != "POST":
        return _page(request)
    try:
        of = _read(request)
        with database_problems(), invalid("time_zone"):
            user = claiming.claim(claim, of)
    except claiming.Claimed:
        return _claimed(request)
    except Problem as problem:
        return _page(request, problem)
    login(request, user, backend=settings.AUTHENTICATION_BACKENDS[0])
    request.session[NOTED] = clock.now().isoformat()
    request.session.save()
    note_sign_in(request, user)
    say(
        request,
        _("Welcome, %(name)s. You are logged in, and may set up everything here.")
        % {"name": of.name},
    )
    response = redirect("installation-address")
    remember_browser(request, response, of.username)
    return response


def _claimed(request: HttpRequest) -> HttpResponse:
    """To the login, or for whoever is logged in to the front page: somebody was first."""
    return redirect("board" if request.user.is_authenticated else "sign-in")


def _read(request: HttpRequest) -> Claim:
    values = ClaimForm.read(request.POST)
    if values["language"] not in dict(settings.LANGUAGES):
        values["language"] = ""
    if values["email"]:
        with invalid("email"):
            validate_email(values["email"])
    return Claim(**values)


def _require_code(request: HttpRequest, typed: str) -> None:
    """Raise the problem with a code; so many wrong ones an hour from an address."""
    address = request.META.get("REMOTE_ADDR", "")
    try:
        claiming.require_code(typed)
    except NotFound:
        if wait := attempts.count("claim", address):
            raise Invalid(too_often(wait), field="code") from None
        raise Invalid(
            _("That is not the code. It is shown where the program was started, below "
              "“Gearroom serves at”."),
            field="code",
        ) from None  # fmt: skip


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    return show(
        request,
        "site/installation/claim.html",
        problem=problem,
        values=request.POST,
        zones=ZONES,
        languages=settings.LANGUAGES,
        spoken=get_language(),
        given=from_environment(),
    )
