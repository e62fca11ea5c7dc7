"""A kit emptied for good, a line at a time, each written at once; then it may be retired."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.site.web.page import fields, words
from gearroom.site.web.page.shell import Done, acted, actor, page, show
from kits.models import Disposal, Holding, Kit
from kits.rules.ledger.facts import Kind
from kits.rules.stock.disposal import allowed
from kits.services.lookup import find, holders
from kits.services.restocking import emptying, stripping
from kits.services.restocking.emptying import Destination, EmptyLine


@page("strip")
def empty(request: HttpRequest, kit: str) -> HttpResponse:
    """What is in it, and where each goes."""
    found = find.kit(actor(request), kit)
    actor(request).require("strip", found.room_id)
    if request.method == "POST":
        try:
            return _taken_out(request, found)
        except Problem as problem:
            return _shown(request, found, problem)
    return _shown(request, found)


def _shown(request: HttpRequest, kit: Kit, problem: Problem | None = None) -> HttpResponse:
    facts = {
        "kit": kit,
        "out": holders.open_checkout(kit),
        "rows": [_row(kit, held) for held in emptying.inside(kit)],
        "problem": problem,
        "said": request.POST,
        "may_retire": actor(request).may("edit_kit", kit.home_room_id),
    }
    status = problem.status if problem else 200
    return show(request, "site/restocking/empty.html", facts, status=status)


def _row(kit: Kit, held: Holding) -> dict[str, Any]:
    item = held.lot.item
    shelves = [] if kit.training else stripping.shelves_for(kit, item)
    ways = allowed(Kind(item.kind), item.disposal)
    return {
        "held": held,
        "ref": f"{held.place.section_key}:{held.lot_id}",
        "shelves": shelves,
        "ways": [(way, words.DISPOSALS[Disposal(way)]) for way in ways],
    }


def _taken_out(request: HttpRequest, kit: Kit) -> HttpResponse:
    said = request.POST

    def perform(act: Act) -> Done:
        section, _colon, lot = said.get("line", "").rpartition(":")
        way, _colon, where = said.get("goes", "").partition(":")
        if way not in list(Destination):
            raise Invalid(_("Tap where it goes."), field="goes")
        if way == Destination.DISPOSE and where not in Disposal.values:
            raise Invalid(_("Tap how it is disposed of."), field="goes")
        line = EmptyLine(
            section=find.section(kit, section),
            lot=find.lot(lot),
            units=fields.whole(said, "units", least=1, what=_("How many")),
            way=Destination(way),
            reason=fields.words(said, "reason"),
            shelf=find.shelf(act.actor, where) if way == Destination.SHELF else None,
            disposal=Disposal(where) if way == Destination.DISPOSE else None,
        )
        done = emptying.empty(act, kit, [line])
        told = {
            "units": line.units,
            "thing": line.lot.item.name,
            "place": _place(done.went[0][1]),
        }
        return Done(_("%(units)d × %(thing)s: %(place)s.") % told, done.entry.pk)

    return acted(request, perform, to=reverse("empty-kit", args=[kit.name]))


def _place(place: Any) -> str:
    return str(words.WENT.get(place.kind) or words.DISPOSALS.get(place.kind) or place.name)
