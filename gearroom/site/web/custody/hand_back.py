"""Handing back: the three ways, sharps or blood, and what was used (`use_form`)."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.site.web.custody.use_form import (
    remark_fields,
    remarks_of,
    use_fields,
    use_in_words,
    use_of,
)
from gearroom.site.web.page.act_forms import backdated
from gearroom.site.web.page.forms import PageForm, ShortText, Tick
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from gearroom.site.web.scan.pictures import batch_of, photo_of
from kits.models import AsFound, Kit, Lot
from kits.services.custody import custody
from kits.services.custody.use_suggestions import suggest
from kits.services.kits import participants_own
from kits.services.lookup import find
from kits.services.overview import kits_overview


class HandBackForm(PageForm):
    """How an opened kit came back."""

    wet = Tick()
    wrong = ShortText()
    incident = ShortText(80)


@page("check_in")
def hand_back(request: HttpRequest, kit: str) -> HttpResponse:
    """Hand a kit back: the three ways, then for an opened one sharps or blood, then what was
    used."""
    back = find.any_kit(kit, actor(request))
    if request.method != "POST":
        return _page(request, back)
    try:
        if request.POST.get("read"):
            return _page(request, back, batch=batch_of(request))
        return _hand_back(request, back)
    except Problem as problem:
        return _page(request, back, problem)


def _page(
    request: HttpRequest, kit: Kit, problem: Problem | None = None, batch: Lot | None = None
) -> HttpResponse:
    sent = request.POST or request.GET
    who = actor(request)
    theirs = who.belongs_to(kit.room_id) or who.belongs_to(kit.home_room_id)
    facts: dict[str, Any] = {"kit": kit, "sent": sent}
    if theirs:
        facts["overview"] = kits_overview.overview(who, kit)
    if sent.get("sharps") in ("yes", "no"):
        # What another room's kit carries is not theirs to see; that it was opened is.
        facts |= {"step": "used", "sharps": sent["sharps"], "may_scan": theirs}
        facts |= remark_fields(request.POST, kit)
        facts |= use_fields(request.POST, suggest(kit), batch) if theirs else {}
    else:
        facts["not_ours"] = participants_own.is_inside(kit)
        facts["step"] = "sharps" if sent.get("opened") else "ways"
    if "HX-Request" in request.headers and facts["step"] == "used":
        facts["problem"] = problem
        return show(request, "site/custody/use/counts.html", facts)
    return show(request, "site/custody/hand_back/hand_back.html", facts, problem=problem)


def _hand_back(request: HttpRequest, kit: Kit) -> HttpResponse:
    used, levels = use_of(request.POST, kit)
    remarks = remarks_of(request.POST, kit)
    photo = photo_of(request)
    values = HandBackForm.read(request.POST)

    def perform(act: Act) -> Done:
        back = custody.check_in(
            backdated(act, request.POST, kit.home_room.time_zone),
            kit,
            as_found=AsFound.OPENED,
            used=used,
            levels=levels,
            sharps_or_blood=request.POST.get("sharps") == "yes",
            photo=photo,
            remarks=remarks,
            **values,
        )
        count = sum(line.units for line in back.use.lines) if back.use else 0
        says = _("%(kit)s has been handed back as opened. %(wrote)s") % {
            "kit": kit.name,
            "wrote": use_in_words(count),
        }
        return Done(says, back.entry.pk)

    on = actor(request).may("restock", kit.room_id)
    return acted(request, perform, to=reverse("sort", args=[kit.name]) if on else reverse("scan"))
