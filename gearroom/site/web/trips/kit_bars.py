"""Trips as bars, days across and kits down: a picture, and the same as a list."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from gearroom.site.web.page import actor, read_page, show, today_here
from gearroom.site.web.trips.trips import chosen_room, month_of
from kits.models import Kit
from kits.rules.trips.lanes import Days, lanes
from kits.services.trips import kit_calendar
from kits.services.trips.kit_calendar import KitDays, Span

DAY, LANE, BAR, NAMES, HEAD = 32, 30, 24, 130, 40
"""Of the picture, in pixels: how wide a day is, how high a row of bars and a bar in it are, how
wide the kits' names and how high the days' numbers."""
_LETTER = 7
"""About how wide a letter in a bar is."""


@dataclass(frozen=True)
class Bar:
    """A span as it is drawn, with as much of its name as fits."""

    span: Span
    x: int
    y: int
    width: int
    text: str

    @property
    def look(self) -> str:
        """Its class."""
        return "clash" if self.span.clashes else str(self.span.stand)


@dataclass(frozen=True)
class Row:
    """A kit's row of the picture, from `y` on."""

    kit: Kit
    y: int
    height: int
    bars: Sequence[Bar]


@dataclass(frozen=True)
class Picture:
    """The rows, under the days with where each begins."""

    rows: Sequence[Row]
    days: Sequence[tuple[date, int]]
    width: int
    height: int
    names: int = NAMES
    day: int = DAY
    bar: int = BAR
    head: int = HEAD


@read_page()
def kit_bars(request: HttpRequest) -> HttpResponse:
    """A month of trips, with each kit's reservations and times out as bars."""
    today = today_here(request)
    first = month_of(request.GET.get("month", ""), today)
    after = (first + timedelta(days=31)).replace(day=1)
    shown = Days(first, after - timedelta(days=1))
    room = chosen_room(request)
    found = kit_calendar.kit_calendar(actor(request), shown, room)
    return show(
        request,
        "site/trips/kit_bars.html",
        first=first,
        before=first - timedelta(days=1),
        after=after,
        today=today,
        chosen=room,
        picture=_picture(found, shown) if found else None,
        kits=[(each.kit, [(span, span_name(span)) for span in each.spans]) for each in found],
        any=any(each.spans for each in found),
        may_edit=actor(request).may("edit_trip"),
    )


def span_name(of: Span) -> str:
    """What a span is called."""
    if of.trip is not None:
        return of.trip.name
    return _("a trip of another gear room") if of.elsewhere else _("taken out without a trip")


def _picture(found: Sequence[KitDays], shown: Days) -> Picture:
    rows, y = [], HEAD
    for each in found:
        in_lane = lanes([span.days for span in each.spans])
        height = LANE * (1 + max(in_lane, default=0)) + 6
        bars = [
            _bar(span, y + 6 + LANE * lane, shown)
            for span, lane in zip(each.spans, in_lane, strict=True)
        ]
        rows.append(Row(each.kit, y, height, bars))
        y += height
    days = (shown.last - shown.first).days + 1
    return Picture(
        rows,
        [(shown.first + timedelta(days=n), NAMES + DAY * n) for n in range(days)],
        NAMES + DAY * days,
        y,
    )


def _bar(span: Span, y: int, shown: Days) -> Bar:
    first, last = max(span.days.first, shown.first), min(span.days.last, shown.last)
    width = ((last - first).days + 1) * DAY - 2
    name, most = span_name(span), (width - 8) // _LETTER
    text = name if len(name) <= most else f"{name[: max(0, most - 1)]}…"
    return Bar(span, NAMES + (first - shown.first).days * DAY + 1, y, width, text)
