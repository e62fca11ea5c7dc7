"""“What did you use?”: a link for whoever had a kit, which needs no account and works once."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.api.problems import database_problems
from gearroom.core.problems import Problem
from gearroom.site.web import errors
from gearroom.site.web.hand_back import counts, used_in
from gearroom.site.web.shell import actor, page, show
from kits.models import Checkout
from kits.services import asking, find
from kits.services.likely import likely
from labels.services.links import symbol_svg


@page("see_people")
def ask(request: HttpRequest, kit: str) -> HttpResponse:
    """The link to send to whoever had the kit last: as text, as a message, as a symbol."""
    found = find.kit(actor(request), kit)
    held = asking.latest(found)
    facts: dict[str, Any] = {"kit": found, "held": held, "days": asking.WITHIN.days}
    if held is not None:
        path = reverse("used", args=[asking.token(held)])
        link = (
            settings.PUBLIC_URL + path if settings.PUBLIC_URL else request.build_absolute_uri(path)
        )
        words = _("What did you use from %(kit)s? Please say here: %(link)s") % {
            "kit": found.name,
            "link": link,
        }
        facts |= {
            "link": link,
            "symbol": "data:image/svg+xml," + quote(symbol_svg(link)),
            "body": quote(words),
        }
    return show(request, "site/ask.html", facts)


def tell(request: HttpRequest, said: str) -> HttpResponse:
    """What somebody used, told by the link that they were sent."""
    try:
        held = asking.asked(said)
    except Problem as problem:
        if problem.code == "told-already":
            return _answer(request, "site/told.html", {"problem": problem}, problem.status)
        return errors.refusal(request, problem)
    if request.method != "POST":
        return _asked(request, held)
    try:
        used, levels = used_in(request.POST, held.kit)
        wrong = request.POST.get("wrong", "").strip()[:300]
        with database_problems():
            told = asking.tell(held, used, levels=levels, wrong=wrong)
    except Problem as problem:
        return _asked(request, held, problem)
    return _answer(request, "site/told.html", {"kit": held.kit, "told": told})


def _asked(request: HttpRequest, held: Checkout, problem: Problem | None = None) -> HttpResponse:
    facts = {
        "held": held,
        "kit": held.kit,
        "problem": problem,
        "said": request.POST,
        **counts(request.POST, likely(held.kit)),
    }
    return _answer(request, "site/used.html", facts, problem.status if problem else 200)


def _answer(
    request: HttpRequest, template: str, facts: dict[str, Any], status: int = 200
) -> HttpResponse:
    response = render(request, template, facts, status=status)
    response.headers["Cache-Control"] = "private, no-store"
    return response
