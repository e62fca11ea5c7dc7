"""What kits' past trips wanted and did not have, each with why it was not there."""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from kits.models import ListLine
from kits.rules.planning.records import wants as rules
from kits.rules.planning.records.wants import Want
from kits.services.planning.records.history import PastTrip
from kits.services.planning.records.stand_ins import stands_in


def wants(trips: Sequence[PastTrip]) -> list[Want]:
    """Every want of these trips, in their order."""
    on_lists = _on_lists({trip.version for trip in trips if trip.unmet})
    return [
        rules.want(trip.checkout, item, words, on_lists.get(trip.version, frozenset()))
        for trip in trips
        for item, words in _noted(trip)
    ]


def _noted(trip: PastTrip) -> list[tuple[int | None, str]]:
    return [(item, "") for item in trip.unmet.elements()] + [(None, own) for own in trip.own_words]


def _on_lists(versions: Iterable[int]) -> dict[int, frozenset[int]]:
    """The items of each version, with those that others on it stand in for."""
    carried: dict[int, set[int]] = defaultdict(set)
    for version, item in ListLine.objects.filter(section__version__in=set(versions)).values_list(
        "section__version", "item"
    ):
        carried[version].add(item)
    instead = stands_in({item for items in carried.values() for item in items})
    return {
        version: frozenset(items.union(*(instead.get(item, {}) for item in items)))
        for version, items in carried.items()
    }
