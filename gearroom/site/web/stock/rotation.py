"""Which batches to use first, and what to swap while a kit is open."""

from collections.abc import Iterable, Iterator

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Actor, Invalid, Problem
from gearroom.site.web.page import Done, actor, back_to, form_view, read_page, room_here, show
from kits.models import Kit
from kits.services.lookup import find
from kits.services.rotation import rotation as service
from kits.services.rotation.editions import OldEdition, old_in
from kits.services.rotation.swapping import Swapped, swap


@read_page("restock")
def rotation(request: HttpRequest) -> HttpResponse:
    """The two lists of a room: of the one that this device stands in, or of `?room=`."""
    who, named = actor(request), request.GET.get("room", "")
    of = service.of_room(who, find.room(who, named) if named else room_here(request))
    return show(
        request,
        "site/stock/rotation/rotation.html",
        rotation=of,
        fills=[work for work in of.work if work.fills],
        swaps=[work for work in of.work if work.swaps],
    )


def _of_kit(request: HttpRequest, kit: str, problem: Problem | None = None) -> HttpResponse:
    of = find.kit(actor(request), kit)
    return show(
        request,
        "site/stock/rotation/of_kit.html",
        problem=problem,
        kit=of,
        swaps=service.of_kit(actor(request), of),
    )


@form_view("restock", page_of=_of_kit)
def swapped(act: Act, request: HttpRequest, kit: str) -> Done:
    """What to swap in a kit while it is open, and what was swapped in it."""
    of = find.kit(act.actor, kit)
    swap(act, of, list(_rows(act, request)))
    sorting = request.POST.get("then") == "sort"
    return Done(
        _("The swap in %(kit)s has been recorded. Seal the kit when you close it.")
        % {"kit": of.name},
        to=reverse("sort", args=[of.name]) + "#seal"
        if sorting
        else back_to(request, reverse("rotation")),
    )


def editions(
    who: Actor, kits: Iterable[Kit], item: int | None = None
) -> list[tuple[OldEdition, bool]]:
    """Old editions of documents in kits, each with whether whoever asks may replace it."""
    return [(row, who.may("restock", row.kit.room_id)) for row in old_in(kits, item)]


def _rows(act: Act, request: HttpRequest) -> Iterator[Swapped]:
    """The ticked rows: a batch out, a batch in, the section, the shelf and the units."""
    for text in request.POST.getlist("rows"):
        parts = text.split(".")
        if len(parts) != 5 or not all(part.isascii() and part.isdigit() for part in parts):
            raise Invalid(_("Tick what you swapped."), field="rows")
        out, into, section, shelf, units = (int(part[:9]) for part in parts)
        yield Swapped(
            out=find.lot(out),
            into=find.lot(into),
            section=find.place(act.actor, section),
            shelf=find.shelf(act.actor, shelf),
            units=units,
        )
