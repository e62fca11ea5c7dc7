"""What was used from a kit that waits to be sorted or is on its way: use alone."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.site.web.custody.use_form import (
    remark_fields,
    remarks_of,
    use_fields,
    use_in_words,
    use_of,
)
from gearroom.site.web.page.forms import PageForm, ShortText
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from gearroom.site.web.scan.pictures import batch_of
from kits.models import Kit, Lot
from kits.services.custody import use
from kits.services.custody.use_suggestions import suggest
from kits.services.lookup import find


class IncidentForm(PageForm):
    """What somebody used it in."""

    incident = ShortText(80)


@page("log_use")
def log_use(request: HttpRequest, kit: str) -> HttpResponse:
    """Enter what was used from a kit: against the trip it is out for, or else was out for last."""
    opened = find.kit(actor(request), kit)
    if request.method != "POST":
        return _page(request, opened)
    try:
        if request.POST.get("read"):
            return _page(request, opened, batch=batch_of(request))
        return _log_use(request, opened)
    except Problem as problem:
        return _page(request, opened, problem)


def _page(
    request: HttpRequest, kit: Kit, problem: Problem | None = None, batch: Lot | None = None
) -> HttpResponse:
    facts: dict[str, Any] = {"kit": kit, "problem": problem, "sent": request.POST}
    facts |= use_fields(request.POST, suggest(kit), batch) | remark_fields(request.POST, kit)
    if "HX-Request" in request.headers:
        return show(request, "site/custody/use/counts.html", facts)
    return show(request, "site/custody/use/use.html", facts, problem=problem)


def _log_use(request: HttpRequest, kit: Kit) -> HttpResponse:
    lines, levels = use_of(request.POST, kit)
    remarks = remarks_of(request.POST, kit)
    incident = IncidentForm.read(request.POST)["incident"]

    def perform(act: Act) -> Done:
        done = use.log_use(act, kit, lines, levels=levels, incident=incident, remarks=remarks)
        count = sum(line.units for line in done.lines)
        return Done(f"{kit.name}: {use_in_words(count)}", done.entry.pk)

    on = kit.to_sort_since is not None and actor(request).may("restock", kit.room_id)
    return acted(request, perform, to=reverse("sort" if on else "kit", args=[kit.name]))
