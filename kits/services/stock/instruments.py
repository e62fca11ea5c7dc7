"""Instruments: their regular check, with its question answered, wherever they are."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Unacceptable, refuse_first
from gearroom.core.models import Room
from kits.models import (
    Entry,
    EntryKind,
    Holding,
    InstrumentCheck,
    Kit,
    Lot,
    Place,
    WithheldKind,
    Withholding,
)
from kits.rules.ledger import Kind, ReasonCode
from kits.services.ledger.book import Book
from kits.services.notices import FailedCheck, writing

LATEST = 3650
"""The most days ahead that a next check may be due."""


@dataclass(frozen=True)
class CheckResult:
    """The entry of a check, and the check as it counts now; None where a later one is on record."""

    entry: Entry
    check: InstrumentCheck | None


def check(
    act: Act,
    lot: Lot,
    *,
    passed: bool,
    answer: str = "",
    checked_on: date | None = None,
    due_on: date | None = None,
) -> CheckResult:
    """Record a check of an instrument. A failed one keeps it back until it passes.

    `passed` answers the item's question; `answer` is any remark. `checked_on` is today unless
    given. The next is due after the item's interval unless `due_on` (a maker's service, a
    cylinder's test stamp) says otherwise. One that comes after a later one goes on record and
    changes nothing else. Raises Invalid.
    """
    refuse_first(
        (
            lot.item.kind != Kind.INSTRUMENT,
            Unacceptable(
                "not-an-instrument",
                _("%(item)s is not an instrument, so it has no checks.") % {"item": lot.item.name},
            ),
        ),
        (
            len(answer) > 200,
            Invalid(_("The answer can be at most 200 characters long."), field="answer"),
        ),
    )
    with Book(act) as book:
        book.hold(lambda: _kit_of(lot), lambda: [lot.pk])
        place = _place_of(lot)
        kit = book.lock(place.kit_id)[0] if place and place.kit_id else None
        room = kit.room if kit else place.room if place else act.room
        act.actor.require("check_instrument", room.pk if room else None)
        day = _day(act, room, checked_on)
        due_on = _due(lot, day, due_on) if passed else None
        last = (
            InstrumentCheck.objects.filter(lot=lot, entry__reversed_by__isnull=True)
            .order_by("-id")
            .first()
        )
        late = last is not None and last.checked_on > day
        entry = book.post(
            EntryKind.CHECK,
            kit=kit,
            lot=lot,
            room=room,
            irregular=[ReasonCode.CHECKED_SINCE] if late else [],
            detail={"passed": passed, "answer": answer, "checked_on": day.isoformat()},
        )
        if late:
            return CheckResult(entry, None)
        made = InstrumentCheck.objects.create(
            lot=lot,
            entry=entry,
            checked_on=day,
            passed=passed,
            due_on=due_on,
            answer=answer,
            checked_by=act.person,
        )
        _keep_back_or_release(entry, lot, kit, room, passed)
    return CheckResult(entry, made)


def _place_of(lot: Lot) -> Place | None:
    held = Holding.objects.on_hand().filter(lot=lot).select_related("place__room")
    return next((row.place for row in held.order_by("place")[:1]), None)


def _kit_of(lot: Lot) -> list[int]:
    place = _place_of(lot)
    return [place.kit_id] if place and place.kit_id else []


def _day(act: Act, room: Room | None, checked_on: date | None) -> date:
    zone = room.time_zone if room else "UTC"
    if checked_on is None:
        return clock.local_date(min(act.claimed_at or act.received_at, act.received_at), zone)
    if checked_on > clock.today(zone):
        raise Invalid(_("The date of a check cannot be in the future."), field="checked_on")
    return checked_on


def _due(lot: Lot, day: date, due_on: date | None) -> date | None:
    if due_on is None:
        every = lot.item.check_every_days
        return day + timedelta(days=every) if every else None
    if not day < due_on <= day + timedelta(days=LATEST):
        raise Invalid(
            _("The next check must be due after this one, and within %(latest)s days of it.")
            % {"latest": LATEST},
            field="due_on",
        )
    return due_on


def _keep_back_or_release(
    entry: Entry, lot: Lot, kit: Kit | None, room: Room | None, passed: bool
) -> None:
    withholdings = Withholding.objects.open().filter(lot=lot, kind=WithheldKind.FAILED_CHECK)
    if passed:
        withholdings.update(released=entry)
        return
    if not withholdings.exists():
        Withholding.objects.create(lot=lot, kind=WithheldKind.FAILED_CHECK, since=entry)
    if kit is not None or room is not None:
        writing.notify_keepers(
            entry,
            "failed-check",
            kit=kit,
            room=None if kit else room,
            facts=FailedCheck(thing=lot.item.name, serial=lot.serial),
        )
