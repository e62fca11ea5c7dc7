"""What has to leave kits and shelves for the weather where they are, and what may be put back.

It is worked out from the record each time; the number of queries does not grow with kits or
shelves."""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.db.models import Exists, OuterRef, Q, QuerySet

from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import EntryKind, Holding, Kit, Location, Lot, Movement, Place, PlaceKind
from kits.models.stock.places import PlaceQuerySet
from kits.rules.ledger.facts import KitState, Thing, Units, Weather
from kits.rules.ledger.weather import Removal, Stretch, Threat, may_be_kept, may_return, removals
from kits.services.ledger import readiness
from kits.services.text import weather_texts


@dataclass(frozen=True)
class Moving:
    """Units of a batch in a section or on a shelf."""

    lot: Lot
    place: Place
    units: int


@dataclass(frozen=True)
class Leaving:
    """A thing that has to leave: which units (none where nobody counts them), why, when, and
    whether the weather has begun, so that it may be harmed already."""

    thing: Thing
    rows: Sequence[Moving]
    why: Sequence[Threat]
    stretch: Stretch
    begun: bool


@dataclass(frozen=True)
class Returning:
    """Units that were moved to a shelf for the weather and may be put back; `exposed`: the weather
    had begun when they were moved."""

    lot: Lot
    place: Place
    shelf: Place
    units: int
    exposed: bool


@dataclass(frozen=True)
class WeatherJob:
    """What there is to do with one kit, or one shelf, at a location."""

    location: Location
    kit: Kit | None = None
    shelf: Place | None = None
    out: Sequence[Leaving] = field(default_factory=list)
    back: Sequence[Returning] = field(default_factory=list)

    @property
    def name(self) -> str:
        """What the kit or shelf is called."""
        return str(self.kit or self.shelf)

    @property
    def anchor(self) -> str:
        """Where it stands on its page."""
        return f"kit-{self.kit.pk}" if self.kit else f"shelf-{self.shelf.pk if self.shelf else 0}"

    def says_out(self, today: date) -> list[str]:
        """What has to leave, in words."""
        return [
            weather_texts.leaving(
                each.thing.name, sum(x.units for x in each.rows), each.why, each.stretch, today
            )
            for each in self.out
        ]

    def says_back(self) -> list[str]:
        """What may be put back, in words."""
        return [
            weather_texts.returning(x.lot.item.name, x.lot.number, x.units, x.shelf.where)
            for x in self.back
        ]

    @property
    def exposed(self) -> bool:
        """Whether the weather had begun when some of what may be put back was moved."""
        return any(each.exposed for each in self.back)

    @property
    def counted(self) -> bool:
        """Whether any units have to leave, and not only loose items."""
        return any(each.rows for each in self.out)

    @property
    def begun(self) -> bool:
        """Whether something may be harmed already."""
        return any(each.begun for each in self.out)

    @property
    def first(self) -> date:
        """The first day of the soonest weather that something has to leave for."""
        return min((each.stretch.first for each in self.out), default=date.max)


def of_room(room: Room, today: date) -> list[WeatherJob]:
    """The jobs of a room's kits and shelves, the soonest first."""
    return of_rooms([room.pk], today)


def of_rooms(rooms: Collection[int], today: date) -> list[WeatherJob]:
    """The same of several rooms (ids)."""
    own = list(Location.objects.filter(room__in=rooms, closed_on=None).select_related("room"))
    if not own:
        return []
    jobs = [
        *_of_kits(_kits().filter(location__in=own, home_room__in=rooms), today),
        *_of_shelves(_shelves().filter(location__in=own), today),
    ]
    return sorted(jobs, key=lambda job: (job.first, job.name))


def of_kit(kit: Kit, today: date) -> WeatherJob | None:
    """What there is to do with a kit; None where there is nothing."""
    if kit.location_id is None:
        return None
    return next(_of_kits(_kits().filter(pk=kit.pk), today), None)


def of_shelf(shelf: Place, today: date) -> WeatherJob | None:
    """The same with a shelf."""
    return next(_of_shelves(_shelves().filter(pk=shelf.pk), today), None)


# -------------------------------------------------------------------------------------------- kits
def _kits() -> QuerySet[Kit]:
    """Kits at a location that somebody looks after."""
    return (
        Kit.objects.active()
        .filter(location__isnull=False, training=False, laid_up_since=None, lost_since=None)
        .select_related("location__room", "home_room", "room")
    )


def _of_kits(rows: Iterable[Kit], today: date) -> Iterator[WeatherJob]:
    if not (kits := list(rows)):
        return
    states = readiness.states([kit.pk for kit in kits])
    sections = grouped(
        (place.kit_id, place) for place in Place.objects.sections().filter(kit__in=kits)
    )
    leaving = {
        kit.pk: removals(
            states[kit.pk].units, _weather(kit.location), today, _loose(states[kit.pk])
        )
        for kit in kits
    }
    lots = _lots(row for rows in leaving.values() for row in rows)
    removed = _removed(place.pk for places in sections.values() for place in places)
    for kit in kits:
        places = {place.section_key: place for place in sections[kit.pk]}
        assert kit.location is not None
        job = WeatherJob(
            kit.location,
            kit=kit,
            out=[_leaving(row, lots, places) for row in leaving[kit.pk]],
            back=list(_back_into(states[kit.pk], places.values(), removed, today)),
        )
        if job.out or job.back:
            yield job


