"""What is left of loose items, which are judged by eye and not counted: full, low or empty."""

from collections.abc import Iterable
from typing import NamedTuple

from django.utils.translation import gettext as _

from gearroom.core.acts import Invalid
from kits.models import Entry, Item, LevelFact, Place
from kits.rules.ledger.facts import Level


class LooseLevel(NamedTuple):
    """How much of a loose item is left in a section."""

    section: Place
    item: Item
    level: Level


def write_levels(entry: Entry, levels: Iterable[LooseLevel]) -> None:
    """Write levels as an act reports them."""
    LevelFact.objects.bulk_create(
        LevelFact(section=each.section, item=each.item, entry=entry, level=each.level)
        for each in levels
    )


def refuse_loose(item: Item, field: str) -> None:
    """Raise Invalid, which names `field`, where units of an item are not counted."""
    if item.by_eye:
        raise Invalid(
            _("%(item)s is loose (not counted): choose full, low or empty instead of a number.")
            % {"item": item.name},
            field=field,
        )
