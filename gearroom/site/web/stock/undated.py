"""What nobody knows the date of, as one list: read the pack and type its date, or take it out."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.site.web.page.fields import whole, words
from gearroom.site.web.page.shell import Done, acted, actor, here, no_room, page, show
from kits.services.ledger import lots
from kits.services.lookup import find
from kits.services.stock import receiving, undated


@page()
def every(request: HttpRequest) -> HttpResponse:
    """What is in the kits and on the shelves of this room without a date that it should have."""
    if request.method == "POST":
        try:
            return _date_read(request)
        except Problem as problem:
            return _shown(request, problem)
    return _shown(request)


def _shown(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    room = here(request)
    if room is None and problem is not None:
        raise problem
    if room is None:
        return no_room(request)
    who = actor(request)
    facts = {
        "room": room,
        "rows": undated.to_check(room, who),
        "problem": problem,
        "said": request.POST,
        "may_count": who.may("count", room.pk),
    }
    return show(
        request, "site/stock/undated.html", facts, status=problem.status if problem else 200
    )


def _date_read(request: HttpRequest) -> HttpResponse:
    said = request.POST

    def perform(act: Act) -> Done:
        place = find.place(act.actor, said.get("place", ""))
        lot = find.lot(said.get("lot", ""))
        units = whole(said, "units", least=1, what=_("Units"))
        room = receiving.room_of(place, place.kit)
        printed = words(said, "printed", 40)
        entry = undated.record_date(
            act,
            place=place,
            lot=lot,
            units=units,
            expiry=lots.printed_expiry(printed, today=receiving.today_in(room)),
            number=words(said, "number", 80),
        )
        says = _("%(units)d × %(thing)s has its date.") % {"units": units, "thing": lot.item.name}
        return Done(says, entry.pk)

    return acted(request, perform, to=reverse("undated"))
