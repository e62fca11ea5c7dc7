"""Reading calendars at their addresses: when somebody asks, and by itself.

What could not be read changes nothing, and keepers are told once until it can be read again.
"""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from gearroom.core.acts import SYSTEM, Act, Invalid, Problem, Refused
from gearroom.core.outbound import Client, OutboundError
from kits.models import TripCalendar
from kits.rules.trips.calendars import MAX_BYTES
from kits.services.calendars import calendars, versions
from kits.services.notices import writing
from kits.services.notices.facts import CalendarFailing
from kits.services.notices.recipients import keepers_of
from kits.services.text import trip_calendar_texts

log = logging.getLogger(__name__)

EVERY = timedelta(minutes=15)
SECONDS = 10.0
"""For one calendar, so that none holds up a worker."""
SAY_AFTER = timedelta(hours=2)
"""How long an address may be out of reach before keepers are told."""


@dataclass(frozen=True)
class Content:
    """What an address holds now, and how its server names this version of it."""

    content: bytes
    etag: str
    last_modified: str


def fetch(calendar: TripCalendar, *, again: bool = False) -> Content | None:
    """What the address of a calendar holds; None where that is what was read last, unless `again`.
    Raises Refused (`calendar-not-read`), with the `failure`."""
    if not (address := calendars.address_of(calendar)):
        raise _not_read(trip_calendar_texts.NO_ADDRESS)
    headers = {"accept": "text/calendar"}
    if calendar.etag and not again:
        headers["if-none-match"] = calendar.etag
    if calendar.last_modified and not again:
        headers["if-modified-since"] = calendar.last_modified
    try:
        with Client() as client:
            answer = client.fetch(address, headers, seconds=SECONDS, at_most=MAX_BYTES)
    except OutboundError as error:
        raise _not_read(error.failure.value) from None
    if answer.status == 304 and not again:
        return None
    if answer.status != 200:
        raise _not_read(f"status-{answer.status}")
    etag, modified = answer.headers.get("etag", ""), answer.headers.get("last-modified", "")
    return Content(
        answer.content, etag if len(etag) <= 200 else "", modified if len(modified) <= 60 else ""
    )


def content_now(act: Act, calendar: TripCalendar) -> bytes:
    """What the address of a calendar holds now, to look at. Raises Refused
    (`calendar-not-read`)."""
    calendars.require_rooms(act, calendar)
    read = fetch(calendar, again=True)
    return read.content if read else b""


def check(act: Act, calendar: TripCalendar) -> bool:
    """Read a calendar that was taken on and bring its trips to what it says; whether it was another
    version. Raises Refused (`calendar-not-read`, `calendar-not-taken-on`)."""
    calendars.require_rooms(act, calendar)
    if calendar.taken_on is None or calendar.stopped_at is not None:
        raise Refused(
            "calendar-not-taken-on",
            _("First see what this calendar would change, and import its trips."),
        )
    try:
        # What was refused is tried again, though the calendar is the same: all else may be other.
        if (read := fetch(calendar, again=bool(calendar.counts.get("refused")))) is None:
            _note(calendar, checked_at=act.received_at, failing_since=None, failure="")
            return False
        try:
            versions.take(act, calendar, read.content)
        except Invalid:
            raise _not_read(trip_calendar_texts.UNREADABLE) from None
        except Problem as problem:
            if problem.code != trip_calendar_texts.EMPTY:
                raise
            raise _not_read(trip_calendar_texts.EMPTY) from None
    except Refused as refused:
        _fail(calendar, str(refused.facts.get("failure", "")), act.received_at)
        raise
    _note(calendar, etag=read.etag, last_modified=read.last_modified)
    return True


def read_due() -> None:
    """Read the calendar that waits longest, if it is its turn: one at a time, so that slow servers
    leave the worker time for all else."""
    act = Act(SYSTEM)
    calendar = TripCalendar.objects.due(act.received_at, EVERY).select_related("room").first()
    if calendar is None:
        return
    own = TripCalendar.objects.filter(pk=calendar.pk, checked_at=calendar.checked_at)
    if not own.update(checked_at=act.received_at):
        return  # another worker reads it
    try:
        check(act, calendar)
    except Problem as problem:
        log.info("Calendar %s was not read: %s", calendar.pk, problem.code)


def _note(calendar: TripCalendar, **columns: object) -> None:
    TripCalendar.objects.filter(pk=calendar.pk).update(**columns)


def _fail(calendar: TripCalendar, failure: str, now: datetime) -> None:
    """Note that a calendar could not be read, and tell keepers once: at once of what waiting does
    not mend."""
    since = calendar.failing_since or now
    _note(calendar, checked_at=now, failing_since=since, failure=failure)
    if failure in trip_calendar_texts.LASTING or now - since >= SAY_AFTER:
        facts: CalendarFailing = {
            "calendar": calendar.name,
            "calendar_id": calendar.pk,
            "failure": failure,
        }
        writing.notify(
            keepers_of(calendar.room),
            "calendar-failing",
            f"calendar:{calendar.pk}:{since.isoformat()}",
            room=calendar.room,
            facts=facts,
        )


def _not_read(failure: str) -> Refused:
    return Refused("calendar-not-read", trip_calendar_texts.failure(failure), failure=failure)
