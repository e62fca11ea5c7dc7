"""Calendars (iCalendar, RFC 5545) that trips come from, and the events of each as last read."""

from datetime import time

from django.db import models

from gearroom.core.models import Room
from kits.models.custody import Trip


class TripCalendar(models.Model):
    """A calendar whose events are trips of a source of their own: at an address that is asked again
    and again, or in files that somebody uploads (`address` empty).

    The address opens the calendar to whoever has it: it is encrypted under SECRET_KEY. `people` is
    the size of a group that no event states, `leaves_at` when a trip leaves that only has days.
    `taken_on` is when somebody looked at what it would bring and took it on; before, nothing of it
    is a trip. `failing_since` and `failure` (a code) say that it could not be read or taken since.
    `counts` is what the last version did, by outcome.
    """

    name = models.CharField(max_length=80)
    source = models.SlugField(max_length=40, unique=True)
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="trip_calendars")
    address = models.TextField(blank=True)
    people = models.PositiveSmallIntegerField(default=8)
    leaves_at = models.TimeField(default=time(8))
    created_at = models.DateTimeField()
    taken_on = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    checked_at = models.DateTimeField(null=True, blank=True)
    read_at = models.DateTimeField(null=True, blank=True)
    etag = models.CharField(max_length=200, blank=True)
    last_modified = models.CharField(max_length=60, blank=True)
    failing_since = models.DateTimeField(null=True, blank=True)
    failure = models.CharField(max_length=40, blank=True)
    counts = models.JSONField(default=dict)

    class Meta:
        ordering = ["name", "id"]

    def __str__(self) -> str:
        return self.name


class CalendarPlace(models.Model):
    """That a trip leaves from a room where its event's place or a category has these words."""

    calendar = models.ForeignKey(TripCalendar, on_delete=models.CASCADE, related_name="places")
    words = models.CharField(max_length=80)
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["calendar", "words"], name="words_once_a_calendar")
        ]


class CalendarEvent(models.Model):
    """An event of a calendar that is a trip, in the latest version that was read of it.

    `sequence` and `stamp` are its SEQUENCE and DTSTAMP (RFC 5545, 3.8.7.4 and 3.8.7.2). `gone_at`:
    it is no longer in the calendar since then, though its trip is neither cancelled nor over; a
    keeper is asked about that once, and `kept` is that they said that the trip stays.
    """

    calendar = models.ForeignKey(TripCalendar, on_delete=models.CASCADE, related_name="events")
    trip = models.ForeignKey(Trip, on_delete=models.PROTECT, related_name="calendar_events")
    sequence = models.PositiveIntegerField(default=0)
    stamp = models.DateTimeField(null=True, blank=True)
    gone_at = models.DateTimeField(null=True, blank=True)
    kept = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["calendar", "trip"], name="trip_once_a_calendar")
        ]
