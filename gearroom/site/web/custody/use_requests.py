"""“What did you use?”: one link for whoever had kits, which needs no account and takes one answer a
kit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from gearroom.core.acts.exceptions import database_problems
from gearroom.core.acts.problems import NotFound, Problem
from gearroom.site.web.custody.hand_back import besides, counts, remarks_in, used_in
from gearroom.site.web.page import errors
from gearroom.site.web.page.shell import actor, here, no_room, page, show
from kits.models import Checkout
from kits.services.custody import use_requests
from kits.services.custody.use_suggestions import suggest
from kits.services.lookup import find
from labels.services.scan.links import symbol_svg


@require_safe
@page("see_people")
def ask(request: HttpRequest, kit: str) -> HttpResponse:
    """The link to send to whoever had the kit last: as text, as a message, as a symbol."""
    who = actor(request)
    found = find.kit(who, kit)
    held = use_requests.latest(who, found)
    facts: dict[str, Any] = {"kit": found, "held": held, "days": use_requests.WITHIN.days}
    if held is not None:
        sent = _message(request, held, use_requests.times_of_person(who, held))
        facts |= {**sent, "symbol": "data:image/svg+xml," + quote(symbol_svg(sent["link"]))}
    return show(request, "site/custody/use_request_new.html", facts)


@require_safe
@page("see_people")
def ask_all(request: HttpRequest) -> HttpResponse:
    """Everybody who can still be asked about kits of this room, each with one link for all."""
    room = here(request)
    if room is None:
        return no_room(request)
    rows = [
        {"person": held[0].person, "held": held, **_message(request, held[0], held)}
        for held in use_requests.people_to_ask(actor(request), room)
    ]
    return show(
        request,
        "site/custody/use_requests_new.html",
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


def tell(request: HttpRequest, said: str, time: int | None = None) -> HttpResponse:
    """What somebody used, by the link that they were sent: of one kit at a time, where it was
    several; that nothing was used, of all at once."""
    try:
        times = use_requests.times_of_link(said)
    except Problem as problem:
        if problem.code == "told-already":
            return _answer(
                request,
                "site/custody/use_request_answered.html",
                {"problem": problem},
                problem.status,
            )
        return errors.refusal(request, problem)
    if request.method == "POST" and request.POST.get("nothing"):
        return _nothing(request, said, times)
    if time is None and len(times) > 1:
        return _answer(request, "site/custody/use_requests.html", {"times": times, "said": said})
    held = times[0] if time is None else _one_of(times, time)
    if held is None:
        return errors.refusal(request, NotFound("link", said[:20]))
    if request.method != "POST":
        return _asked(request, held)
    try:
        used, levels = used_in(request.POST, held.kit)
        remarks = remarks_in(request, held.kit)
        wrong = request.POST.get("wrong", "").strip()[:300]
        with database_problems():
            told = use_requests.answer(held, used, levels=levels, wrong=wrong, remarks=remarks)
    except Problem as problem:
        return _asked(request, held, problem)
    left = [each for each in times if each != held]
    return _answer(
        request,
        "site/custody/use_request_answered.html",
        {"kits": [held.kit], "told": told, "left": left, "said": said},
    )


def _one_of(times: Sequence[Checkout], pk: int) -> Checkout | None:
    return next((each for each in times if each.pk == pk), None)


def _nothing(request: HttpRequest, said: str, times: Sequence[Checkout]) -> HttpResponse:
    """Nothing was used from the kits that the page listed."""
    listed = set(request.POST.getlist("time"))
    done = [each for each in times if str(each.pk) in listed]
    try:
        with database_problems():
            for held in done:
                use_requests.answer(held, [])
    except Problem as problem:
        facts = {"times": times, "said": said, "problem": problem}
        return _answer(request, "site/custody/use_requests.html", facts, problem.status)
    left = [each for each in times if each not in done]
    facts = {"kits": [each.kit for each in done], "left": left, "said": said}
    return _answer(request, "site/custody/use_request_answered.html", facts)


def _asked(request: HttpRequest, held: Checkout, problem: Problem | None = None) -> HttpResponse:
    facts = {
        "held": held,
        "kit": held.kit,
        "problem": problem,
        "said": request.POST,
        **counts(request.POST, suggest(held.kit)),
        **besides(request, held.kit),
    }
    return _answer(
        request, "site/custody/use_request.html", facts, problem.status if problem else 200
    )


def _answer(
    request: HttpRequest, template: str, facts: dict[str, Any], status: int = 200
) -> HttpResponse:
    response = render(request, template, facts, status=status)
    response.headers["Cache-Control"] = "private, no-store"
    return response
