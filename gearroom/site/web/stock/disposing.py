"""All that is out of date in a room, disposed of in one act, each item in its own bin."""

import re
from itertools import groupby

from django.http import HttpRequest, HttpResponse
from django.utils.translation import ngettext

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import FOREIGN
from gearroom.site.web.page.shell import Done, room_here, show
from gearroom.site.web.page.words import DISPOSALS
from kits.models import Disposal
from kits.services.lookup import find
from kits.services.stock import disposing
from kits.services.stock.disposing import Outgoing

_ORDER = tuple(Disposal)
_OUTGOING = re.compile(r"([0-9]{1,9}):([0-9]{1,9}):([0-9]{1,9})")
"""A row of the page that was ticked, as `PLACE:LOT:UNITS`."""


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    room = room_here(request)
    rows = disposing.out_of_date(room)

    def order(row: Outgoing) -> int:
        return _ORDER.index(row.disposal or Disposal.BIN)

    by_bin = [
        (DISPOSALS[_ORDER[n]], list(group))
        for n, group in groupby(sorted(rows, key=order), key=order)
    ]
    return show(
        request,
        "site/stock/out_of_date.html",
        problem=problem,
        bins=by_bin,
        room=room,
        units=sum(row.units for row in rows),
    )


@form_view("dispose", "out-of-date", page_of=_page)
def out_of_date(act: Act, request: HttpRequest) -> Done:
    """What is out of date on the shelves and in quarantine of the room that this device stands in,
    by the bin that it goes into; a form disposes of what is ticked."""
    rows = [_outgoing(act, text) for text in request.POST.getlist("out")]
    entry = disposing.dispose_all(act, room_here(request), rows)
    units = sum(row.units for row in rows)
    return Done(
        ngettext("%(n)d unit has been disposed of.", "%(n)d units have been disposed of.", units)
        % {"n": units},
        entry.pk,
    )


def _outgoing(act: Act, text: str) -> Outgoing:
    row = _OUTGOING.fullmatch(text)
    if row is None:
        raise Invalid(str(FOREIGN))
    place, lot, units = map(int, row.groups())
    return Outgoing(find.place(act.actor, place), find.lot(lot), units)
