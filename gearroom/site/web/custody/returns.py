"""What went with a casualty and may come back, and what in a kit is a participant's own."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from kits.services.kits import participants_own
from kits.services.lookup import find, reporters
from kits.services.stock import away, views


@page()
def every(request: HttpRequest) -> HttpResponse:
    """What may still come back, each with the two ways that it ends."""
    who = actor(request)
    if request.method != "POST":
        return _every(request)
    try:
        return acted(request, lambda act: _ended(request, act), to=request.path)
    except Problem as problem:
        if who.may("look"):
            return _every(request, problem)
        raise


def _every(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    shelves = views.shelves_of(who)
    rows = [
        {
            "row": row,
            "shelves": [each for each in shelves if each.room_id == row.kit.home_room_id],
            "may_write_off": who.may("write_off", row.kit.home_room_id),
            "may_come_back": who.may("come_back", row.kit.home_room_id),
        }
        for row in away.visible_to(who)
    ]
    facts = {"rows": rows, "problem": problem}
    return show(
        request, "site/custody/returns.html", facts, status=problem.status if problem else 200
    )


def _ended(request: HttpRequest, act: Act) -> Done:
    said = request.POST
    kit, lot = find.kit(act.actor, said.get("kit", "")), find.lot(said.get("lot", ""))
    count = said.get("units", "")
    if not (count.isascii() and count.isdigit() and 0 < len(count) < 7):
        raise Invalid(_("Enter how many: a whole number of at least 1."), field="units")
    facts = {"count": int(count), "thing": lot.item.name}
    if said.get("gone"):
        entry = away.write_off(act, kit, lot, int(count))
        return Done(_("%(count)d × %(thing)s is written off as used.") % facts, entry.pk)
    shelf = find.shelf(act.actor, said.get("shelf", ""))
    entry = away.come_back(act, kit, lot, int(count), shelf)
    return Done(_("%(count)d × %(thing)s is back.") % facts, entry.pk)


@require_POST
@page("log_use")
def participants(request: HttpRequest, kit: str) -> HttpResponse:
    """Something of a participant's own rides in a kit, or went back to its owner."""
    found = reporters.kit(actor(request), kit)
    inside = request.POST.get("inside") == "1"

    def perform(act: Act) -> Done:
        entry = participants_own.report(act, found, inside=inside)
        says = (
            _("%(kit)s: it carries something that belongs to a participant.")
            if inside
            else _("%(kit)s: given back to its owner.")
        )
        return Done(says % {"kit": found.name}, entry.pk)

    return acted(request, perform, to=reverse("kit", args=[found.name]))
