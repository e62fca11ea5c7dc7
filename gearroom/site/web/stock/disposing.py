"""All that is out of date in a room, thrown out in one act, each thing into its own bin."""

from __future__ import annotations

from itertools import groupby

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.site.web.page.shell import Done, acted, here, no_room, page, show
from gearroom.site.web.page.words import DISPOSALS
from kits.models import Disposal
from kits.services.lookup import find
from kits.services.stock import disposing
from kits.services.stock.disposing import Outgoing

_ORDER = tuple(Disposal)


@page("dispose")
def out_of_date(request: HttpRequest) -> HttpResponse:
    """What is out of date on the shelves and in quarantine of the room that this device stands in,
    by the bin that it goes into."""
    if request.method == "POST":
        try:
            return _thrown_out(request)
        except Problem as problem:
            return _shown(request, problem)
    return _shown(request)


def _shown(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    room = here(request)
    if room is None:
        return no_room(request)
    rows = disposing.out_of_date(room)

    def order(row: Outgoing) -> int:
        return _ORDER.index(row.disposal or Disposal.BIN)

    by_bin = [
        (DISPOSALS[_ORDER[n]], list(group))
        for n, group in groupby(sorted(rows, key=order), key=order)
    ]
    facts = {"bins": by_bin, "room": room, "problem": problem, "units": sum(r.units for r in rows)}
    status = problem.status if problem else 200
    return show(request, "site/stock/out_of_date.html", facts, status=status)


def _thrown_out(request: HttpRequest) -> HttpResponse:
    said = request.POST.getlist("out")

    def perform(act: Act) -> Done:
        room = here(request)
        if room is None:
            raise Invalid(_("Choose a gear room first."))
        rows = [_outgoing(act, text) for text in said]
        entry = disposing.dispose_all(act, room, rows)
        units = sum(row.units for row in rows)
        says = ngettext("%(n)d unit is disposed of.", "%(n)d units are disposed of.", units)
        return Done(says % {"n": units}, entry.pk)

    return acted(request, perform, to=reverse("out-of-date"))


def _outgoing(act: Act, text: str) -> Outgoing:
    """A row that was shown and ticked, as `PLACE:LOT:UNITS`."""
    parts = text.split(":")
    if len(parts) != 3 or not all(p.isascii() and p.isdigit() and len(p) < 10 for p in parts):
        raise Invalid(_("This form did not come from this page. Load the page again."))
    place, lot, units = parts
    return Outgoing(find.place(act.actor, int(place)), find.lot(int(lot)), int(units))
