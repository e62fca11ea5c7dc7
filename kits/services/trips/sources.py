"""Where trips come from, and where they may be changed."""

import re

from django.utils.translation import gettext as _

from gearroom.core.acts import Invalid, Refused
from kits.models import CalendarEvent, Trip, TripCalendar

BY_HAND = "by-hand"
CALENDAR = "calendar-"
"""What the sources of trips that come from calendars begin with."""

_SOURCE = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*", re.ASCII)


def refuse_name(source: str) -> None:
    """Raise Invalid (`source`) for what cannot be the name of a source."""
    if not _SOURCE.fullmatch(source) or len(source) > 40:
        raise Invalid(
            _(
                "The name of a source may contain only lower-case letters, digits and hyphens, "
                "for example “bookings”."
            ),
            field="source",
        )


def calendar_of(source: str, reference: str) -> TripCalendar | None:
    """The calendar that a trip follows: one that is in use, unless a keeper kept the trip when it
    was no longer in there."""
    if not source.startswith(CALENDAR):
        return None
    kept = CalendarEvent.objects.filter(
        calendar__source=source, trip__reference=reference, gone_at__isnull=False, kept=True
    )
    calendar = TripCalendar.objects.filter(source=source, stopped_at=None).first()
    return None if calendar is None or kept.exists() else calendar


def is_changed_here(trip: Trip) -> bool:
    """Whether a trip is changed and cancelled on its page, since no other program would change it
    back: it was added by hand, or its calendar is no longer used or no longer has it."""
    by_calendar = trip.source.startswith(CALENDAR)
    if by_calendar and TripCalendar.objects.filter(source=trip.source).exists():
        return calendar_of(trip.source, trip.reference) is None
    return trip.source == BY_HAND


def refuse_of_calendar(source: str, reference: str) -> None:
    """Raise Refused (`trip-of-calendar`) for a trip that a calendar would change back."""
    if (calendar := calendar_of(source, reference)) is not None:
        raise Refused(
            "trip-of-calendar",
            _(
                "This trip comes from the calendar “%(calendar)s”. Change it there, or stop using "
                "the calendar."
            )
            % {"calendar": calendar.name},
        )
