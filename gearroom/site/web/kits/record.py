"""What a kit's responsible instructor answers with: all that happened to it, and its record as of
a day, to print for an inspector or an insurer."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from gearroom.core import clock
from gearroom.core.acts.problems import Invalid
from gearroom.site.web.page import fields
from gearroom.site.web.page.shell import actor, page, show
from kits.services.kits import contents, history, record
from kits.services.ledger import readiness
from kits.services.lookup import find
from kits.services.overview import kits_overview

_A_PAGE = 40


@require_safe
@page("read_history")
def every_act(request: HttpRequest, kit: str) -> HttpResponse:
    """All that happened to a kit, newest first, so many at a time."""
    found = find.kit(actor(request), kit)
    before = request.GET.get("before", "")
    rows, older = history.history(
        actor(request),
        found,
        most=_A_PAGE,
        before=int(before) if before.isascii() and before.isdigit() and len(before) < 16 else None,
    )
    may = {"reverse": actor(request).may("reverse", found.home_room_id)}
    facts = {"kit": found, "happened": rows, "older": older, "newest": not before, "may": may}
    return show(request, "site/kits/history.html", facts)


@require_safe
@page()
def as_of(request: HttpRequest, kit: str) -> HttpResponse:
    """One printable page of a kit as of a day, as known now or as it was known that evening."""
    found = find.kit(actor(request), kit)
    contents.refuse_unless_known(actor(request), found)
    on = fields.day(request.GET, "on", _("As of"))
    today = readiness.today_of(found)
    if on is not None and on > today:
        raise Invalid(_("That day is still to come. Choose today or an earlier day."), field="on")
    then = request.GET.get("known") == "then" and on is not None and on < today
    seen = kits_overview.overview(actor(request), found)
    facts = {
        "kit": seen.kit,
        "seen": seen,
        "on": on or today,
        "today": today,
        "then": then,
        "record": record.record(
            found,
            on=None if on == today else on,
            known_by=clock.end_of_day(on, found.home_room.time_zone) if then and on else None,
        ),
    }
    return show(request, "site/kits/as_of.html", facts)
