"""What was used from a kit that waits to be sorted or is on its way: use alone."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.site.web.custody.hand_back import (
    batch_sent,
    besides,
    counts,
    in_words,
    remarks_in,
    used_in,
)
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from kits.models import Kit, Lot
from kits.services.custody import use
from kits.services.custody.use_suggestions import suggest
from kits.services.lookup import find


@page("log_use")
def used(request: HttpRequest, kit: str) -> HttpResponse:
    """Say what was used from a kit: against the trip it is out for, or else was out for last."""
    found = find.kit(actor(request), kit)
    if request.method != "POST":
        return _page(request, found)
    try:
        if request.POST.get("read"):
            return _page(request, found, batch=batch_sent(request))
        return _written(request, found)
    except Problem as problem:
        return _page(request, found, problem)


def _page(
    request: HttpRequest, kit: Kit, problem: Problem | None = None, batch: Lot | None = None
) -> HttpResponse:
    facts: dict[str, Any] = {"kit": kit, "problem": problem, "said": request.POST}
    facts |= counts(request.POST, suggest(kit), batch) | besides(request, kit)
    part = "HX-Request" in request.headers
    template = "site/custody/hand_back_counts.html" if part else "site/custody/use.html"
    return show(request, template, facts, status=problem.status if problem and not part else 200)


def _written(request: HttpRequest, kit: Kit) -> HttpResponse:
    lines, levels = used_in(request.POST, kit)
    remarks = remarks_in(request, kit)

    def perform(act: Act) -> Done:
        incident = request.POST.get("incident", "").strip()[:80]
        done = use.log_use(act, kit, lines, levels=levels, incident=incident, remarks=remarks)
        count = sum(line.units for line in done.lines)
        return Done(f"{kit.name}: {in_words(count)}", done.entry.pk)

    on = kit.to_sort_since is not None and actor(request).may("restock", kit.room_id)
    return acted(request, perform, to=reverse("sort" if on else "kit", args=[kit.name]))
