"""What items are for: the needs that they serve."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid
from kits.models import Item, ItemNeed, Need
from kits.rules.planning.units_per_use import MOST_UNITS


@dataclass(frozen=True)
class Serving:
    """A need that an item serves: as the best there is or instead of it, so many units a use."""

    need: Need
    best: bool = True
    units_per_use: int = 1


def serve(act: Act, item: Item, servings: Sequence[Serving]) -> None:
    """Let an item serve these needs and no others. Raises Invalid."""
    act.actor.require("edit_item")
    needs = [each.need.pk for each in servings]
    if len(set(needs)) < len(needs):
        raise Invalid(_("An item serves each need once."), field="needs")
    if not all(1 <= each.units_per_use <= MOST_UNITS for each in servings):
        raise Invalid(
            _("A use takes 1 to %(most)d units.") % {"most": MOST_UNITS}, field="units_per_use"
        )
    with transaction.atomic():
        item.needs.exclude(need__in=needs).delete()
        for each in servings:
            ItemNeed.objects.update_or_create(
                item=item,
                need=each.need,
                defaults={"best": each.best, "units_per_use": each.units_per_use},
            )
