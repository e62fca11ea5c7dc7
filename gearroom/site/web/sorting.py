"""From hand-back to fit: what was used, what goes in, the seal."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from gearroom.core.act import Act
from gearroom.core.problems import Problem
from gearroom.site.web.shell import Done, acted, actor, page, show
from kits.api.turnaround import restock_shown
from kits.models import Kit, Place
from kits.services import find, fitness, overview, turnaround, wording

_MOST_UNITS = 999


# ----------------------------------------------------------------------------------------- sorting
@page("look_inside")
def sort(request: HttpRequest, kit: str) -> HttpResponse:
    """What to take out, what to put in from which shelf; all of it in one tap."""
    found = find.kit(actor(request), kit)
    if request.method == "POST":
        try:
            return _restocked(request, found)
        except Problem as problem:
            return _sort_page(request, found, problem)
    return _sort_page(request, found)


def _sort_page(request: HttpRequest, kit: Kit, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    seen = overview.overview(who, kit)
    plan = turnaround.restock_list(kit)
    listed = restock_shown(plan)
    names = {key: place.name for key, place in plan.sections.items()}
    for part in ("put_in", "take_out", "fill_up"):
        for row in listed[part]:
            row["pouch"] = names.get(row["section"], row["section"])
    verdict = fitness.verdict(kit, plan.through)
    facts = {
        "kit": seen.kit,
        "seen": seen,
        "listed": listed,
        "nothing_to_do": not (listed["put_in"] or listed["take_out"] or listed["fill_up"]),
        "reasons": wording.reasons(verdict.reasons, turnaround.swaps(plan)),
        "verdict": verdict,
        "problem": problem,
        "may_restock": who.may("restock", kit.room_id),
        "may_print": who.may("print_labels", kit.room_id),
    }
    return show(request, "site/sort.html", facts, status=problem.status if problem else 200)


def _restocked(request: HttpRequest, kit: Kit) -> HttpResponse:
    left_out = [_left_out(kit, text) for text in request.POST.getlist("left-out")]

    def perform(act: Act) -> Done:
        if request.POST.get("only-look"):
            entry = turnaround.look_inside(act, kit)
            return Done(
                _("Looked inside %(kit)s: as the book has it.") % {"kit": kit.name}, entry.pk
            )
        done = turnaround.restock(act, kit, exceptions=left_out)
        put_in = sum(row.units for row in done.put_in)
        out = sum(leg.units for leg in done.taken_out)
        says = _("%(kit)s is restocked: %(put_in)d in, %(out)d out. Seal it now.") % {
            "kit": kit.name,
            "put_in": put_in,
            "out": out,
        }
        return Done(says, done.entry.pk)

    return acted(request, perform, to=reverse("sort", args=[kit.name]) + "#seal")


def _left_out(kit: Kit, text: str) -> turnaround.Differing:
    """A row that was not put in, as `SECTION:ITEM`."""
    key, _colon, item = text.rpartition(":")
    section: Place = find.section(kit, key)
    return turnaround.Differing(find.item(item), section)


@require_POST
@page("reseal")
def reseal(request: HttpRequest, kit: str) -> HttpResponse:
    """Put a numbered seal on."""

    def perform(act: Act) -> Done:
        seal = turnaround.reseal(act, find.kit(act.actor, kit), request.POST.get("seal", ""))
        return Done(
            _("%(kit)s is sealed with %(seal)s.") % {"kit": seal.kit.name, "seal": seal.number},
            seal.put_on_id,
            reverse("kit", args=[seal.kit.name]),
        )

    try:
        return acted(request, perform, to=reverse("kit", args=[kit]))
    except Problem as problem:
        return _sort_page(request, find.kit(actor(request), kit), problem)
