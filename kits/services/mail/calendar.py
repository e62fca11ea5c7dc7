"""A calendar to subscribe to (RFC 5545): what goes out of date, is due back, wants a look.

Each event's UID is made of what it is about, not of its date: a date that changes moves the event
and does not double it.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, date, datetime, timedelta

from django.db.models import Q
from django.utils.translation import gettext as _
from icalendar import Calendar, Event

from gearroom.core import clock
from gearroom.core.models import Person
from gearroom.core.rules.grouping import summed
from kits.models import Checkout, Holding, Kit
from kits.rules.ledger import Batch, good_through
from kits.services.ledger import readiness
from kits.services.mail import rendering
from kits.services.notices import kit_page, recipients

BACK_DAYS, AHEAD_DAYS = 30, 400


def of(person: Person) -> bytes:
    """Somebody's calendar: the kits they answer for or stand in for, laid-up ones left out."""
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
    kits = {
        kit.pk: kit
        for kit in Kit.objects.active()
        .filter(
            Q(responsible=person) | Q(deputy=person),
            laid_up_since__isnull=True,
            lost_since__isnull=True,
        )
        .order_by("name")
    }
    inside = list(
        Holding.objects.on_hand()
        .filter(place__kit__in=kits)
        .select_related("lot__item", "place")
        .order_by("pk")
    )
    batches = readiness.batches({h.lot_id: h.lot for h in inside}.values())
    yield from _ends(kits, inside, batches, now, first, last)
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


def _ends(
    kits: Mapping[int, Kit],
    inside: Iterable[Holding],
    batches: Mapping[int, Batch],
    now: datetime,
    first: date,
    last: date,
) -> Iterator[Event]:
    units = summed(((h.place.kit_id or 0, h.lot_id), h.units) for h in inside)
    for (kit, lot), count in units.items():
        day = good_through(batches[lot])
        if day is not None and first <= day <= last:
            text = _("%(kit)s: last usable day for %(units)d × %(thing)s") % {
                "kit": kits[kit].name, "units": count, "thing": batches[lot].thing.name
            }  # fmt: skip
            yield _all_day(f"expiry-{kit}-{lot}", text, day, now, kits[kit])


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


def _event(uid: str, text: str, now: datetime, kit: Kit, begins: date, ends: date) -> Event:
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
    if link := kit_page(kit.name):
        event.add("URL", link)
    return event


def _all_day(uid: str, text: str, day: date, now: datetime, kit: Kit) -> Event:
    event = _event(uid, text, now, kit, day, day + timedelta(days=1))
    event.add("TRANSP", "TRANSPARENT")
    return event
