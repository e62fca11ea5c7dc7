"""Papers that hang on a wall or are handed on, as their pages show them: the wall calendar, a
season on one page. They have no symbols, so they need no address that those could lead to."""

from collections.abc import Sequence

from kits.services.planning.season_text import Part
from kits.services.stock.tables.wall_calendar import RoomCalendar
from kits.services.text import calendar_texts as texts
from kits.services.text.planning.planning_texts import CAUTION
from labels import printing
from labels.rules.layout.wall_calendar import (
    PAPERS,
    CalendarLine,
    CalendarMonth,
    WallCalendar,
)
from labels.services.paper.printer import job, pdf_of


def wall_calendar(of: RoomCalendar, paper: str, *, names_room: bool = True) -> bytes:
    """A room's wall calendar as PDF, on one of `PAPERS`, by default with the room's name."""
    sheet = WallCalendar(
        title=texts.title(of.room.name if names_room else ""),
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


def one_page(title: str, as_of: str, parts: Sequence[Part]) -> bytes:
    """Headed parts on one A4 page as PDF, with the caution that stands on all planning."""
    return pdf_of(
        lambda out: printing.one_page_pdf(
            title,
            as_of,
            str(CAUTION),
            [(part.heading, part.lines) for part in parts],
            out=out,
            job=job(preview=True),
        )
    )
