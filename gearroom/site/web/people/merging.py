"""Somebody who is on record twice becomes one: asked first, then done."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.core.services.people import people
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.shell import Done, actor, show
from kits.services.lookup import find
from kits.services.people import merging


def _page(request: HttpRequest, person: int, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    of = people.get(who, person)
    chosen = request.POST.get("into") or request.GET.get("into", "")
    into = find.person(who, chosen) if chosen else None
    if into == of:
        return redirect("person", of.pk)
    return show(
        request,
        "site/people/merge.html",
        problem=problem,
        somebody=of,
        into=into,
        others=people.may_take(who).exclude(pk=of.pk),
        moves=merging.moves(of) if into else None,
    )


@form_view("edit_person", page_of=_page)
def merge(act: Act, request: HttpRequest, person: int) -> Done:
    """Which record of somebody is kept, what moves to it, and the act itself."""
    into = find.person(act.actor, request.POST.get("into", ""))
    kept = merging.merge(act, people.get(act.actor, person), into)
    return Done(
        _("The two records of %(name)s have been merged into one.") % {"name": kept.name},
        to=reverse("person", args=[kept.pk]),
    )
