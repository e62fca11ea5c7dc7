"""What lists leave out and a trip wants all the same: said before its kits go."""

from collections.abc import Iterable

from gearroom.core.rules.grouping import grouped
from kits.models import Activity, Kit, NotCarried, Trip
from kits.rules.lists.carried_when import meets, occasion
from kits.services.text import not_carried_texts


def to_add(trip: Trip, kits: Iterable[Kit]) -> list[str]:
    """What has to be added to these kits for a trip, in words: their lists leave it out, and carry
    it on such a trip."""
    by_version = grouped((kit.list_version_id, kit.name) for kit in kits)
    rows = NotCarried.objects.filter(version__in=by_version).select_related("item", "need")
    is_such = occasion(
        trip.hazards, [trip.activity.key] if trip.activity else (), trip.hours_to_care
    )
    met = [
        row
        for row in rows
        if meets(is_such, occasion(row.hazards, row.activities, row.hours_to_care))
    ]
    names = dict(Activity.objects.values_list("key", "name")) if met else {}
    return [
        not_carried_texts.to_add(
            str(row),
            by_version[row.version_id],
            not_carried_texts.when(row.hazards, row.activities, row.hours_to_care, names),
        )
        for row in met
    ]
