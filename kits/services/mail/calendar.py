"""A calendar to subscribe to (RFC 5545): what goes out of date, is due back, wants a look.

It is of the kits that somebody answers for or stands in for; and, for whoever throws out what is
out of date in a room, of its kits that nobody answers for, and of its shelves. What goes out of
date is one event a batch, or, by choice, one a month.

Each event's UID is made of what it is about, not of its date: a date that changes moves the event
and does not double it.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from django.db.models import Q
from django.utils import formats
from django.utils.translation import gettext as _, ngettext
from icalendar import Calendar, Event

from gearroom.core import clock
from gearroom.core.acts import actor_of_person
from gearroom.core.models import Person
from gearroom.core.rules.grouping import grouped, summed
from gearroom.core.services.people import rooms
from kits.models import CalendarBy, Checkout, Holding, Kit, PlaceKind
from kits.rules.ledger import Batch, good_through
from kits.services.ledger import readiness
from kits.services.mail import rendering
from kits.services.notices import kit_page, preferences, recipients
from kits.services.text import wording

BACK_DAYS, AHEAD_DAYS = 30, 400


def of(person: Person) -> bytes:
    """Somebody's calendar, without kits in storage."""
    calendar = Calendar()
    for name, value in {
        "PRODID": "-//Gearroom//Gearroom//EN",
        "VERSION": "2.0",
        "METHOD": "PUBLISH",
        "X-WR-CALNAME": _("Gear room: %(name)s") % {"name": person.name},
        "REFRESH-INTERVAL;VALUE=DURATION": "PT6H",
    }.items():
        calendar.add(name, value)
    for event in _events(person):
        calendar.add_component(event)
    content: bytes = calendar.to_ical()
    return content


def _events(person: Person) -> Iterator[Event]:
    now = clock.now()
    today = clock.local_date(now, recipients.zone_of(person))
    first, last = today - timedelta(days=BACK_DAYS), today + timedelta(days=AHEAD_DAYS)
    actor = actor_of_person(person)
    kept = [room.pk for room in rooms.visible_to(actor) if actor.may("dispose", room.pk)]
    nobodys = Q(responsible=None, deputy=None, home_room__in=kept)
    kits = {
        kit.pk: kit
        for kit in Kit.objects.active()
        .filter(
            Q(responsible=person) | Q(deputy=person) | nobodys,
            laid_up_since__isnull=True,
            lost_since__isnull=True,
        )
        .order_by("name")
    }
    there = list(
        Holding.objects.on_hand()
        .filter(Q(place__kit__in=kits) | Q(place__kind=PlaceKind.SHELF, place__room__in=kept))
        .select_related("lot__item", "place__room")
        .order_by("pk")
    )
    batches = readiness.batches({h.lot_id: h.lot for h in there}.values())
    inside = [h for h in there if h.place.kit_id]
    ending = _ending(kits, there, batches, first, last)
    by_month = preferences.of(person).calendar_by == CalendarBy.MONTH
    yield from _months(ending, now) if by_month else _batches(ending, now)
    for kit_row in kits.values():
        if kit_row.look_by is not None:
            text = _("%(kit)s: contents check due today") % {"kit": kit_row.name}
            yield _all_day(f"look-{kit_row.pk}", text, kit_row.look_by, now, kit_row)
    yield from _checks(kits, inside, batches, now)
    for held in (
        Checkout.objects.open()
        .filter(kit__in=kits, due_at__isnull=False)
        .select_related("person", "kit", "section")
        .order_by("due_at", "pk")
    ):
        who = held.person.name if held.person else _("an unnamed person")
        text = _("%(kit)s due back: %(who)s") % {"kit": held.what, "who": who}
        due_at = (held.due_at or now).astimezone(UTC)
        yield _event(f"due-{held.pk}", text, now, held.kit, due_at, due_at + timedelta(minutes=30))


