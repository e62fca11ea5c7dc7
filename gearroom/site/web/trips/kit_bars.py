"""Trips as bars, days across and kits down: a picture, and the same as a list."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.rules.grouping import grouped
from gearroom.site.web.page import actor, read_page, show, today_here
from gearroom.site.web.trips.trips import chosen_room, month_of
from kits.models import Kit
from kits.rules.trips.lanes import Days, lanes
from kits.services.trips import kit_calendar
from kits.services.trips.kit_calendar import KitDays, Span, Stand

DAY, LANE, BAR, NAMES, HEAD = 32, 36, 30, 130, 40
"""Of the picture, in pixels: how wide a day is, how high a row of bars and a bar in it are, how
wide the kits' names and how high the days' numbers."""
_LETTER = 8
"""About how wide a letter in a bar is."""


@dataclass(frozen=True)
class Bar:
    """A span as it is drawn, with its name in it; where that is too long after it, else before it
    (`anchor`), else left to the list. It leads to its trip, else to its kit."""

    kit: Kit
    span: Span
    x: int
    y: int
    width: int
    text: str = ""
    text_x: int = 0
    anchor: str = "start"

    @property
    def text_y(self) -> int:
        """Where its name's letters stand on."""
        return self.y + BAR - 10

    @property
    def place(self) -> str:
        """Where its name stands, as a class."""
        return "inside" if self.x <= self.text_x <= self.x + self.width else "beside"

    @property
    def to(self) -> str:
        """Where it leads."""
        if self.span.trip is not None:
            return reverse("trip", args=[self.span.trip.pk])
        return reverse("kit", args=[self.kit.name])

    @property
    def name(self) -> str:
        """What it is called, where its text has no room too."""
        return span_name(self.span)

    @property
    def state(self) -> str:
        """How it stands, in words."""
        return state_of(self.span)

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
    """The rows, under the days with where each begins and the class that it is of."""

    rows: Sequence[Row]
    days: Sequence[tuple[date, int, str]]
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
        "site/trips/kit_bars/kit_bars.html",
        first=first,
        before=first - timedelta(days=1),
        after=after,
        chosen=room,
        picture=_picture(found, shown, today) if found else None,
        kits=[
            (each.kit, [(span, span_name(span), state_of(span)) for span in each.spans])
            for each in found
        ],
        any=any(each.spans for each in found),
        may_edit=actor(request).may("edit_trip"),
    )


def span_name(of: Span) -> str:
    """What a span is called."""
    if of.trip is not None:
        return of.trip.name
    return _("a trip from another gear room") if of.elsewhere else _("taken out without a trip")


def state_of(span: Span) -> str:
    """How a span stands, in words."""
    if span.clashes:
        return _("Double-booked")
    return {Stand.OUT: _("Out"), Stand.BACK: _("Back")}.get(span.stand, _("Reserved"))


def _picture(found: Sequence[KitDays], shown: Days, today: date) -> Picture:
    days = (shown.last - shown.first).days + 1
    rows, y, end = [], HEAD, NAMES + DAY * days
    for each in found:
        by_lane = grouped(
            (lane, _bar(each.kit, span, y + 6 + LANE * lane, shown))
            for span, lane in zip(
                each.spans, lanes([span.days for span in each.spans]), strict=True
            )
        )
        height = LANE * max(1, len(by_lane)) + 6
        bars = [bar for lane in by_lane.values() for bar in _named(lane, end)]
        rows.append(Row(each.kit, y, height, bars))
        y += height
    columns = [
        (day, NAMES + DAY * n, _look(day, today))
        for n, day in enumerate(shown.first + timedelta(days=n) for n in range(days))
    ]
    return Picture(rows, columns, end, y)


def _look(day: date, today: date) -> str:
    if day == today:
        return "today"
    return "weekend" if day.weekday() > 4 else "weekday"


def _bar(kit: Kit, span: Span, y: int, shown: Days) -> Bar:
    first, last = max(span.days.first, shown.first), min(span.days.last, shown.last)
    width = ((last - first).days + 1) * DAY - 2
    return Bar(kit, span, NAMES + (first - shown.first).days * DAY + 1, y, width)


def _named(lane: Sequence[Bar], end: int) -> Iterator[Bar]:
    """The bars of a lane from left to right, each with its name where there is room for it."""
    ends = [NAMES, *(bar.x + bar.width for bar in lane)]
    begins = [*(bar.x for bar in lane[1:]), end]
    for bar, before, after in zip(lane, ends, begins, strict=False):
        name, right = bar.name, bar.x + bar.width
        needs = len(name) * _LETTER + 8
        if needs <= bar.width and not bar.span.clashes:
            yield replace(bar, text=name, text_x=bar.x + 5)
        elif needs <= after - right:
            yield replace(bar, text=name, text_x=right + 4)
        elif needs <= bar.x - before:
            yield replace(bar, text=name, text_x=bar.x - 4, anchor="end")
        else:
            yield bar
