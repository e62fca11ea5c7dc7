"""From hand-back to fit: what was used, what goes in, the seal."""

from collections.abc import Sequence
from functools import partial
from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Problem
from gearroom.site.web.page import (
    Done,
    PageForm,
    WholeNumber,
    YesOrNo,
    acted,
    actor,
    form_view,
    id_of,
    page,
    show,
)
from gearroom.site.web.planning import fits
from gearroom.site.web.scan.pictures import form_with_batch, photo_of
from kits.models import Kit, Lot, Place, PlaceKind
from kits.rules.ledger.expiry import good_through
from kits.rules.restocking.picking import PutIn
from kits.services.custody import use_requests
from kits.services.ledger import readiness
from kits.services.lookup import find
from kits.services.overview import kits_overview
from kits.services.restocking import lot_override, sealing, sorting
from kits.services.restocking.lot_override import LotOverride
from kits.services.restocking.sealing import MOST_MASS_G, Closed
from kits.services.restocking.sorting import Restock
from kits.services.text import reason_texts, wording

_MOST_BATCHES = 50


@page("look_inside")
def sort(request: HttpRequest, kit: str) -> HttpResponse:
    """What to take out, what to put in from which shelf; all of it in one tap. A batch that is
    scanned takes the place of the listed one."""
    of, lots = find.kit(actor(request), kit), _chosen(request)
    to = reverse("sort", args=[of.name]) + "#seal"
    return form_with_batch(
        request,
        partial(_page, request, of, lots=lots),
        lambda: acted(request, lambda act: _restock(act, of, request.POST, lots), to=to),
    )


def _chosen(request: HttpRequest) -> list[Lot]:
    """The batches that were scanned before, in their order."""
    pks = [pk for text in request.POST.getlist("chosen") if (pk := id_of(text)) is not None]
    lots = Lot.objects.select_related("item").in_bulk(pks[:_MOST_BATCHES])
    return [lots[pk] for pk in dict.fromkeys(pks) if pk in lots]


def _page(
    request: HttpRequest,
    kit: Kit,
    problem: Problem | None = None,
    *,
    lots: Sequence[Lot] = (),
    batch: Lot | None = None,
) -> HttpResponse:
    who = actor(request)
    lots = [*lots, batch] if batch else lots
    summary = kits_overview.overview(who, kit)
    plan = sorting.restock_list(kit)
    try:
        override = lot_override.choose(plan, lots)
    except Problem as unfit:
        problem = problem or unfit
        lots = lots[:-1] if problem is unfit else ()
        override = lot_override.choose(plan, lots)
    listed = _listed(override, {lot.pk for lot in lots})
    to_sort = kit.to_sort_since is not None
    return show(
        request,
        "site/restocking/sorting.html",
        problem=problem,
        kit=summary.kit,
        summary=summary,
        held=use_requests.latest(who, kit) if to_sort and who.may("see_people") else None,
        use_is_known=to_sort and use_requests.use_is_known(kit),
        just_looked=not to_sort and kit.looked_inside_on == readiness.today_of(kit),
        listed=listed,
        fit=fits.shown(kit.list_version, [kit]),
        chosen=lots,
        left_out=request.POST.getlist("left-out"),
        offers_training=kits_overview.has_training_kits(kit.room)
        and any(map(sorting.may_be_trained_with, plan.list.take_out)),
        nothing_to_do=not (listed["put_in"] or listed["take_out"] or listed["fill_up"]),
        reasons=[]
        if kit.training
        else reason_texts.reasons(summary.judged.verdict.reasons, sorting.swaps(plan)),
        lacking=sealing.not_replaced(summary.kit),
        not_replaced=problem if problem and problem.code == "not-replaced" else None,
        seal_number=request.POST.get("seal", ""),
        may_restock=who.may("restock", kit.room_id),
        may_count=who.may("count", kit.room_id),
        may_swap=who.may("restock", kit.room_id)
        and not (listed["put_in"] or listed["take_out"] or summary.seal or kit.training),
        may_print=who.may("print_labels", kit.room_id),
    )


def _listed(override: LotOverride, chosen: set[int]) -> dict[str, Any]:
    """The rows of a restock list, in the order of doing, with the names of sections and shelves;
    what is to be put in by shelf, in the order in which one walks them."""
    plan = override.plan
    put_in = sorted(
        zip(plan.list.put_in, override.listed, strict=True),
        key=lambda pair: sorting.by_shelf(plan, pair[0].shelf),
    )
    return {
        "through": plan.through,
        "next_seal": sealing.next_seal_number(plan.kit.room),
        "take_out": [
            {
                "units": row.count,
                "name": row.batch.thing.name,
                "number": row.batch.number,
                "pouch": _pouch(plan, row.section),
                "to": sorting.destination(plan, row).name,
                "for_class": sorting.may_be_trained_with(row),
            }
            for row in plan.list.take_out
        ],
        "put_in": [
            (_heading(plan, shelf), [_put_in(plan, *pair, chosen) for pair in pairs])
            for shelf, pairs in groupby(put_in, key=lambda pair: pair[0].shelf)
        ],
        "fill_up": _loose(plan),
        "missing": [
            {"units": row.count, "name": row.thing.name, "below_minimum": row.below_minimum}
            for row in plan.list.missing
        ],
        "not_now": [{"units": row.count, "name": row.thing.name} for row in plan.list.not_now],
    }


