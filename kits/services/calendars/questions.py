"""What is to become of trips that are no longer in their calendar: a keeper says it."""

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Refused, locked, one, store
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
    """One of those. Raises NotFound where it has been answered, or the event is back."""
    return one(open_questions(actor).filter(pk=event), "question", event)


def keep(act: Act, event: CalendarEvent) -> CalendarEvent:
    """Say that a trip takes place though it is no longer in its calendar."""
    act.actor.require("edit_trip", event.trip.room_id)
    with transaction.atomic():
        event = locked(act, event)
        store(event, kept=True)
    return event


def cancel(act: Act, event: CalendarEvent) -> TripChange:
    """Cancel a trip that is no longer in its calendar. Where the event comes back, so does the
    trip. Raises Refused (`calendar-event-back`)."""
    trip = event.trip
    act.actor.require("edit_trip", trip.room_id)
    with transaction.atomic():
        change = trips.cancel(act, trip)
        event = locked(act, event)
        if event.gone_at is None:
            raise Refused(
                "calendar-event-back",
                _("%(trip)s is in the calendar again, so it has not been cancelled.")
                % {"trip": trip.name},
            )
        store(event, digest="")
    return change
