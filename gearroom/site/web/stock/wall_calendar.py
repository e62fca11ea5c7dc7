"""The wall calendar: what goes out of date in a room's kits, month by month, to read and to
print."""

from django.http import HttpRequest, HttpResponse

from gearroom.site.web.labelling.papers import as_pdf
from gearroom.site.web.page import actor, names_room, read_page, show
from kits.services.lookup import find
from kits.services.stock.tables import wall_calendar as service
from kits.services.text import calendar_texts as texts
from labels.rules.layout.wall_calendar import PAPERS
from labels.services.paper import calendars

_NAMES = {"a3": "A3", "a4": "A4", "letter": "Letter"}


@read_page()
def wall_calendar(request: HttpRequest, room: str) -> HttpResponse:
    """The calendar on a page; with `?paper=` as PDF on that paper."""
    who = actor(request)
    of = service.of_room(who, find.room(who, room))
    if (paper := request.GET.get("paper", "")) in PAPERS:
        return as_pdf(
            calendars.wall_calendar(of, paper, names_room=names_room(request)),
            f"wall-calendar-{paper}.pdf",
        )
    return show(
        request,
        "site/stock/wall_calendar.html",
        room=of.room,
        as_of=texts.as_of(of.as_of, of.room.time_zone),
        grows_old=texts.GROWS_OLD,
        nothing=texts.NOTHING,
        not_listed=texts.not_listed(of.calendar, of.kits),
        papers=_NAMES,
        months=[
            (
                texts.month(month),
                [(texts.day(row.day, month), texts.row(row), row.must_have) for row in month.rows],
            )
            for month in of.calendar.months
        ],
    )
