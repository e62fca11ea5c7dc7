"""Calendars (iCalendar, RFC 5545) that trips come from, and their events that are trips."""

from datetime import datetime, timedelta
from typing import Self

from django.db import models
from django.db.models import Q

from gearroom.core import clock
from gearroom.core.models import Room
from kits.models.custody import Trip


class TripCalendarQuerySet(models.QuerySet["TripCalendar"]):
    """Calendars by whether they are read."""

    def due(self, now: datetime, every: timedelta) -> Self:
        """Those at an address that are to be read again by themselves."""
        rows = self.filter(taken_on__isnull=False, stopped_at=None).exclude(address="")
        return rows.filter(Q(checked_at=None) | Q(checked_at__lte=now - every)).order_by(
            "checked_at", "pk"
        )


class TripCalendar(models.Model):
    """A calendar whose events are trips of a `source` of their own: at an address, which is read
    again and again, or in files that somebody uploads (`address` empty).

    The address opens the calendar to whoever has it: it is encrypted under SECRET_KEY. `room` is
    where trips leave from that no place of it stands for, and whose keepers answer for it; `people`
    the size of a group of which no event says it. Nothing of it is a trip before somebody looked at
    what it would bring (`taken_on`). Since `failing_since` it could not be read, as `failure` says
    (a code). `counts` is what the last version did, by outcome; `refused_why` names the events of
    it that are no trips, each with the text and the facts of the reason.
    """

    name = models.CharField(max_length=80, unique=True)
    source = models.SlugField(max_length=40, unique=True)
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="trip_calendars")
    address = models.TextField(blank=True)
    people = models.PositiveSmallIntegerField()
    created_at = models.DateTimeField()
    taken_on = models.DateTimeField(null=True, blank=True)
    stopped_at = models.DateTimeField(null=True, blank=True)
    checked_at = models.DateTimeField(null=True, blank=True)
    read_at = models.DateTimeField(null=True, blank=True)
    etag = models.CharField(max_length=200, blank=True)
    last_modified = models.CharField(max_length=60, blank=True)
    failing_since = models.DateTimeField(null=True, blank=True)
    failure = models.CharField(max_length=40, blank=True)
    counts = models.JSONField(default=dict)
    refused_why = models.JSONField(default=list)

    objects = TripCalendarQuerySet.as_manager()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class CalendarPlace(models.Model):
    """That a trip leaves from a room where its event's place or a category has these words."""

    calendar = models.ForeignKey(TripCalendar, on_delete=models.CASCADE, related_name="places")
    words = models.CharField(max_length=80)
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]


class CalendarEventQuerySet(models.QuerySet["CalendarEvent"]):
    """Events of calendars by whether a keeper has still to say what becomes of their trips."""

    def unanswered(self, now: datetime) -> Self:
        """Those no longer in their calendars, of trips to come of which nobody said it."""
        gone = self.filter(gone_at__isnull=False, kept=False)
        return gone.filter(trip__cancelled_at=None, trip__returns_at__gt=now)


class CalendarEvent(models.Model):
    """That a trip is an event of a calendar: the number of the version that was read last
    (SEQUENCE, RFC 5545, 3.8.7.4) and a digest of what it said.

    Since `gone_at` it is no longer in the calendar, though its trip was neither cancelled nor over.
    A keeper is asked about that once; `kept` is that they said that the trip takes place.
    """

    calendar = models.ForeignKey(TripCalendar, on_delete=models.CASCADE, related_name="events")
    trip = models.OneToOneField(Trip, on_delete=models.PROTECT, related_name="calendar_event")
    sequence = models.PositiveIntegerField()
    digest = models.CharField(max_length=64)
    gone_at = models.DateTimeField(null=True, blank=True)
    kept = models.BooleanField(default=False)

    objects = CalendarEventQuerySet.as_manager()

    @property
    def unanswered(self) -> bool:
        """Whether a keeper has still to say what becomes of its trip."""
        coming = self.trip.cancelled_at is None and self.trip.returns_at > clock.now()
        return self.gone_at is not None and not self.kept and coming
