"""How far a change to several lists is: which kits have it, which still have what was replaced."""

import enum
from collections.abc import Sequence
from dataclasses import dataclass

from gearroom.core.acts import Actor
from gearroom.core.rules.grouping import grouped
from kits.models import Kit, ListChange, ListLine, PackingListVersion, What
from kits.rules.ledger.facts import KitState
from kits.rules.ledger.kit_contents import has_new, old_stock
from kits.services.ledger import readiness
from kits.services.lookup import find


class Stand(enum.StrEnum):
    """How a kit stands to a change."""

    DONE = "done"
    STILL_OLD = "still-old"
    LACKS_NEW = "lacks-new"
    OTHER_VERSION = "other-version"
    NOT_PUBLISHED = "not-published"


@dataclass(frozen=True)
class KitProgress:
    """A kit that a change concerns, and the number of its list's version with the change."""

    kit: Kit
    stand: Stand
    number: int


@dataclass(frozen=True)
class Followed:
    """A change with the kits that somebody sees and that it concerns."""

    change: ListChange
    kits: Sequence[KitProgress]

    @property
    def done(self) -> int:
        """How many of the kits have it."""
        return sum(each.stand is Stand.DONE for each in self.kits)


def followed(who: Actor, changes: Sequence[ListChange]) -> list[Followed]:
    """Changes with how far they are, for somebody."""
    kits = progress(who, changes)
    return [Followed(change, kits[change.pk]) for change in changes]


def progress(who: Actor, changes: Sequence[ListChange]) -> dict[int, list[KitProgress]]:
    """The kits that somebody sees and that each of these changes (with its versions) concerns, by
    the change's id. Training kits are left out; the number of queries does not grow with either."""
    made = {
        change.pk: {row.version.packing_list_id: row.version for row in change.versions.all()}
        for change in changes
    }
    lists = {of for versions in made.values() for of in versions}
    kits = list(
        find.kits_of(who)
        .active()
        .filter(list_version__packing_list__in=lists, training=False)
        .select_related("list_version__packing_list", "home_room")
        .order_by("name")
    )
    states = readiness.states([kit.pk for kit in kits]) if kits else {}
    return {
        change.pk: [
            KitProgress(kit, _stand(change, kit, states[kit.pk], version), version.number)
            for kit in kits
            if (version := made[change.pk].get(kit.list_version.packing_list_id)) is not None
        ]
        for change in changes
    }


def _stand(change: ListChange, kit: Kit, state: KitState, version: PackingListVersion) -> Stand:
    if version.published_at is None:
        return Stand.NOT_PUBLISHED
    if kit.list_version.number < version.number:
        return Stand.OTHER_VERSION
    item = change.item_id
    if change.what == What.REMOVE:
        inside = any(x.batch.thing.id == item and x.count for x in state.units)
        return Stand.STILL_OLD if inside else Stand.DONE
    if any(each.old.id == item for each in old_stock(state)):
        return Stand.STILL_OLD
    lines = [
        line
        for line in state.lines
        if line.thing.id == item or any(old.id == item for old in line.replaces)
    ]
    return Stand.DONE if all(has_new(state, line) for line in lines) else Stand.LACKS_NEW


def drafts_with(change: ListChange) -> list[PackingListVersion]:
    """The drafts in which a change (with its versions) still stands."""
    open_now = [row.version for row in change.versions.all() if row.version.published_at is None]
    lines = grouped(
        (line.section.version_id, line)
        for line in ListLine.objects.filter(section__version__in=open_now).select_related("section")
    )
    return [each for each in open_now if _stands_in(change, lines.get(each.pk, ()))]


def _stands_in(change: ListChange, lines: Sequence[ListLine]) -> bool:
    item = change.instead_id or change.item_id
    of_item = [line for line in lines if line.item_id == item]
    if change.what == What.REMOVE:
        return not of_item
    if change.what == What.AMOUNT:
        amount = (change.carry, change.never_below)
        return any((line.carry, line.never_below) == amount for line in of_item)
    return bool(of_item)
