"""Trips as bars, days across and kits down: a picture, and the same as a list."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.rules.grouping import grouped
from gearroom.site.web.page import actor, read_page, show, today_here
from gearroom.site.web.trips.bars import (
    BAR,
    DAY,
    HEAD,
    LANE,
    NAMES,
    Placed,
    across,
    columns,
    named,
)
from gearroom.site.web.trips.trips import chosen_room, month_of
from kits.models import Kit
from kits.rules.trips.lanes import Days, lanes
from kits.services.trips import kit_calendar
from kits.services.trips.kit_calendar import KitDays, Span, Stand


@dataclass(frozen=True, kw_only=True)
class Bar(Placed):
    """A span as it is drawn. It leads to its trip, else to its kit."""

    kit: Kit
    span: Span

    @property
    def has_room(self) -> bool:
        """Whether a name can be read in it."""
        return not self.span.clashes

    @property
    def to(self) -> str:
        """Where it leads."""
        if self.span.trip is not None:
            return reverse("trip", args=[self.span.trip.pk])
        return reverse("kit", args=[self.kit.name])

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
    rows, y, end = [], HEAD, NAMES + DAY * ((shown.last - shown.first).days + 1)
    for each in found:
        by_lane = grouped(
            (lane, _bar(each.kit, span, y + 6 + LANE * lane, shown))
            for span, lane in zip(
                each.spans, lanes([span.days for span in each.spans]), strict=True
            )
        )
        height = LANE * max(1, len(by_lane)) + 6
        bars = [bar for lane in by_lane.values() for bar in named(lane, NAMES, end)]
        rows.append(Row(each.kit, y, height, bars))
        y += height
    return Picture(rows, columns(shown, today, NAMES), end, y)


def _bar(kit: Kit, span: Span, y: int, shown: Days) -> Bar:
    x, width = across(span.days, shown)
    return Bar(kit=kit, span=span, x=NAMES + x, y=y, width=width, name=span_name(span))
