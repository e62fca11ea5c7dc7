"""“Did you clear it?”: by a link that needs no account, or signed in; a page only asks, a tap
answers."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.site.web.page import errors
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from kits.models import Clearance
from kits.services.custody import clearances
from kits.services.notices.texts.kits import lacks

_ANSWERS = {"yes": True, "no": False}
_MOST = 100


def by_link(request: HttpRequest, said: str) -> HttpResponse:
    """What somebody says of a clearance by the link that they were sent."""
    try:
        found = clearances.by_link(said)
        if request.method != "POST":
            return _page(request, found)
        clearances.answer_by_link(found, confirmed=_confirmed(request))
    except Problem as problem:
        if problem.code == "answered-already":
            return _page(request, found, problem)
        return errors.refusal(request, problem)
    return redirect(request.path)


@page()
def every(request: HttpRequest) -> HttpResponse:
    """One's own clearances and those of one's rooms, the newest first; one's own are answered
    here."""
    who = actor(request)
    if request.method == "POST":

        def perform(act: Act) -> Done:
            pk = request.POST.get("clearance", "")
            found = clearances.get(act.actor, int(pk) if pk.isascii() and pk.isdigit() else 0)
            done = clearances.answer(act, found, confirmed=_confirmed(request))
            return Done(_says(found, confirmed=done.confirmed))

        return acted(request, perform, to=request.path)
    rows = [
        {
            "clearance": each,
            "reasons": lacks(each.reasons),
            "own": clearances.answers_for(each) == who.person,
            **_standing(each),
        }
        for each in clearances.visible_to(who)[:_MOST]
    ]
    return show(request, "site/custody/clearances.html", {"rows": rows})


def _page(request: HttpRequest, found: Clearance, problem: Problem | None = None) -> HttpResponse:
    facts: dict[str, Any] = {
        "clearance": found,
        "kit": found.checkout.kit,
        "reasons": lacks(found.reasons),
        "problem": problem,
        **_standing(found),
    }
    status = problem.status if problem else 200
    response = render(request, "site/custody/clearance.html", facts, status=status)
    response.headers["Cache-Control"] = "private, no-store"
    return response


def _standing(found: Clearance) -> dict[str, Any]:
    answer = getattr(found, "answer", None)
    return {"answer": answer, "open": answer is None}


def _confirmed(request: HttpRequest) -> bool:
    said = _ANSWERS.get(request.POST.get("answer", ""))
    if said is None:
        raise Invalid(_("Answer yes or no: did you clear it?"), field="answer")
    return said


def _says(found: Clearance, *, confirmed: bool) -> str:
    says = (
        _("Recorded: you cleared %(kit)s.")
        if confirmed
        else _("Recorded: you did not clear %(kit)s. Its keepers are told.")
    )
    return says % {"kit": found.checkout.kit.name}
