"""What rooms used of each item, and what their kits carry: what order levels rest on."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date

from django.db.models import F, Sum

from gearroom.core import clock
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import Kit, LevelFact, ListLine, Movement, PlaceKind
from kits.rules.buying.order_levels import Look, Use, refills
from kits.rules.ledger.facts import Level

Uses = dict[tuple[int, int], list[Use]]
"""By room and item (ids)."""


def uses(rooms: Mapping[int, Room], since: date) -> Uses:
    """What was used since a day; of loose items, what filled up the kits at home in a room. What
    classes used is no part of it."""
    found = _counted(rooms, since, PlaceKind.USED)
    for key, filled_up in _filled_up(rooms, since).items():
        found[key] += filled_up
    return found


def in_class(rooms: Mapping[int, Room], since: date) -> Uses:
    """What was used up in class since a day; it is no use in `uses`."""
    return _counted(rooms, since, PlaceKind.CLASS)


def carried(rooms: Iterable[int]) -> set[tuple[int, int]]:
    """What the kits at home in rooms carry by their lists, or may carry instead, by room and item
    (ids); what only training kits carry is no part of it."""
    kits = Kit.objects.filter(home_room__in=list(rooms), retired_on=None, training=False)
    lines = ListLine.objects.filter(section__version__kits__in=kits).order_by()
    room = "section__version__kits__home_room"
    own = lines.values_list(room, "item")
    instead = lines.filter(item__substitutes__isnull=False)
    return set(own.union(instead.values_list(room, "item__substitutes__instead")))


def _counted(
    rooms: Mapping[int, Room], since: date, went: PlaceKind
) -> defaultdict[tuple[int, int], list[Use]]:
    rows = (
        Movement.objects.filter(
            to_place__kind=went,
            from_room__in=rooms,
            entry__reverses__isnull=True,
            entry__reversed_by__isnull=True,
            entry__occurred_at__date__gte=since,
        )
        .values_list("from_room", "lot__item", "entry__occurred_at", "entry")
        .annotate(units=Sum("units"))
        .order_by()
    )
    return grouped(
        ((room, item), Use(clock.local_date(at, rooms[room].time_zone), units))
        for room, item, at, _entry, units in rows
    )


def _filled_up(rooms: Mapping[int, Room], since: date) -> Uses:
    facts = LevelFact.objects.filter(
        section__kit__home_room__in=rooms,
        section__kit__training=False,
        section__kit__list_version__sections__key=F("section__section_key"),
        section__kit__list_version__sections__lines__item=F("item"),
        entry__reverses__isnull=True,
        entry__reversed_by__isnull=True,
        entry__occurred_at__date__gte=since,
    ).order_by("entry__occurred_at", "id")
    looks = grouped(
        (
            (room, item, section, carry),
            Look(clock.local_date(at, rooms[room].time_zone), Level(level)),
        )
        for room, item, section, carry, at, level in facts.values_list(
            "section__kit__home_room",
            "item",
            "section",
            "section__kit__list_version__sections__lines__carry",
            "entry__occurred_at",
            "level",
        )
    )
    return grouped(
        ((room, item), use)
        for (room, item, _section, carry), seen in looks.items()
        for use in refills(seen, carry)
    )
