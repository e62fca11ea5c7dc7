"""What nobody knows the date of, as one list: read the pack and type its date, or take it out."""

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Problem
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import PageForm, ShortText, WholeNumber
from gearroom.site.web.page.shell import Done, actor, here, room_here, show
from kits.services.ledger import lots
from kits.services.lookup import find
from kits.services.stock import receiving, undated


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
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


@form_view("look", "undated", page_of=_page)
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
