"""One's own tokens, with which programs act as oneself."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from gearroom.core import clock
from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.core.models import Token
from gearroom.core.rules.roles import Scope
from gearroom.core.services.accounts import tokens
from gearroom.site.web.page.shell import Done, acted, actor, once_a_form, page, show

_SCOPES = {
    Scope.READ: gettext_lazy("read everything"),
    Scope.CUSTODY: gettext_lazy("take out, hand back, log use"),
    Scope.STOCK: gettext_lazy("restock, count, receive, dispose"),
    Scope.LISTS: gettext_lazy("edit kits, items and kit lists"),
    Scope.LABELS: gettext_lazy("create and print labels"),
    Scope.PEOPLE: gettext_lazy("add and edit people"),
    Scope.TRIPS: gettext_lazy("trips and reservations"),
    Scope.ADMIN: gettext_lazy("gear rooms, tokens, sending notifications again"),
}
_DAYS = (30, 90, 365, 3650)


@page("own_tokens")
def every(request: HttpRequest) -> HttpResponse:
    """One's tokens; a new one is shown this once."""
    if request.method != "POST":
        return _page(request)
    try:
        made = once_a_form(
            request,
            lambda act: _made(request, act),
            kept=lambda body: {**body, "secret": None} if "secret" in body else body,
        )
    except Problem as problem:
        return _page(request, problem=problem)
    return _page(request, made=made)


def _made(request: HttpRequest, act: Act) -> dict[str, Any]:
    name = " ".join(request.POST.get("name", "").split())
    if not name or len(name) > 80:
        raise Invalid(_("Enter in up to 80 characters what the token is for."), field="name")
    days = request.POST.get("days", "")
    if days not in map(str, _DAYS):
        raise Invalid(_("Choose how long the token lasts."), field="days")
    wanted = request.POST.getlist("scope")
    known = {scope.value: scope for scope in Scope}
    if not wanted or any(scope not in known for scope in wanted):
        raise Invalid(_("Choose at least one thing that the token allows."), field="scope")
    token, secret = tokens.make_own(
        act, name=name, scopes=[known[scope] for scope in wanted], days=int(days)
    )
    return {"name": token.name, "secret": secret}


def _page(
    request: HttpRequest, *, made: dict[str, Any] | None = None, problem: Problem | None = None
) -> HttpResponse:
    now = clock.now()
    rows = [
        {
            "token": token,
            "scopes": [_SCOPES[Scope(scope)] for scope in token.scopes],
            "ended": _ended(token, now),
        }
        for token in tokens.own(actor(request))[:100]
    ]
    facts = {
        "tokens": rows,
        "scopes": [(scope.value, label) for scope, label in _SCOPES.items()],
        "wanted": request.POST.getlist("scope") if problem else ["read"],
        "lasting": _DAYS,
        "name": request.POST.get("name", "") if problem else "",
        "made": made,
        "problem": problem,
    }
    status = problem.status if problem else 200
    return show(request, "site/people/tokens.html", facts, status=status)


def _ended(token: Token, now: datetime) -> datetime | None:
    """When a token stopped working; None while it works."""
    ran_out = token.expires_at is not None and token.expires_at <= now
    return token.revoked_at or (token.expires_at if ran_out else None)


@require_POST
@page("own_tokens")
def revoke(request: HttpRequest, token: int) -> HttpResponse:
    """End a token at once."""

    def perform(act: Act) -> Done:
        ended = tokens.revoke(act, tokens.get(act.actor, token))
        return Done(_("The token “%(name)s” no longer works.") % {"name": ended.name})

    return acted(request, perform, to=reverse("tokens"))
