"""What is to become of trips that are no longer in their calendar: a keeper says it."""

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Refused, Unacceptable, locked, one, store
from kits.models import CalendarEvent
from kits.services.lookup import find
from kits.services.trips import trips
from kits.services.trips.trips import TripChange


def open_questions(actor: Actor) -> QuerySet[CalendarEvent]:
    """The events that are no longer in their calendars, of trips to come of which nobody said what
    is to become of them."""
    return (
        CalendarEvent.objects.unanswered(clock.now())
        .filter(trip__in=find.trips_of(actor))
        .select_related("calendar", "trip__room")
        .order_by("trip__departs_at", "pk")
    )


def get(actor: Actor, event: int) -> CalendarEvent:
    """An event of a trip that somebody may see, whether or not it is asked about. Raises
    NotFound."""
    rows = CalendarEvent.objects.filter(trip__in=find.trips_of(actor))
    return one(rows.select_related("calendar", "trip__room").filter(pk=event), "trip")


def keep(act: Act, event: CalendarEvent) -> CalendarEvent:
    """Say that a trip takes place though it is no longer in its calendar. Raises Refused
    (`trip-cancelled`)."""
    act.actor.require("edit_trip", event.trip.room_id)
    with transaction.atomic():
        event = locked(act, event)
        if event.trip.cancelled_at is not None:
            raise Refused(
                "trip-cancelled",
                _(
                    "Somebody has cancelled %(trip)s already. If it takes place after all, put "
                    "it into the calendar again."
                )
                % {"trip": event.trip.name},
            )
        if event.gone_at is not None:
            store(event, kept=True)
    return event


def cancel(act: Act, event: CalendarEvent) -> TripChange:
    """Cancel a trip that is no longer in its calendar. Where the event comes back, so does the
    trip. Raises Refused (`calendar-event-back`, `trip-kept`), and Unacceptable (`trip-is-over`)."""
    trip = event.trip
    act.actor.require("edit_trip", trip.room_id)
    name = {"trip": trip.name}
    if trip.returns_at <= act.received_at:
        raise Unacceptable("trip-is-over", _("%(trip)s is over.") % name)
    with transaction.atomic():
        change = trips.cancel(act, trip)
        event = locked(act, event)
        if event.gone_at is None:
            raise Refused(
                "calendar-event-back",
                _("%(trip)s is in the calendar again, so it has not been cancelled.") % name,
            )
        if event.kept:
            raise Refused(
                "trip-kept",
                _(
                    "Somebody has said already that %(trip)s takes place, so it has not been "
                    "cancelled. If it does not, cancel it on its own page."
                )
                % name,
            )
    return change
