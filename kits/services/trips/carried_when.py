"""What lists leave out and a trip wants all the same: said before its kits go, until it is in."""

from collections.abc import Callable, Iterable

from gearroom.core.rules.grouping import grouped
from kits.models import Holding, Kit, NotCarried, Trip
from kits.rules.lists.carried_when import meets, occasion
from kits.services.lists.not_carried import activity_names
from kits.services.text.planning import not_carried_texts


def to_add(trip: Trip, kits: Iterable[Kit]) -> list[str]:
    """What has to be added to these kits for a trip, in words: their lists leave it out and carry
    it on such a trip, and it is not in them."""
    by_version = grouped((kit.list_version_id, kit) for kit in kits)
    rows = NotCarried.objects.filter(version__in=by_version).select_related("item", "need")
    is_such = occasion(
        trip.hazards, [trip.activity.key] if trip.activity else (), trip.hours_to_care
    )
    met = [
        row
        for row in rows
        if meets(is_such, occasion(row.hazards, row.activities, row.hours_to_care))
    ]
    if not met:
        return []
    names, has = activity_names(), _in_kits(kit.pk for rows in by_version.values() for kit in rows)
    without = [
        (row, [k.name for k in by_version[row.version_id] if not has(k, row)]) for row in met
    ]
    return [
        not_carried_texts.to_add(
            row.item.name if row.item else not_carried_texts.something_for(str(row.need)),
            kit_names,
            not_carried_texts.when(row.hazards, row.activities, row.hours_to_care, names),
        )
        for row, kit_names in without
        if kit_names
    ]


def _in_kits(kits: Iterable[int]) -> Callable[[Kit, NotCarried], bool]:
    """Whether one of these kits has any of what a line leaves out: the item, or one that is best
    for the need. What merely will do for it is often why it is left out."""
    held = Holding.objects.on_hand().filter(place__kit__in=kits)
    items = set(held.values_list("place__kit", "lot__item"))
    best = held.filter(lot__item__needs__best=True)
    needs = set(best.values_list("place__kit", "lot__item__needs__need"))
    return lambda kit, row: (kit.pk, row.item_id) in items or (kit.pk, row.need_id) in needs