def _shelf(plan: Restock, shelf: str) -> str:
    place = plan.shelves[int(shelf)]
    return wording.place(place.kind, place.where, with_room=False)


def _heading(plan: Restock, shelf: str) -> str:
    name = _shelf(plan, shelf)
    if plan.shelves[int(shelf)].kind == PlaceKind.TRAINING:
        return capfirst(name)
    return _("Shelf %(shelf)s") % {"shelf": name}


def _put_in(plan: Restock, row: PutIn, listed_as: int, chosen: set[int]) -> dict[str, Any]:
    return {
        "units": row.count,
        "name": row.thing.name,
        "number": row.batch.number,
        "instead_of": row.instead_of.name if row.instead_of else "",
        "good_until": good_through(row.batch),
        "section": row.section,
        "pouch": _pouch(plan, row.section),
        "listed_as": str(listed_as),
        "chosen": row.batch.id in chosen,
    }


def _loose(plan: Restock) -> list[dict[str, str]]:
    """What is loose and wants topping up, by shelf; what none has comes last."""
    rows = sorted(
        plan.list.fill_up,
        key=lambda row: (row.shelf is None, row.shelf and sorting.by_shelf(plan, row.shelf)),
    )
    return [
        {
            "name": row.thing.name,
            "pouch": _pouch(plan, row.section),
            "shelf_name": _shelf(plan, row.shelf) if row.shelf else "",
        }
        for row in rows
    ]


def _pouch(plan: Restock, section: str) -> str:
    return plan.sections[section].name if section in plan.sections else section


def _restock(act: Act, kit: Kit, sent: QueryDict, lots: Sequence[Lot]) -> Done:
    if sent.get("sealed"):
        entry = sorting.seal_holds(act, kit)
        sentence = _("%(kit)s is sealed and dry, so it no longer needs sorting.")
        return Done(sentence % {"kit": kit.name}, entry.pk)
    if sent.get("only-look"):
        entry = sorting.look_inside(act, kit)
        return Done(
            _("%(kit)s has been checked: everything matches the record.") % {"kit": kit.name},
            entry.pk,
        )
    left_out = [_left_out(kit, text) for text in sent.getlist("left-out")]
    out = {(each.item, each.section) for each in left_out}
    differing = [
        each
        for each in lot_override.choose(sorting.restock_list(kit), lots).differing
        if (each.item, each.section) not in out
    ]
    done = sorting.restock(
        act, kit, exceptions=[*left_out, *differing], to_training=bool(sent.get("training"))
    )
    sentence = _("%(kit)s has been restocked: %(put_in)d put in, %(out)d removed. Seal it now.") % {
        "kit": kit.name,
        "put_in": sum(row.units for row in done.put_in),
        "out": sum(leg.units for leg in done.taken_out),
    }
    return Done(sentence, done.entry.pk)


def _left_out(kit: Kit, text: str) -> sorting.RestockDifference:
    """A row that was not put in, as `SECTION:ITEM`."""
    key, _colon, item = text.rpartition(":")
    return sorting.RestockDifference(find.item(item), find.section(kit, key))


class ClosedForm(PageForm):
    """Whether the bag closed, and what it weighs, where somebody says so."""

    closed = YesOrNo(
        required=False,
        message=gettext_lazy("Choose whether the bag closed, or leave this unanswered."),
    )
    mass_g = WholeNumber(
        required=False, least=1, most=MOST_MASS_G, label=gettext_lazy("Weight on a scale (g)")
    )


def packed_photos(request: HttpRequest, kit: Kit) -> list[tuple[Place, bytes]]:
    """The photos of how sections are packed that a form was sent with."""
    named = [(pouch, f"packed-{pouch.section_key}") for pouch in kit.sections.open()]
    return [(pouch, jpeg) for pouch, name in named if (jpeg := photo_of(request, name))]


@form_view(
    "reseal",
    "sort",
    part="#seal",
    refused=lambda request, kit, problem: _page(request, find.kit(actor(request), kit), problem),
)
def reseal(act: Act, request: HttpRequest, kit: str) -> Done:
    """Put a numbered seal on; where something is not replaced, only once that was confirmed."""
    sent, of = request.POST, find.kit(act.actor, kit)
    seal = sealing.reseal(
        act,
        of,
        sent.get("seal", ""),
        anyway=bool(sent.get("anyway")),
        closed=Closed(**ClosedForm.read(sent)),
        packed=packed_photos(request, of),
    )
    sentence = _("%(kit)s has been sealed with %(seal)s.")
    if seal.kit.to_sort_since is not None:
        sentence = _(
            "%(kit)s has been sealed with %(seal)s. It still needs sorting: nobody has checked "
            "its contents since it came back."
        )
    elif seal.put_on.detail["not_replaced"]:
        sentence = _("%(kit)s has been sealed with %(seal)s. It stays on the restock list.")
    return Done(sentence % {"kit": seal.kit.name, "seal": seal.number}, seal.put_on_id)
