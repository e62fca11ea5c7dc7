"""From hand-back to fit: what was used, what goes in, the seal."""

from __future__ import annotations

from collections.abc import Sequence

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.site.web.custody.hand_back import batch_sent
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from kits.api.restocking.sorting import restock_shown
from kits.models import Kit, Lot, Place
from kits.services.custody import use_requests
from kits.services.ledger import readiness
from kits.services.lookup import find
from kits.services.overview import kits_overview
from kits.services.restocking import lot_override, sealing, sorting
from kits.services.text import reason_texts

_MOST_BATCHES = 50


@page("look_inside")
def sort(request: HttpRequest, kit: str) -> HttpResponse:
    """What to take out, what to put in from which shelf; all of it in one tap. A batch that is
    scanned takes the place of the listed one."""
    found = find.kit(actor(request), kit)
    if request.method != "POST":
        return _sort_page(request, found)
    try:
        if request.POST.get("read"):
            read = batch_sent(request)
            return _sort_page(request, found, lots=_chosen(request) + ([read] if read else []))
        return _restocked(request, found)
    except Problem as problem:
        return _sort_page(request, found, problem, _chosen(request))


def _chosen(request: HttpRequest) -> list[Lot]:
    """The batches that were scanned before, in their order."""
    pks = [int(pk) for pk in request.POST.getlist("chosen") if pk.isascii() and pk.isdigit()]
    found = Lot.objects.select_related("item").in_bulk(pks[:_MOST_BATCHES])
    return [found[pk] for pk in dict.fromkeys(pks) if pk in found]


def _sort_page(
    request: HttpRequest, kit: Kit, problem: Problem | None = None, lots: Sequence[Lot] = ()
) -> HttpResponse:
    who = actor(request)
    seen = kits_overview.overview(who, kit)
    plan = sorting.restock_list(kit)
    try:
        chosen = lot_override.choose(plan, lots)
    except Problem as unfit:
        problem = problem or unfit
        lots = lots[:-1] if problem is unfit else ()
        chosen = lot_override.choose(plan, lots)
    listed = restock_shown(chosen.plan)
    names = {key: place.name for key, place in plan.sections.items()}
    for part in ("put_in", "take_out", "fill_up"):
        for row in listed[part]:
            row["pouch"] = names.get(row["section"], row["section"])
    for row, thing in zip(listed["put_in"], chosen.listed, strict=True):
        row["listed_as"] = str(thing)
        row["chosen"] = row["lot"] in {lot.pk for lot in lots}
    held = None
    if kit.to_sort_since is not None and who.may("see_people"):
        held = use_requests.latest(who, kit)
    facts = {
        "kit": seen.kit,
        "seen": seen,
        "held": held,
        "use_is_known": kit.to_sort_since is not None and use_requests.use_is_known(kit),
        "just_looked": kit.to_sort_since is None
        and kit.looked_inside_on == readiness.today_of(kit),
        "listed": listed,
        "chosen": lots,
        "left_out": request.POST.getlist("left-out"),
        "nothing_to_do": not (listed["put_in"] or listed["take_out"] or listed["fill_up"]),
        "reasons": reason_texts.reasons(seen.judged.verdict.reasons, sorting.swaps(plan)),
        "problem": problem,
        "lacking": sealing.not_replaced(seen.kit),
        "not_replaced": problem if problem and problem.code == "not-replaced" else None,
        "seal_said": request.POST.get("seal", ""),
        "may_restock": who.may("restock", kit.room_id),
        "may_print": who.may("print_labels", kit.room_id),
    }
    return show(
        request, "site/restocking/sorting.html", facts, status=problem.status if problem else 200
    )


def _restocked(request: HttpRequest, kit: Kit) -> HttpResponse:
    left_out = [_left_out(kit, text) for text in request.POST.getlist("left-out")]
    lots = _chosen(request)

    def perform(act: Act) -> Done:
        if request.POST.get("sealed"):
            entry = sorting.seal_holds(act, kit)
            says = _("%(kit)s is sealed and dry: it no longer needs sorting.") % {"kit": kit.name}
            return Done(says, entry.pk)
        if request.POST.get("only-look"):
            entry = sorting.look_inside(act, kit)
            return Done(_("%(kit)s is checked: all as on record.") % {"kit": kit.name}, entry.pk)
        differing = [
            each
            for each in lot_override.choose(sorting.restock_list(kit), lots).differing
            if (each.item, each.section) not in {(out.item, out.section) for out in left_out}
        ]
        done = sorting.restock(act, kit, exceptions=[*left_out, *differing])
        put_in = sum(row.units for row in done.put_in)
        out = sum(leg.units for leg in done.taken_out)
        says = _("%(kit)s is restocked: %(put_in)d in, %(out)d out. Seal it now.") % {
            "kit": kit.name,
            "put_in": put_in,
            "out": out,
        }
        return Done(says, done.entry.pk)

    return acted(request, perform, to=reverse("sort", args=[kit.name]) + "#seal")


def _left_out(kit: Kit, text: str) -> sorting.RestockDifference:
    """A row that was not put in, as `SECTION:ITEM`."""
    key, _colon, item = text.rpartition(":")
    section: Place = find.section(kit, key)
    return sorting.RestockDifference(find.item(item), section)


@require_POST
@page("reseal")
def reseal(request: HttpRequest, kit: str) -> HttpResponse:
    """Put a numbered seal on; where something is not replaced, only once that was confirmed."""

    def perform(act: Act) -> Done:
        seal = sorting.reseal(
            act,
            find.kit(act.actor, kit),
            request.POST.get("seal", ""),
            anyway=bool(request.POST.get("anyway")),
        )
        says = _("%(kit)s is sealed with %(seal)s.")
        if seal.kit.to_sort_since is not None:
            says = _(
                "%(kit)s is sealed with %(seal)s. It still needs sorting: nobody has checked its"
                " contents since it came back."
            )
        elif seal.put_on.detail["not_replaced"]:
            says = _("%(kit)s is sealed with %(seal)s. It stays on the restock list.")
        return Done(says % {"kit": seal.kit.name, "seal": seal.number}, seal.put_on_id)

    try:
        return acted(request, perform, to=reverse("sort", args=[kit]) + "#seal")
    except Problem as problem:
        return _sort_page(request, find.kit(actor(request), kit), problem)
