"""All that is out of date in a room, disposed of in one act, each item in its own bin; and what
nobody knows the date of, as one list: read the pack and type its date, or take it out."""

import re
from itertools import groupby

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _, gettext_lazy, ngettext

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, Problem
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import FOREIGN, PageForm, ShortText, WholeNumber
from gearroom.site.web.page.shell import Done, actor, here, room_here, show
from gearroom.site.web.page.words import DISPOSALS
from kits.models import Disposal
from kits.services.ledger import lots
from kits.services.lookup import find
from kits.services.stock import disposing, receiving, undated
from kits.services.stock.disposing import Outgoing

_ORDER = tuple(Disposal)
_OUTGOING = re.compile(r"([0-9]{1,9}):([0-9]{1,9}):([0-9]{1,9})")
"""A row of the page that was ticked, as `PLACE:LOT:UNITS`."""


def _out_of_date_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
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


@form_view("dispose", "out-of-date", page_of=_out_of_date_page)
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


def _undated_page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    if problem is not None and here(request) is None:
        raise problem
    room, who = room_here(request), actor(request)
    return show(
        request,
        "site/stock/undated.html",
        problem=problem,
        room=room,
        rows=undated.to_check(room, who),
        may_count=who.may("count", room.pk),
    )


class DateForm(PageForm):
    """The date of units in a place, as it is printed on them."""

    place = ShortText()
    lot = ShortText()
    units = WholeNumber(least=1, label=gettext_lazy("Units"))
    printed = ShortText(40)
    number = ShortText(80)


@form_view("look", "undated", page_of=_undated_page)
def to_check(act: Act, request: HttpRequest) -> Done:
    """What is in the kits and on the shelves of this room without a date that it should have."""
    values = DateForm.read(request.POST)
    place, lot = find.place(act.actor, values["place"]), find.lot(values["lot"])
    today = receiving.today_in(receiving.room_of(place, place.kit))
    entry = undated.record_date(
        act,
        place=place,
        lot=lot,
        units=values["units"],
        expiry=lots.printed_expiry(values["printed"], today=today),
        number=values["number"],
    )
    return Done(
        _("Date recorded for %(units)d × %(thing)s.")
        % {"units": values["units"], "thing": lot.item.name},
        entry.pk,
    )