def _loose(state: KitState) -> list[Thing]:
    """Small stuff that nobody counts, which the list has."""
    return [line.thing for line in state.lines if line.thing.by_eye]


def _back_into(
    state: KitState,
    places: Iterable[Place],
    removed: Mapping[int, Sequence[Returning]],
    today: date,
) -> Iterator[Returning]:
    """What may be put back, of that no more than the kit's list wants there."""
    for place in places:
        lacking = Counter[int]()
        for line in state.lines:
            if line.section == place.section_key:
                lacking[line.thing.id] += line.target
        for units in state.units:
            if units.place == place.section_key:
                lacking[units.batch.thing.id] -= units.count
        for row in removed.get(place.pk, ()):
            units_back = min(row.units, lacking[row.lot.item_id])
            if units_back > 0 and may_be_kept(state, readiness.thing_of(row.lot.item), today):
                lacking[row.lot.item_id] -= units_back
                yield Returning(row.lot, place, row.shelf, units_back, row.exposed)


# ------------------------------------------------------------------------------------------ shelves
def _shelves() -> PlaceQuerySet:
    """Shelves in use at a location."""
    return (
        Place.objects.open()
        .shelves()
        .filter(location__isnull=False)
        .select_related("location__room", "room")
    )


def _of_shelves(shelves: Iterable[Place], today: date) -> Iterator[WeatherJob]:
    if not (places := {str(shelf.pk): shelf for shelf in shelves}):
        return
    held = readiness.units_in(shelf.pk for shelf in places.values())
    leaving = {
        shelf.pk: removals(
            [Units(batch, key, count) for batch, count in held.get(shelf.pk, ())],
            _weather(shelf.location),
            today,
        )
        for key, shelf in places.items()
    }
    lots = _lots(row for rows in leaving.values() for row in rows)
    removed = _removed(shelf.pk for shelf in places.values())
    for shelf in places.values():
        assert shelf.location is not None
        job = WeatherJob(
            shelf.location,
            shelf=shelf,
            out=[_leaving(row, lots, places) for row in leaving[shelf.pk]],
            back=[
                row
                for row in removed.get(shelf.pk, ())
                if may_return(readiness.thing_of(row.lot.item), _weather(shelf.location), today)
            ],
        )
        if job.out or job.back:
            yield job


# -------------------------------------------------------------------------------------------- both
def _weather(location: Location | None) -> Weather:
    return location.weather if location else Weather()


def _lots(rows: Iterable[Removal]) -> dict[int, Lot]:
    return Lot.objects.select_related("item").in_bulk(
        {units.batch.id for row in rows for units in row.units}
    )


def _leaving(row: Removal, lots: Mapping[int, Lot], places: Mapping[str, Place]) -> Leaving:
    moving = [Moving(lots[x.batch.id], places[x.place], x.count) for x in row.units]
    return Leaving(row.thing, moving, row.why, row.stretch, row.begun)


def _removed(places: Iterable[int]) -> dict[int, list[Returning]]:
    """What was moved from each of these places (ids) to a shelf for the weather and is still there.
    Whatever was put in of the item since, by whomever, has settled it."""
    later = Movement.objects.filter(
        Q(entry__reversed_by=None) & ~Q(entry__kind=EntryKind.REVERSE),
        id__gt=OuterRef("id"),
        to_place=OuterRef("from_place"),
        lot__item=OuterRef("lot__item"),
    )
    legs = list(
        Movement.objects.filter(
            ~Exists(later),
            entry__kind=EntryKind.WEATHER_OUT,
            entry__reversed_by=None,
            from_place__in=list(places),
            to_place__kind=PlaceKind.SHELF,
            to_place__closed_on=None,
        )
        .select_related("lot__item", "from_place", "to_place__location", "entry")
        .order_by("id")
    )
    held = Counter(
        {
            (lot, place): units
            for lot, place, units in Holding.objects.filter(
                lot__in={leg.lot_id for leg in legs}, place__in={leg.to_place_id for leg in legs}
            ).values_list("lot", "place", "units")
        }
    )
    back: dict[int, list[Returning]] = {}
    for leg in legs:
        units = min(leg.units, held[leg.lot_id, leg.to_place_id])
        if units > 0:
            held[leg.lot_id, leg.to_place_id] -= units
            exposed = bool(leg.entry.detail.get("begun"))
            row = Returning(leg.lot, leg.from_place, leg.to_place, units, exposed)
            back.setdefault(leg.from_place_id, []).append(row)
    return back
