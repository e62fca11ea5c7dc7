"""The wall calendar on paper: what the page shows, worded for the printer."""

from kits.services.stock.wall_calendar import RoomCalendar
from kits.services.text import calendar_texts as texts
from labels import printing
from labels.rules.layout.wall_calendar import (
    PAPERS,
    CalendarLine,
    CalendarMonth,
    WallCalendar,
)
from labels.services.paper.printer import job, pdf_of


def wall_calendar(of: RoomCalendar, paper: str) -> bytes:
    """A room's wall calendar as PDF, on one of `PAPERS`. It has no symbols, so it needs no address
    that they could lead to."""
    sheet = WallCalendar(
        title=texts.title(of.room.name),
        as_of=texts.as_of(of.as_of, of.room.time_zone),
        above=(str(texts.GROWS_OLD), str(texts.KEY)),
        below=tuple(texts.not_listed(of.calendar, of.kits)),
        months=tuple(
            CalendarMonth(
                texts.month(month),
                tuple(
                    CalendarLine(texts.day(row.day, month), texts.row(row), row.must_have)
                    for row in month.rows
                ),
            )
            for month in of.calendar.months
        ),
        nothing=str(texts.NOTHING),
    )
    return pdf_of(
        lambda out: printing.wall_calendar_pdf(
            sheet, out=out, job=job(preview=True), paper=PAPERS[paper]
        )
    )
