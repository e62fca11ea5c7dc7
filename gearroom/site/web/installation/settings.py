"""The installation's settings on three pages: what it is called and when it keeps quiet; the web
address, tried by a phone; how mail is sent, tried by a letter. What the environment sets is shown
with the variable's name and cannot be changed here."""

from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.core.validators import validate_email
from django.forms import CharField
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _, gettext_lazy
from django.views.decorators.csrf import csrf_protect
from django.views.decorators.debug import sensitive_post_parameters

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.core.models.installation import Security, current, from_environment
from gearroom.core.services.accounts import attempts
from gearroom.core.services.installation import installation
from gearroom.site.mail import trial_letter
from gearroom.site.web.accounts.sign_ins import too_often
from gearroom.site.web.installation.claiming import ZONES
from gearroom.site.web.installation.path import neighbours
from gearroom.site.web.page import (
    Choice,
    Done,
    Line,
    PageForm,
    TimeOfDay,
    WholeNumber,
    actor,
    form_view,
    invalid,
    page,
    say,
    show,
)
from labels.rules.layout.symbols import symbol_svg

THIS_COMPUTER = ("localhost", "127.0.0.1", "[::1]")
_FIELDS = {
    "organisation": gettext_lazy("Organisation"),
    "time_zone": gettext_lazy("Time zone"),
    "language": gettext_lazy("Language"),
    "public_url": gettext_lazy("Web address"),
    "mail_from": gettext_lazy("Email sender"),
    "mail_host": gettext_lazy("Mail server"),
    "mail_port": gettext_lazy("Port"),
    "mail_security": gettext_lazy("Protection"),
    "mail_user": gettext_lazy("Username"),
    "mail_password": gettext_lazy("Password"),
    "quiet_from": gettext_lazy("Quiet hours from"),
    "quiet_until": gettext_lazy("Quiet hours until"),
}


def _show(
    request: HttpRequest, template: str, name: str, problem: Problem | None, **facts: Any
) -> HttpResponse:
    return show(
        request,
        f"site/installation/{template}",
        problem=problem,
        kept=installation.row(),
        now=current(),
        given=from_environment(),
        sent=request.POST if problem else {},
        path=neighbours(name),
        **facts,
    )


def _free(values: Mapping[str, Any]) -> dict[str, Any]:
    """What a form says, without what the environment sets: those inputs cannot be used."""
    given = set(from_environment())
    if "quiet_hours" in given:
        given |= {"quiet_from", "quiet_until"}
    return {name: value for name, value in values.items() if name not in given}


# --------------------------------------------------------------------------------------- its name
class NameForm(PageForm):
    """What it is called, its language and time zone, and when it keeps quiet."""

    organisation = Line(80, required=False)
    time_zone = Line(64, required=True, message=gettext_lazy("Choose a time zone."))
    language = Line(10, required=False)
    quiet_from = TimeOfDay(required=False, message=gettext_lazy("Enter a time such as 22:00."))
    quiet_until = TimeOfDay(required=False, message=gettext_lazy("Enter a time such as 07:00."))


def _name_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    changes = [
        (each, ", ".join(str(_FIELDS.get(name, name)) for name in each.fields))
        for each in installation.changes()
    ]
    return _show(
        request, "settings.html", "installation", problem,
        zones=ZONES, languages=settings.LANGUAGES, changes=changes,
    )  # fmt: skip


@form_view("edit_installation", "installation", page_of=_name_page)
def name(act: Act, request: HttpRequest) -> Done:
    """What the installation is called and when it keeps quiet."""
    values = NameForm.read(request.POST)
    if values["language"] not in ("", *dict(settings.LANGUAGES)):
        raise Invalid(_("Choose one of the languages."), field="language")
    if (values["quiet_from"] is None) != (values["quiet_until"] is None):
        raise Invalid(
            _("Enter both quiet hours, or leave both empty for none."), field="quiet_from"
        )
    installation.change(act, **_free(values))
    return Done(_("Saved."))


# ------------------------------------------------------------------------------------- its address
class AddressForm(PageForm):
    """Where phones reach it."""

    public_url = Line(200, required=False)


def _address_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    host = request.get_host()
    local = host.rsplit(":", 1)[0] in THIS_COMPUTER
    link = installation.link_to_try()
    return _show(
        request, "address.html", "installation-address", problem,
        likely="" if local else f"{request.scheme}://{host}",
        only_here=local and not current().public_url,
        link=link,
        symbol="data:image/svg+xml," + quote(symbol_svg(link)) if link else "",
    )  # fmt: skip


@form_view("edit_installation", "installation-address", page_of=_address_page)
def address(act: Act, request: HttpRequest) -> Done:
    """The address that labels and mails lead to."""
    installation.change(act, **_free(AddressForm.read(request.POST)))
    return Done(_("Saved. Now try the web address with a phone."))


@csrf_protect
def reached(request: HttpRequest, link: str) -> HttpResponse:
    """What a phone opens to show that it reaches us; it says so by one tap."""
    try:
        wanted = installation.address_of(link)
        if request.method != "POST":
            return show(request, "site/installation/reached.html", address=wanted)
        noted = installation.note_reached(link, request.get_host())
    except Problem as problem:
        return show(request, "site/installation/reached.html", problem=problem)
    return show(request, "site/installation/reached.html", address=wanted, sent=True, noted=noted)


# ------------------------------------------------------------------------------------------- mail
class MailForm(PageForm):
    """How mail is sent. An empty password leaves the one from before."""

    mail_from = Line(200, required=False)
    mail_host = Line(200, required=False)
    mail_port = WholeNumber(
        least=1, most=65535, required=False, initial=587, label=gettext_lazy("Port")
    )
    mail_security = Choice(Security, required=False, initial=Security.STARTTLS)
    mail_user = Line(200, required=False)
    mail_password = CharField(required=False, strip=False, max_length=500)


def _mail_page(
    request: HttpRequest,
    problem: Problem | None = None,
    result: trial_letter.Result | None = None,
) -> HttpResponse:
    who = actor(request).person
    return _show(
        request, "mail.html", "installation-mail", problem,
        result=result,
        to=request.POST.get("to", "") or (who.email if who else ""),
        folder=settings.EMAIL_OUTBOX_DIR,
        ways=[
            (Security.STARTTLS, _("STARTTLS (usually port 587)")),
            (Security.TLS, _("TLS (usually port 465)")),
            (Security.NONE, _("none: only for a mail server on this machine")),
        ],
    )  # fmt: skip


# It carries a password, so it comes without a key: of what has one, a digest is kept for ever.
@sensitive_post_parameters("mail_password")
@page("edit_installation")
def mail(request: HttpRequest) -> HttpResponse:
    """How mail is sent; saved, and tried by a letter where that is asked for."""
    if request.method != "POST":
        return _mail_page(request)
    try:
        values = MailForm.read(request.POST)
        if "mail_host" in from_environment():
            values = {"mail_from": values["mail_from"]}
        installation.change(Act(actor(request)), **_free(values))
        if "try" not in request.POST:
            say(request, _("Saved."))
            return redirect("installation-mail")
        result = _try(request, request.POST.get("to", "").strip())
    except Problem as problem:
        return _mail_page(request, problem)
    return _mail_page(request, result=result)


def _try(request: HttpRequest, to: str) -> trial_letter.Result:
    who = actor(request)
    with invalid("to"):
        validate_email(to)
    if wait := attempts.count("letter", str(who.user.pk if who.user else 0)):
        raise Invalid(too_often(wait), field="to")
    return trial_letter.send(to, who.person)
