"""Which items do in place of which."""

from collections import defaultdict
from collections.abc import Iterable

from kits.models import ItemNeed, Substitute


def stands_in(items: Iterable[int]) -> dict[int, dict[int, float]]:
    """For which others each of these items serves, with how many of its units for one of theirs:
    what the catalogue says can be used instead, and what serves the same need."""
    wanted = set(items)
    found: dict[int, dict[int, float]] = defaultdict(dict)
    by_need: dict[int, list[ItemNeed]] = defaultdict(list)
    for row in ItemNeed.objects.all():
        by_need[row.need_id].append(row)
    for rows in by_need.values():
        for own in rows:
            for other in rows:
                if own.item_id in wanted and own.item_id != other.item_id:
                    ratio = own.units_per_use / other.units_per_use
                    found[own.item_id].setdefault(other.item_id, ratio)
    for item, instead in Substitute.objects.filter(instead__in=wanted).values_list(
        "item_id", "instead_id"
    ):
        found[instead][item] = 1.0
    return found
