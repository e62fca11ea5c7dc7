"""Handing back: the three ways, sharps or blood, and what was used (`use_form`); use alone, from a
kit that waits to be sorted or is on its way. What went with a casualty and may come back, and what
in a kit is a participant's own. When what is out is due back."""

from functools import partial
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Problem
from gearroom.site.web.custody.use_form import (
    remark_fields,
    remarks_of,
    use_fields,
    use_in_words,
    use_of,
)
from gearroom.site.web.page import (
    Done,
    Moment,
    PageForm,
    ShortText,
    Tick,
    WholeNumber,
    acted,
    actor,
    back_to,
    backdated,
    form_view,
    page,
    read_field,
    show,
)
from gearroom.site.web.scan.pictures import form_with_batch, photo_of
from kits.models import AsFound, Kit, Lot
from kits.services.custody import custody, returns, use
from kits.services.custody.use_suggestions import suggest
from kits.services.lookup import find, reporters
from kits.services.overview import kits_overview
from kits.services.stock import away, views
from kits.services.text import wording
from kits.services.trips import due_times


class HandBackForm(PageForm):
    """How an opened kit came back."""

    wet = Tick()
    wrong = ShortText()
    incident = ShortText(80)


# ------------------------------------------------------------------------------- handing back
@page("check_in")
def hand_back(request: HttpRequest, kit: str) -> HttpResponse:
    """Hand a kit back: the three ways, then for an opened one sharps or blood, then what was
    used."""
    back = find.any_kit(kit, actor(request))
    return form_with_batch(
        request, partial(_page, request, back), partial(_hand_back, request, back)
    )


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
        facts["not_ours"] = returns.has_own(kit)
        facts["step"] = "sharps" if sent.get("opened") else "ways"
    if "HX-Request" in request.headers and facts["step"] == "used":
        return show(request, "site/custody/use/counts.html", problem=problem, status=200, **facts)
    return show(request, "site/custody/hand_back/hand_back.html", problem=problem, **facts)


def _hand_back(request: HttpRequest, kit: Kit) -> HttpResponse:
    used, levels = use_of(request.POST, kit)
    remarks = remarks_of(request.POST, kit)
    photo = photo_of(request)
    values = HandBackForm.read(request.POST)
    may_sort = actor(request).may("restock", kit.room_id)

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
        lines = back.use.lines if back.use else ()
        on = may_sort and (not kit.training or back.kit.to_sort_since is not None)
        return Done(
            _("%(kit)s has been handed back as opened. %(wrote)s")
            % {"kit": kit.name, "wrote": use_in_words(lines)},
            back.entry.pk,
            to=reverse("sort", args=[kit.name]) if on else "",
        )

    return acted(request, perform, to=reverse("scan"))


# ---------------------------------------------------------------------------------- use alone
@page("log_use")
def log_use(request: HttpRequest, kit: str) -> HttpResponse:
    """Enter what was used from a kit: against the trip it is out for, or else was out for last."""
    opened = find.kit(actor(request), kit)
    return form_with_batch(
        request, partial(_use_page, request, opened), partial(_log_use, request, opened)
    )


def _use_page(
    request: HttpRequest, kit: Kit, problem: Problem | None = None, batch: Lot | None = None
) -> HttpResponse:
    facts: dict[str, Any] = {"kit": kit, "sent": request.POST}
    facts |= use_fields(request.POST, suggest(kit), batch) | remark_fields(request.POST, kit)
    if "HX-Request" in request.headers:
        return show(request, "site/custody/use/counts.html", problem=problem, status=200, **facts)
    return show(request, "site/custody/use/use.html", problem=problem, **facts)


def _log_use(request: HttpRequest, kit: Kit) -> HttpResponse:
    lines, levels = use_of(request.POST, kit)
    remarks = remarks_of(request.POST, kit)
    incident = read_field(ShortText(80), request.POST, "incident")

    def perform(act: Act) -> Done:
        done = use.log_use(act, kit, lines, levels=levels, incident=incident, remarks=remarks)
        return Done(f"{kit.name}: {use_in_words(done.lines)}", done.entry.pk)

    on = kit.to_sort_since is not None and actor(request).may("restock", kit.room_id)
    return acted(request, perform, to=reverse("sort" if on else "kit", args=[kit.name]))


