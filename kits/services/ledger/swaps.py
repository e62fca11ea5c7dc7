"""What lines of kit lists have replaced, by changes made to several lists at once.

From the version on in which a change put a new thing in place of an old one, the old counts for the
new thing's line in every version of that list, so that no kit is worse off for it.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import date

from kits.models import ListChangeVersion, PackingListVersion, What
from kits.rules.ledger.facts import Replaced

Swaps = dict[int, tuple[Replaced, ...]]
"""What was replaced, by the id of the thing that is there now."""


def of_versions(version_ids: Collection[int]) -> dict[int, Swaps]:
    """What each of these versions has replaced; those that have nothing are left out."""
    swapped = ListChangeVersion.objects.filter(
        change__what=What.SWAP, version__packing_list__versions__in=version_ids
    )
    changed = set(swapped.order_by().values_list("pk", flat=True))
    if not changed:
        return {}
    rows = list(
        ListChangeVersion.objects.filter(pk__in=changed)
        .select_related("change__item", "version")
        .prefetch_related("change__reviews")
        .order_by("id")
    )
    versions = PackingListVersion.objects.filter(pk__in=version_ids)
    return {
        pk: replaced
        for pk, of, number in versions.values_list("pk", "packing_list", "number")
        if (
            replaced := _replaced(
                row
                for row in rows
                if row.version.packing_list_id == of and row.version.number <= number
            )
        )
    }


def _replaced(rows: Iterable[ListChangeVersion]) -> Swaps:
    """What stands in for what, an old thing also for what replaced its replacement."""
    found: dict[int, dict[int, Replaced]] = defaultdict(dict)
    for row in rows:
        change, new = row.change, row.change.instead_id
        if new is None:
            continue
        until: date | None = None if change.withdrawn else change.by_day
        found[new] |= found[change.item_id]
        found[new][change.item_id] = Replaced(change.item_id, change.item.name, until)
    return {
        new: tuple(old for pk, old in replaced.items() if pk != new)
        for new, replaced in found.items()
    }
