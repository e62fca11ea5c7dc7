"""“What did you use?”: one link for whoever had kits, which needs no account and takes one answer a
kit."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from gearroom.core.acts.exceptions import database_problems
from gearroom.core.acts.problems import AlreadyAnswered, NotFound, Problem
from gearroom.site.web.custody.use_form import remark_fields, remarks_of, use_fields, use_of
from gearroom.site.web.page import errors
from gearroom.site.web.page.forms import PageForm, ShortText
from gearroom.site.web.page.shell import actor, page, room_here, show
from kits.models import Checkout
from kits.services.custody import use_requests
from kits.services.custody.use_suggestions import suggest
from kits.services.lookup import find
from labels.services.scan.links import symbol_svg


@require_safe
@page("see_people")
def request_use(request: HttpRequest, kit: str) -> HttpResponse:
    """The link to send to whoever had the kit last: as text, as a message, as a symbol."""
    who = actor(request)
    back = find.kit(who, kit)
    held = use_requests.latest(who, back)
    facts: dict[str, Any] = {"kit": back, "held": held, "days": use_requests.WITHIN.days}
    if held is not None:
        message = _message(request, held, use_requests.times_of_person(who, held))
        symbol = "data:image/svg+xml," + quote(symbol_svg(message["link"]))
        facts |= {**message, "symbol": symbol}
    return show(request, "site/custody/use_requests/new.html", facts)


@require_safe
@page("see_people")
def request_all_use(request: HttpRequest) -> HttpResponse:
    """Everybody who can still be asked about kits of this room, each with one link for all."""
    rows = [
        {"person": held[0].person, "held": held, **_message(request, held[0], held)}
        for held in use_requests.people_to_ask(actor(request), room_here(request))
    ]
    return show(
        request,
        "site/custody/use_requests/new_for_all.html",
        {"rows": rows, "days": use_requests.WITHIN.days},
    )


def _message(request: HttpRequest, held: Checkout, times: Sequence[Checkout]) -> dict[str, str]:
    """A link, and what to write around it; all kits that it leads to are named."""
    path = reverse("used", args=[use_requests.token(held, actor(request))])
    link = settings.PUBLIC_URL + path if settings.PUBLIC_URL else request.build_absolute_uri(path)
    words = _("What did you use from %(kit)s? Please answer here: %(link)s") % {
        "kit": ", ".join(each.kit.name for each in times),
        "link": link,
    }
    return {"link": link, "body": quote(words)}


class ReportForm(PageForm):
    """What somebody reports besides use."""

    wrong = ShortText()


def report_use(request: HttpRequest, link: str, time: int | None = None) -> HttpResponse:
    """What somebody used, by the link that they were sent: of one kit at a time, where it was
    several; that nothing was used, of all at once."""
    try:
        times = use_requests.times_of_link(link)
    except AlreadyAnswered as problem:
        return _answered(request, link, problem=problem)
    except Problem as problem:
        return errors.refusal(request, problem)
    if request.method == "POST" and request.POST.get("nothing"):
        return _report_nothing(request, link, times)
    if time is None and len(times) > 1:
        return _choice(request, link, times)
    held = next((each for each in times if time in (None, each.pk)), None)
    if held is None:
        return errors.refusal(request, NotFound("link", link[:20]))
    if request.method != "POST":
        return _form(request, held)
    try:
        used, levels = use_of(request.POST, held.kit)
        remarks = remarks_of(request.POST, held.kit)
        wrong = ReportForm.read(request.POST)["wrong"]
        with database_problems():
            report = use_requests.answer(held, used, levels=levels, wrong=wrong, remarks=remarks)
    except Problem as problem:
        return _form(request, held, problem)
    left = [each for each in times if each != held]
    return _answered(request, link, kits=[held.kit], report=report, left=left)


def _report_nothing(request: HttpRequest, link: str, times: Sequence[Checkout]) -> HttpResponse:
    """Nothing was used from the kits that the page listed."""
    listed = set(request.POST.getlist("time"))
    done = [each for each in times if str(each.pk) in listed]
    try:
        with database_problems():
            for held in done:
                use_requests.answer(held, [])
    except Problem as problem:
        return _choice(request, link, times, problem)
    left = [each for each in times if each not in done]
    return _answered(request, link, kits=[each.kit for each in done], left=left)


def _choice(
    request: HttpRequest, link: str, times: Sequence[Checkout], problem: Problem | None = None
) -> HttpResponse:
    facts = {"times": times, "link": link}
    return _private(show(request, "site/custody/use_requests/kits.html", facts, problem=problem))


def _form(request: HttpRequest, held: Checkout, problem: Problem | None = None) -> HttpResponse:
    facts = {
        "held": held,
        "kit": held.kit,
        "sent": request.POST,
        **use_fields(request.POST, suggest(held.kit)),
        **remark_fields(request.POST, held.kit),
    }
    return _private(show(request, "site/custody/use_requests/kit.html", facts, problem=problem))


def _answered(
    request: HttpRequest, link: str, problem: Problem | None = None, **facts: Any
) -> HttpResponse:
    facts["link"] = link
    template = "site/custody/use_requests/answered.html"
    return _private(show(request, template, facts, problem=problem))


def _private(response: HttpResponse) -> HttpResponse:
    response.headers["Cache-Control"] = "private, no-store"
    return response