# --------------------------------------------------------------------------- what may come back
_UNITS = WholeNumber(
    least=1,
    most=999_999,
    message=gettext_lazy("Enter how many, as a whole number of 1 or more."),
)
"""How many came back, or never will."""


def _away_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    shelves = views.shelves_of(who)
    rows = [
        {
            "row": row,
            "shelves": [shelf for shelf in shelves if shelf.room_id == row.kit.home_room_id],
            "may_write_off": who.may("write_off", row.kit.home_room_id),
            "may_come_back": who.may("come_back", row.kit.home_room_id),
        }
        for row in away.visible_to(who)
    ]
    return show(request, "site/custody/returns.html", problem=problem, rows=rows)


@form_view("look", "away", page_of=_away_page)
def list_away(act: Act, request: HttpRequest) -> Done:
    """What may still come back, each with the two ways that it ends."""
    sent = request.POST
    kit, lot = find.kit(act.actor, sent.get("kit", "")), find.lot(sent.get("lot", ""))
    units = read_field(_UNITS, sent, "units")
    facts = {"count": units, "thing": lot.item.name}
    if sent.get("gone"):
        entry = away.write_off(act, kit, lot, units)
        return Done(_("%(count)d × %(thing)s written off as used.") % facts, entry.pk)
    shelf = find.shelf(act.actor, sent.get("shelf", ""))
    entry = away.come_back(act, kit, lot, units, shelf)
    return Done(_("%(count)d × %(thing)s returned.") % facts, entry.pk)


@form_view("log_use", "kit")
def report_participants_own(act: Act, request: HttpRequest, kit: str) -> Done:
    """Something of a participant's own is in a kit, or went back to its owner."""
    carrying = reporters.kit(act.actor, kit)
    inside = request.POST.get("inside") == "1"
    entry = returns.report_own(act, carrying, inside=inside)
    sentence = (
        _("%(kit)s contains something that belongs to a participant.")
        if inside
        else _("%(kit)s: the participant’s item has been given back.")
    )
    return Done(sentence % {"kit": carrying.name}, entry.pk)


# ------------------------------------------------------------------------------------- due times
class DueForm(PageForm):
    """When a kit is due, or a trip returns."""

    due_at = Moment(label=gettext_lazy("Return time"))


@form_view("set_due")
def set_due(act: Act, request: HttpRequest, kit: str) -> Done:
    """Have a kit that is out be due at another time; an empty one is none."""
    out = find.kit(act.actor, kit)
    zone = out.home_room.time_zone
    none = request.POST.get("due_at") == ""
    at = None if none else DueForm.read(request.POST, zone=zone)["due_at"]
    due_times.set_due(act, out, at)
    sentence = (
        _("%(kit)s is due back on %(when)s.")
        if at
        else _("No return time has been set for %(kit)s.")
    )
    return Done(
        sentence % {"kit": out.name, "when": wording.moment(at, zone) if at else ""},
        to=back_to(request, reverse("kit", args=[out.name])),
    )


@form_view("set_due")
def extend(act: Act, request: HttpRequest, trip: int) -> Done:
    """Have a trip return later, and all that is out on it be due then."""
    longer = find.trip(act.actor, trip)
    zone = longer.room.time_zone if longer.room else settings.TIME_ZONE
    values = DueForm.read(request.POST, zone=zone, labels={"due_at": _("Returns")})
    done = due_times.extend(act, longer, values["due_at"])
    return Done(
        _("%(trip)s returns on %(when)s. Due back then: %(kits)s.")
        % {
            "trip": longer.name,
            "when": wording.moment(done.trip.returns_at, zone),
            "kits": ", ".join(dict.fromkeys(each.kit.name for each in done.checkouts)) or _("none"),
        },
        to=back_to(request, reverse("trip", args=[longer.pk])),
    )
