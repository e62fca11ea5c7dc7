"""What was probably used from a kit: the items that kits of its list were used for most."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import timedelta

from django.db.models import Sum

from gearroom.core import clock
from gearroom.core.rules.grouping import grouped, summed
from kits.models import Holding, Item, Kit, ListLine, Movement, PlaceKind
from kits.rules.custody.use import may_come_back
from kits.rules.ledger.facts import Kind

MOST_FIRST = 8
_LOOK_BACK = timedelta(days=730)


@dataclass(frozen=True)
class Pouch:
    """One section of a kit: what is counted in it, and what is loose."""

    key: str
    name: str
    counted: Sequence[Item]
    by_eye: Sequence[Item]


@dataclass(frozen=True)
class UseSuggestions:
    """The items used most, likeliest first, then all others by pouch in the list's order.
    `lasting` are those of them that may come back after they went with a casualty; `on_record`:
    how many units of each item (id) are inside."""

    first: Sequence[Item]
    pouches: Sequence[Pouch]
    lasting: Sequence[Item] = ()
    on_record: Mapping[int, int] = field(default_factory=dict)


def suggest(kit: Kit) -> UseSuggestions:
    """What to offer for choosing what was used: at most eight items first, counted over
    two years of all kits that follow the same list."""
    lines = list(
        ListLine.objects.filter(section__version=kit.list_version_id)
        .select_related("item", "section")
        .order_by("section__position", "section", "position", "id")
    )
    counted = {line.item_id: line.item for line in lines if not line.item.by_eye}
    rows = (
        Movement.objects.filter(
            to_place__kind=PlaceKind.USED,
            lot__item__in=counted,
            entry__kit__list_version__packing_list=kit.list_version.packing_list_id,
            entry__occurred_at__gte=clock.now() - _LOOK_BACK,
        )
        .values_list("lot__item")
        .annotate(total=Sum("units"))
        .order_by("-total", "lot__item")
    )
    used = [item for item, _ in rows]
    first = [counted[item] for item in (used + [i for i in counted if i not in used])]
    first = first[:MOST_FIRST]
    offered = {item.pk for item in first}
    # Each item once, where it comes first.
    rest = set({x.item_id: x.pk for x in reversed(lines) if x.item_id not in offered}.values())
    pouches = [
        Pouch(
            section.key,
            section.name,
            [line.item for line in of_it if line.pk in rest and not line.item.by_eye],
            [line.item for line in of_it if line.item.by_eye],
        )
        for section, of_it in grouped((line.section, line) for line in lines).items()
    ]
    return UseSuggestions(
        first,
        [pouch for pouch in pouches if pouch.counted or pouch.by_eye],
        [i for i in counted.values() if may_come_back(Kind(i.kind), sterile=i.sterile)],
        summed(Holding.objects.on_hand().filter(place__kit=kit).values_list("lot__item", "units")),
    )
