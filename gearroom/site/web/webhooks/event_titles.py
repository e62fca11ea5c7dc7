"""What pages call each type of event, and what it is about."""

from collections.abc import Sequence

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from gearroom.core.acts import Actor
from kits.models import Event, Item
from kits.services.lookup import find
from kits.services.webhooks.content import TEST

EVENT_TITLES: dict[str, Promise] = {
    "kit.checked_out": _("Kit taken out"),
    "kit.checked_in": _("Kit handed back"),
    "kit.passed_on": _("Kit passed on"),
    "kit.due_changed": _("Return time of a kit changed"),
    "kit.custody_corrected": _("Correction of who has a kit"),
    "kit.overdue": _("Kit not back"),
    "kit.readiness_changed": _("Status of a kit changed"),
    "kit.withheld": _("Kit on hold"),
    "kit.released": _("Kit no longer on hold"),
    "kit.added": _("Kit added"),
    "kit.changed": _("Kit changed"),
    "kit.retired": _("Kit retired"),
    "trip.created": _("Trip added"),
    "trip.updated": _("Trip changed"),
    "trip.moved": _("Trip leaves from elsewhere"),
    "trip.cancelled": _("Trip cancelled"),
    "trip.covered": _("Trip has its kits"),
    "trip.waiting": _("Trip waits for a kit"),
    "trip.uncovered": _("Trip lacks a kit"),
    "reservation.made": _("Kit reserved"),
    "reservation.released": _("Kit no longer reserved"),
    "lot.recalled": _("Batch recalled"),
    "recall.closed": _("Recall closed"),
    "stock.low": _("Item low on the shelves"),
    "stock.enough": _("Item no longer low"),
    "act.undone": _("Something undone"),
    TEST: _("Test"),
}


def title_of(event_type: str) -> str:
    """The title of a type of event."""
    return str(EVENT_TITLES.get(event_type, event_type))


def names_in(who: Actor, events: Sequence[Event]) -> dict[int, str]:
    """The kit, the trip or the item that each event is about, as far as somebody may see them."""
    rows = {"kit": find.kits_of(who), "trip": find.trips_of(who), "item": Item.objects.all()}
    names: dict[int, list[str]] = {event.pk: [] for event in events}
    for what, visible in rows.items():
        ids = {event.pk: event.data[what] for event in events if event.data.get(what)}
        if ids:
            known = dict(visible.filter(pk__in=set(ids.values())).values_list("pk", "name"))
            for event, number in ids.items():
                names[event] += [known[number]] if number in known else []
    return {event: ", ".join(each) for event, each in names.items()}
