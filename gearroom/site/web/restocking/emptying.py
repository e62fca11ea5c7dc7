"""A kit emptied for good, a line at a time, each written at once; then it may be retired."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.page import (
    Done,
    PageForm,
    ShortText,
    WholeNumber,
    actor,
    form_view,
    show,
    words,
)
from kits.models import Disposal, Holding, Kit, Place
from kits.rules.ledger.facts import Kind
from kits.rules.stock.disposal import allowed
from kits.services.lookup import find, holders
from kits.services.restocking import emptying, stripping
from kits.services.restocking.emptying import Destination, EmptyLine


def _page(request: HttpRequest, kit: str, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    of = find.kit(who, kit)
    who.require("strip", of.room_id)
    return show(
        request,
        "site/restocking/empty.html",
        problem=problem,
        kit=of,
        out=holders.open_checkout(of),
        rows=[_row(of, held) for held in emptying.inside(of)],
        values=request.POST,
        may_retire=who.may("edit_kit", of.home_room_id),
    )


def _row(kit: Kit, held: Holding) -> dict[str, Any]:
    item = held.lot.item
    options = allowed(Kind(item.kind), item.disposal)
    return {
        "held": held,
        "ref": f"{held.place.section_key}:{held.lot_id}",
        "shelves": [] if kit.training else stripping.shelves_for(kit, item),
        "ways": [(way, words.DISPOSALS[Disposal(way)]) for way in options],
    }


class LineForm(PageForm):
    """What is taken out, as `SECTION:LOT`, and where it goes, as `DESTINATION:WHERE`."""

    line = ShortText()
    goes = ShortText()
    units = WholeNumber(least=1, label=gettext_lazy("How many"))
    reason = ShortText()


@form_view("strip", "empty-kit", page_of=_page)
def empty(act: Act, request: HttpRequest, kit: str) -> Done:
    """What is in it, and where each goes."""
    of, values = find.kit(act.actor, kit), LineForm.read(request.POST)
    section, _colon, lot = values["line"].rpartition(":")
    goes, _colon, where = values["goes"].partition(":")
    if goes not in list(Destination):
        raise Invalid(_("Tap where the item goes."), field="goes")
    if goes == Destination.DISPOSE and where not in Disposal.values:
        raise Invalid(_("Tap how to dispose of the item."), field="goes")
    line = EmptyLine(
        section=find.section(of, section),
        lot=find.lot(lot),
        units=values["units"],
        way=Destination(goes),
        reason=values["reason"],
        shelf=find.shelf(act.actor, where) if goes == Destination.SHELF else None,
        disposal=Disposal(where) if goes == Destination.DISPOSE else None,
    )
    done = emptying.empty(act, of, [line])
    return Done(
        _("Recorded: %(units)d × %(thing)s, %(place)s.")
        % {
            "units": line.units,
            "thing": line.lot.item.name,
            "place": _name_of(done.went[0][1]),
        },
        done.entry.pk,
    )


def _name_of(place: Place) -> str:
    return str(words.WENT.get(place.kind) or words.DISPOSALS.get(place.kind) or place.name)
