"""From hand-back to fit: what was used, what goes in, the seal."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from gearroom.core.act import Act
from gearroom.core.problems import Invalid, Problem
from gearroom.site.web.shell import Done, acted, actor, page, show
from kits.api.turnaround import restock_shown
from kits.models import AsFound, Item, Kit, Place
from kits.rules.facts import Level
from kits.services import custody, find, fitness, overview, turnaround, use, wording
from kits.services.likely import likely

_MOST_UNITS = 999


# ----------------------------------------------------------------------------------- handing back
@page("check_in")
def hand_back(request: HttpRequest, kit: str) -> HttpResponse:
    """Hand a kit back: the three ways, then for an opened one sharps or blood, then what was
    used."""
    found = find.any_kit(kit)
    if request.method == "POST":
        try:
            return _handed_back(request, found)
        except Problem as problem:
            return _hand_back_page(request, found, problem)
    return _hand_back_page(request, found)


def _hand_back_page(request: HttpRequest, kit: Kit, problem: Problem | None = None) -> HttpResponse:
    said = request.POST or request.GET
    who = actor(request)
    theirs = who.belongs_to(kit.room_id) or who.belongs_to(kit.home_room_id)
    facts: dict[str, Any] = {"kit": kit, "problem": problem}
    if theirs:
        facts["seen"] = overview.overview(who, kit)
    if said.get("sharps") in ("yes", "no"):
        # What another room's kit carries is not theirs to see; that it was opened is.
        inside = likely(kit) if theirs else None
        facts |= {"step": "used", "sharps": said["sharps"], "likely": inside}
    else:
        facts["step"] = "sharps" if said.get("opened") else "ways"
    return show(request, "site/hand_back.html", facts, status=problem.status if problem else 200)


def _handed_back(request: HttpRequest, kit: Kit) -> HttpResponse:
    used, levels = _used(request, kit)

    def perform(act: Act) -> Done:
        back = custody.check_in(
            act,
            kit,
            as_found=AsFound.OPENED,
            used=used,
            levels=levels,
            sharps_or_blood=request.POST.get("sharps") == "yes",
            wet=bool(request.POST.get("wet")),
            wrong=request.POST.get("wrong", "").strip()[:300],
            incident=request.POST.get("incident", "").strip()[:80],
        )
        count = sum(line.units for line in back.use.lines) if back.use else 0
        wrote = (
            ngettext("%(count)d thing used.", "%(count)d things used.", count) % {"count": count}
            if count
            else _("Nothing used.")
        )
        says = _("%(kit)s is handed back, opened. %(wrote)s") % {"kit": kit.name, "wrote": wrote}
        return Done(says, back.entry.pk)

    who = actor(request)
    on = who.may("restock", kit.room_id)
    return acted(request, perform, to=reverse("sort", args=[kit.name]) if on else reverse("scan"))


def _used(request: HttpRequest, kit: Kit) -> tuple[list[use.UseLine], list[use.LevelSeen]]:
    """What the form says was used: fields `used-ITEM` with a number, `level-SECTION-ITEM`."""
    counts: dict[int, int] = {}
    seen: list[tuple[str, int, Level]] = []
    for name, value in request.POST.items():
        if name.startswith("used-") and value.strip() not in ("", "0"):
            counts[_number(name[5:])] = _number(value, most=_MOST_UNITS)
        elif name.startswith("level-") and value:
            key, _dash, item = name[6:].rpartition("-")
            try:
                seen.append((key, _number(item), Level(value)))
            except ValueError:
                raise _not_ours() from None
    items = Item.objects.in_bulk([*counts, *(item for _, item, _ in seen)])
    if any(pk not in items for pk in (*counts, *(item for _, item, _ in seen))):
        raise _not_ours()
    return (
        [use.UseLine(items[pk], count) for pk, count in counts.items()],
        [
            use.LevelSeen(find.section(kit, key), items[item], level)
            for key, item, level in seen
            if items[item].by_eye
        ],
    )


def _number(text: str, most: int = 2**31) -> int:
    text = text.strip()
    if not (text.isascii() and text.isdigit() and len(text) < 10 and int(text) <= most):
        raise Invalid(
            _("“%(text)s” is no number of things. Give a whole number up to %(most)d.")
            % {"text": text[:20], "most": _MOST_UNITS}
        )
    return int(text)


def _not_ours() -> Invalid:
    return Invalid(_("This form was not made by this page. Load the page again."))


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
    return turnaround.Differing(find.item(_number(item)), section)


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
