"""Somebody who is on record twice becomes one: asked first, then done."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.core.services.people import people
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from kits.services.lookup import find
from kits.services.people import merging


@page("edit_person")
def merge(request: HttpRequest, person: int) -> HttpResponse:
    """Which record of somebody is kept, what moves to it, and the act itself."""
    found = people.get(actor(request), person)
    if request.method != "POST":
        return _ask(request, found.pk)

    def perform(act: Act) -> Done:
        into = find.person(act.actor, request.POST.get("into", ""))
        kept = merging.merge(act, people.get(act.actor, person), into)
        says = _("%(name)s is merged into one record.") % {"name": kept.name}
        return Done(says, to=reverse("person", args=[kept.pk]))

    try:
        return acted(request, perform, to=reverse("people"))
    except Problem as problem:
        return _ask(request, found.pk, problem)


def _ask(request: HttpRequest, person: int, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    found = people.get(who, person)
    chosen = request.POST.get("into") or request.GET.get("into", "")
    into = find.person(who, chosen) if chosen else None
    if into == found:
        return redirect("person", found.pk)
    facts = {
        "shown": found,
        "into": into,
        "others": people.may_take(who).exclude(pk=found.pk),
        "moves": merging.moves(found) if into else None,
        "problem": problem,
    }
    return show(request, "site/people/merge.html", facts, status=problem.status if problem else 200)
