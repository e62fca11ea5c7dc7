"""The weekly email's attached list: what to take from where, shelf by shelf, on A4."""

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import fontpkg_fira_sans_condensed
from django.utils.translation import gettext as _
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from gearroom.core.rules.grouping import grouped
from kits.models import Place
from kits.rules.ledger.expiry import good_through
from kits.services.mail.digest import digest_text
from kits.services.mail.digest.digest_week import Week
from kits.services.text import wording

REGULAR, BOLD = "GearroomList", "GearroomListBold"
MARGIN_MM, LINE_MM, SIZE = 15, 6, 10


@dataclass(frozen=True)
class Entry:
    """One line of the list: a heading, or something to tick."""

    text: str
    heading: bool = False
    right: str = ""


def draw(week: Week) -> bytes:
    """The list as a PDF; nothing where there is nothing to take or throw out."""
    if not (lines := list(entries(week))):
        return b""
    _fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=A4, invariant=1)
    canvas.setTitle(_("Shelf list"))
    _pages(canvas, week, lines)
    canvas.save()
    return out.getvalue()


def entries(week: Week) -> Iterator[Entry]:
    """The lines by room and shelf, in shelf order; then what is to come off the shelves."""
    rank = {pk: n for n, pk in enumerate(week.shelves)}
    picks = digest_text.picks(week)
    rows = grouped(
        (int(pick.shelf), (kit.name, pick.batch, pick.count))
        for kit, listed in picks
        for pick in listed.put_in
    )
    by_eye = grouped(
        (int(fill.shelf), (kit.name, fill.thing.name))
        for kit, listed in picks
        for fill in listed.fill_up
        if fill.shelf is not None
    )
    rooms = {room.pk: room.name for room in week.rooms}
    for pk in sorted({*rows, *by_eye}, key=lambda shelf: rank.get(shelf, len(rank))):
        yield Entry(_heading(week.shelves[pk], rooms), heading=True)
        for kit_name, batch, count in rows.get(pk, ()):
            until = good_through(batch)
            number = _(", batch %(number)s") % {"number": batch.number} if batch.number else ""
            good = _("good until %(day)s") % {"day": wording.day(until)} if until else ""
            yield Entry(f"{count} × {batch.thing.name}{number}", right=f"{kit_name}   {good}")
        for kit_name, thing in by_eye.get(pk, ()):
            yield Entry(_("%(thing)s: top up") % {"thing": thing}, right=kit_name)
    if week.off_shelves:
        yield Entry(_("Out of date on the shelves: remove"), heading=True)
        for held in sorted(week.off_shelves, key=lambda h: (rank.get(h.place.pk, 0), h.day)):
            number = (
                _(", batch %(number)s") % {"number": held.lot.number} if held.lot.number else ""
            )
            day = wording.day(held.day) if held.day else ""
            yield Entry(
                f"{held.place.name}: {held.units} × {held.lot.item.name}{number}",
                right=f"{day}, {held.lot.item.disposal}",
            )


def _heading(shelf: Place, rooms: dict[int, str]) -> str:
    name = _("Shelf %(shelf)s") % {"shelf": shelf.where}
    return f"{name}, {rooms[shelf.room_id]}" if shelf.room_id in rooms else name


def _pages(canvas: Canvas, week: Week, lines: Sequence[Entry]) -> None:
    width, height = A4
    top, bottom = height - MARGIN_MM * mm, MARGIN_MM * mm
    left, right = MARGIN_MM * mm, width - MARGIN_MM * mm
    number = 0

    def begin() -> Any:
        nonlocal number
        number += 1
        canvas.setFont(BOLD, 13)
        canvas.drawString(
            left,
            top - 4 * mm,
            _("Shelf list for %(name)s") % {"name": week.person.name},
        )
        canvas.setFont(REGULAR, 9)
        canvas.drawRightString(
            right,
            top - 4 * mm,
            _("%(day)s, page %(page)d") % {"day": wording.day(week.today), "page": number},
        )
        return top - 12 * mm

    y = begin()
    for at, line in enumerate(lines):
        follows = line.heading and at + 1 < len(lines)
        if y - (2 if follows else 1) * LINE_MM * mm < bottom:
            canvas.showPage()
            y = begin()
        if line.heading:
            y -= 2 * mm
            canvas.setFont(BOLD, SIZE + 1)
            canvas.drawString(left, y, _fitted(line.text, BOLD, SIZE + 1, right - left))
            y -= LINE_MM * mm
            continue
        canvas.rect(left, y - 0.6 * mm, 3.4 * mm, 3.4 * mm)
        canvas.setFont(REGULAR, SIZE)
        taken = pdfmetrics.stringWidth(line.right, REGULAR, SIZE)
        room = right - left - 6 * mm - taken - 4 * mm
        if room < 40 * mm:  # two lines where both texts are long
            canvas.drawString(
                left + 6 * mm, y, _fitted(line.text, REGULAR, SIZE, right - left - 6 * mm)
            )
            y -= (LINE_MM - 1.5) * mm
            canvas.drawString(
                left + 10 * mm, y, _fitted(line.right, REGULAR, SIZE, right - left - 10 * mm)
            )
        else:
            canvas.drawString(left + 6 * mm, y, _fitted(line.text, REGULAR, SIZE, room))
            canvas.drawRightString(right, y, line.right)
        y -= LINE_MM * mm


def _fitted(text: str, font: str, size: float, width: float) -> str:
    """A text that fits a width, its end marked where it does not."""
    if pdfmetrics.stringWidth(text, font, size) <= width:
        return text
    while text and pdfmetrics.stringWidth(f"{text}…", font, size) > width:
        text = text[:-1]
    return f"{text}…"


@lru_cache(maxsize=1)
def _fonts() -> None:
    folder = Path(fontpkg_fira_sans_condensed.ROOT) / "files"
    pdfmetrics.registerFont(TTFont(REGULAR, str(folder / "FiraSansCondensed-Medium.ttf")))
    pdfmetrics.registerFont(TTFont(BOLD, str(folder / "FiraSansCondensed-Bold.ttf")))
