"""One's own tokens, with which programs act as oneself."""

from functools import partial
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core import clock
from gearroom.core.acts import Act, Problem
from gearroom.core.rules.roles import Scope
from gearroom.core.services.accounts import tokens
from gearroom.site.web.page import Done, Line, PageForm, actor, form_view, page, show, shown_once

_SCOPES = {
    Scope.READ: gettext_lazy("read everything"),
    Scope.CUSTODY: gettext_lazy("take out and hand back kits, record use"),
    Scope.STOCK: gettext_lazy("restock kits; count, receive and dispose of items"),
    Scope.LISTS: gettext_lazy("edit kits, items and kit lists"),
    Scope.LABELS: gettext_lazy("create and print labels"),
    Scope.PEOPLE: gettext_lazy("add and edit people"),
    Scope.TRIPS: gettext_lazy("trips and reservations"),
    Scope.ADMIN: gettext_lazy("gear rooms, tokens, webhooks, resending notifications"),
}
_DAYS = (30, 90, 365, 3650)


class TokenForm(PageForm):
    """What a token is for, and how long it lasts."""

    name = Line(80, message=gettext_lazy("Enter what the token is for, in up to 80 characters."))
    days = forms.TypedChoiceField(
        choices=[(days, days) for days in _DAYS],
        coerce=int,
        error_messages=dict.fromkeys(
            ("required", "invalid_choice"), gettext_lazy("Choose how long the token is valid.")
        ),
    )
    scope = forms.TypedMultipleChoiceField(
        choices=_SCOPES.items(),
        coerce=Scope,
        error_messages=dict.fromkeys(
            ("required", "invalid_choice"),
            gettext_lazy("Choose at least one permission for the token."),
        ),
    )


@page("own_tokens")
def own_tokens(request: HttpRequest) -> HttpResponse:
    """One's tokens; a new one is shown this once."""
    if request.method != "POST":
        return _page(request)

    def perform(act: Act) -> dict[str, Any]:
        values = TokenForm.read(request.POST)
        values["scopes"] = values.pop("scope")
        token, secret = tokens.make_own(act, **values)
        return {"name": token.name, "secret": secret}

    return shown_once(request, perform, "secret", partial(_page, request))


def _page(
    request: HttpRequest, problem: Problem | None = None, made: dict[str, Any] | None = None
) -> HttpResponse:
    now = clock.now()
    rows = [
        {
            "token": token,
            "scopes": [_SCOPES[Scope(scope)] for scope in token.scopes],
            "ended": token.revoked_at
            or (token.expires_at if token.expires_at and token.expires_at <= now else None),
        }
        for token in tokens.own(actor(request))[:100]
    ]
    return show(
        request,
        "site/accounts/tokens.html",
        problem=problem,
        tokens=rows,
        scopes=[(scope.value, label) for scope, label in _SCOPES.items()],
        wanted=request.POST.getlist("scope") if problem else ["read"],
        lasting=_DAYS,
        name=request.POST.get("name", "") if problem else "",
        made=made,
    )


@form_view("own_tokens")
def revoke(act: Act, request: HttpRequest, token: int) -> Done:
    """End a token at once."""
    ended = tokens.revoke(act, tokens.get(act.actor, token))
    return Done(
        _("The token “%(name)s” no longer works.") % {"name": ended.name}, to=reverse("tokens")
    )
