"""A season as bars, days across and kits down: what is out, reserved and proposed. A script moves
the bars; the form beside it is what is sent."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core.acts import Actor
from gearroom.core.rules.grouping import grouped
from gearroom.site.web.trips.bars import BAR, DAY, HEAD, LANE, NAMES, Placed, across, columns, named
from gearroom.site.web.trips.kit_bars import span_name, state_of
from kits.models import Kit, Trip
from kits.rules.trips.lanes import Days, lanes
from kits.rules.trips.season import Choice
from kits.services.trips import kit_calendar
from kits.services.trips.kit_calendar import Span, Stand
from kits.services.trips.season.season_kits import SeasonKits, TripKits

MOST_DAYS = 366
"""What departs later is in the list alone."""
SPARE = 2
"""Empty lanes for trips whose kit is taken away by hand."""


@dataclass(frozen=True, kw_only=True)
class SeasonBar(Placed):
    """Days of a kit, or of a trip without one. `at` is the trip's place among the season's trips;
    `sorting`: how wide what sorting takes after it is."""

    days: Days
    look: str
    state: str
    to: str
    first: int
    last: int
    kit: str = ""
    trip: int | None = None
    at: int | None = None
    moves: bool = False
    sorting: int = 0


@dataclass(frozen=True)
class SeasonRow:
    """A row from `y` on: of a kit, of the trips without one (no kit), or only a heading. `apart`:
    from the last day of a trip to the first on which the kit may be away again."""

    name: str
    y: int
    height: int
    kit: str = ""
    apart: int = 1
    is_heading: bool = False
    bars: Sequence[SeasonBar] = ()


@dataclass(frozen=True)
class SeasonPicture:
    """The rows, under the days with where each begins and the class that it is of; `later`: trips
    beyond them."""

    rows: Sequence[SeasonRow]
    days: Sequence[tuple[date, int, str]]
    width: int
    height: int
    later: bool
    names: int = NAMES
    day: int = DAY
    bar: int = BAR
    head: int = HEAD


def picture(
    actor: Actor, season: SeasonKits, today: date, *, changes: bool
) -> SeasonPicture | None:
    """The picture of a season from today on, reserved kits to be moved with `changes` alone; None
    without trips or kits."""
    if not (season.trips and season.kits):
        return None
    last = max(row.trip.last_day for row in season.trips)
    shown = Days(today, min(last, today + timedelta(days=MOST_DAYS - 1)))
    drawn = _Drawn(shown, {row.trip.pk: at for at, row in enumerate(season.trips)})
    rows = [drawn.without_kit(season.trips)]
    spans = {
        each.kit.pk: [span for span in each.spans if span.stand is not Stand.BACK]
        for each in kit_calendar.kit_calendar(actor, shown)
    }
    of_kit = grouped((each.kit.pk, row) for row in season.trips for each in row.chosen)
    moves = frozenset(
        (row.trip.pk, each.kit.pk)
        for row in season.trips
        for each in row.promised
        if changes and each.may_change
    )
    released = frozenset(
        (row.trip.pk, each.kit.pk) for row in season.trips for each in row.released
    )
    kits = sorted(season.kits, key=lambda kit: (kit.home_room.name, kit.name))
    for room, its in grouped((kit.home_room.name, kit) for kit in kits).items():
        if len({kit.home_room_id for kit in kits}) > 1:
            rows.append(SeasonRow(room, _below(rows), LANE, is_heading=True))
        for kit in its:
            bars = [
                *(drawn.of_span(kit, span, moves, released) for span in spans.get(kit.pk, ())),
                *(drawn.proposed(kit, row.trip) for row in of_kit.get(kit.pk, ())),
            ]
            rows.append(drawn.row(kit, _below(rows), bars))
    days = columns(shown, today)
    return SeasonPicture(rows, days, DAY * len(days), _below(rows), last > shown.last)


def _below(rows: Sequence[SeasonRow]) -> int:
    return rows[-1].y + rows[-1].height


@dataclass(frozen=True)
class _Drawn:
    """Rows and bars of the days shown."""

    shown: Days
    at: dict[int, int]

    def without_kit(self, trips: Iterable[TripKits]) -> SeasonRow:
        """The trips that lack something."""
        bars = [
            self._bar(
                Days(row.trip.first_day, row.trip.last_day),
                row.trip,
                look="lacking",
                state=_("Lacks something") if row.chosen or row.promised else _("Without a kit"),
                moves=True,
            )
            for row in trips
            if row.lacking and row.trip.first_day <= self.shown.last
        ]
        lanes_, drawn = self._placed(bars, 0)
        return SeasonRow(_("Without a kit"), 0, LANE * (lanes_ + SPARE) + 6, bars=drawn)

    def row(self, kit: Kit, y: int, bars: Sequence[SeasonBar]) -> SeasonRow:
        """The row of a kit."""
        lanes_, drawn = self._placed(bars, y)
        height = LANE * max(1, lanes_) + 6
        return SeasonRow(kit.name, y, height, kit.name, _apart(kit), bars=drawn)

    def of_span(self, kit: Kit, span: Span, moves: Choice, released: Choice) -> SeasonBar:
        """Days on which a kit is out or reserved, for good or for a trip that it `moves` with or is
        `released` from."""
        pair = (span.trip.pk if span.trip else 0, kit.pk)
        reserved = span.stand is Stand.RESERVED
        if reserved and pair in released:
            look, state = "back", _("To be released")
        else:
            look, state = "clash" if span.clashes else str(span.stand), state_of(span)
        return self._bar(
            span.days,
            span.trip,
            kit,
            look=look,
            state=state,
            name=span_name(span),
            moves=reserved and pair in moves,
        )

    def proposed(self, kit: Kit, trip: Trip) -> SeasonBar:
        """Days on which a kit is to go with a trip."""
        days = Days(trip.first_day, trip.last_day)
        return self._bar(days, trip, kit, look="proposed", state=_("Proposed"), moves=True)

    def _bar(
        self,
        days: Days,
        trip: Trip | None,
        kit: Kit | None = None,
        *,
        look: str,
        state: str,
        moves: bool,
        name: str = "",
    ) -> SeasonBar:
        x, width = across(days, self.shown)
        trip_id = trip.pk if trip else None
        if moves and trip_id in self.at:
            to = f"#trip-{trip_id}"
        elif trip is not None:
            to = reverse("trip", args=[trip.pk])
        else:
            to = reverse("kit", args=[kit.name if kit else ""])
        return SeasonBar(
            x=x,
            y=0,
            width=width,
            name=name or (trip.name if trip else ""),
            days=days,
            look=look,
            state=state,
            to=to,
            first=(days.first - self.shown.first).days,
            last=(days.last - self.shown.first).days,
            kit=kit.name if kit else "",
            trip=trip_id,
            at=self.at.get(trip_id) if trip_id is not None else None,
            moves=moves,
            sorting=(_apart(kit) - 1) * DAY if kit else 0,
        )

    def _placed(self, bars: Sequence[SeasonBar], y: int) -> tuple[int, list[SeasonBar]]:
        """In how many lanes from `y` on the bars stand, and the bars there with their names."""
        bars = [bar for bar in bars if bar.first <= (self.shown.last - self.shown.first).days]
        by_lane = grouped(
            (lane, bar) for bar, lane in zip(bars, lanes([b.days for b in bars]), strict=True)
        )
        end = DAY * ((self.shown.last - self.shown.first).days + 1)
        return len(by_lane), list(_in_lanes(by_lane, y, end))


def _in_lanes(by_lane: dict[int, list[SeasonBar]], y: int, end: int) -> Iterator[SeasonBar]:
    for lane, bars in sorted(by_lane.items()):
        ordered = sorted(bars, key=lambda bar: bar.first)
        yield from named([replace(bar, y=y + 6 + LANE * lane) for bar in ordered], 0, end)


def _apart(kit: Kit) -> int:
    return max(1, kit.home_room.sorting_nights)