@dataclass(frozen=True)
class _Ending:
    """Units of a batch in a kit, or (None) on the shelves of a room, and their last good day."""

    key: str
    where: str
    kit: Kit | None
    units: int
    thing: str
    day: date


def _ending(
    kits: Mapping[int, Kit],
    held: Iterable[Holding],
    batches: Mapping[int, Batch],
    first: date,
    last: date,
) -> list[_Ending]:
    """What goes out of date between two days, the soonest first."""
    rooms_of = {h.place.room_id: h.place.room for h in held if h.place.room_id}
    units = summed(((h.place.kit_id, h.place.room_id, h.lot_id), h.units) for h in held)
    found = []
    for (kit, room, lot), count in units.items():
        day = good_through(batches[lot])
        if day is None or not first <= day <= last:
            continue
        key, where = f"expiry-room-{room}-{lot}", str(rooms_of.get(room or 0, ""))
        if kit is not None:
            key, where = f"expiry-{kit}-{lot}", kits[kit].name
        thing = batches[lot].thing.name
        found.append(_Ending(key, where, None if kit is None else kits[kit], count, thing, day))
    return sorted(found, key=lambda each: (each.day, each.where, each.thing))


def _batches(ending: Iterable[_Ending], now: datetime) -> Iterator[Event]:
    """An event for each batch on its last good day."""
    for each in ending:
        text = _("%(kit)s: last usable day for %(units)d × %(thing)s") % {
            "kit": each.where, "units": each.units, "thing": each.thing
        }  # fmt: skip
        yield _all_day(each.key, text, each.day, now, each.kit)


def _months(ending: Iterable[_Ending], now: datetime) -> Iterator[Event]:
    """An event for each month, on its first day: what goes out of date in it."""
    for first, rows in grouped((each.day.replace(day=1), each) for each in ending).items():
        text = ngettext(
            "Goes out of date in %(month)s: %(n)d batch",
            "Goes out of date in %(month)s: %(n)d batches",
            len(rows),
        ) % {"month": formats.date_format(first, "YEAR_MONTH_FORMAT"), "n": len(rows)}
        event = _all_day(f"expiry-month-{first:%Y-%m}", text, first, now, None)
        lines = (
            _("%(day)s: %(units)d × %(thing)s, %(place)s")
            % {
                "day": wording.day(each.day),
                "units": each.units,
                "thing": each.thing,
                "place": each.where,
            }
            for each in rows
        )
        event.add("DESCRIPTION", "\n".join(lines))
        yield event


def _checks(
    kits: Mapping[int, Kit], inside: Iterable[Holding], batches: Mapping[int, Batch], now: datetime
) -> Iterator[Event]:
    for h in inside:
        batch, kit = batches[h.lot_id], kits[h.place.kit_id or 0]
        if batch.check_due is not None:
            text = _("%(kit)s: check due for %(thing)s %(serial)s") % {
                "kit": kit.name, "thing": batch.thing.name, "serial": h.lot.serial
            }  # fmt: skip
            yield _all_day(f"check-{h.lot_id}", text, batch.check_due, now, kit)


def _event(uid: str, text: str, now: datetime, kit: Kit | None, begins: date, ends: date) -> Event:
    """An event between two instants (or days), the end left out."""
    event = Event()
    for name, value in {
        "UID": f"{uid}@{rendering.domain()}",
        "DTSTAMP": now.replace(microsecond=0).astimezone(UTC),
        "SUMMARY": text,
        "DTSTART": begins,
        "DTEND": ends,
    }.items():
        event.add(name, value)
    if kit is not None and (link := kit_page(kit.name)):
        event.add("URL", link)
    return event


def _all_day(uid: str, text: str, day: date, now: datetime, kit: Kit | None) -> Event:
    event = _event(uid, text, now, kit, day, day + timedelta(days=1))
    event.add("TRANSP", "TRANSPARENT")
    return event
