"""Whether versions of lists have what the hazards that they serve ask for."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from gearroom.core.rules.grouping import grouped, summed
from kits.models import HazardNeed, ItemNeed, ListLine, Need, NotCarried, PackingListVersion
from kits.rules.ledger.facts import Gap
from kits.rules.lists import hazards_covered as rules
from kits.rules.lists.hazards_covered import Ask, Lacking
from kits.services.text import not_carried_texts


def lacking(versions: Iterable[PackingListVersion]) -> dict[int, list[Lacking]]:
    """What versions lack of what their hazards ask for, by version id: four queries."""
    by_id = {version.pk: version for version in versions}
    asks = [Ask(row.hazard, row.need_id, row.units, row.reason) for row in HazardNeed.objects.all()]
    serves = _items_of({ask.need for ask in asks})
    lines = ListLine.objects.filter(section__version__in=by_id)
    carried = grouped(
        (version, (item, units))
        for version, item, units in lines.values_list("section__version", "item", "carry")
    )
    left_out = _needs_not_carried(by_id, serves)
    return {
        pk: rules.lacking(version.hazards, asks, summed(carried[pk]), serves, left_out[pk])
        for pk, version in by_id.items()
    }


@dataclass(frozen=True)
class Served:
    """The hazards that a version serves truly, and by hazard what it lacks for the others that it
    is made for."""

    hazards: frozenset[str] = frozenset()
    gaps: Mapping[str, tuple[Gap, ...]] = field(default_factory=dict)


NOTHING_SERVED = Served()


def served(versions: Iterable[PackingListVersion]) -> dict[int, Served]:
    """What versions serve, by version id, those without hazards left out. A hazard is served where
    all that it asks for is carried, or a line of what is not carried says why not and the version
    is signed. A need that no item is said to serve yet binds nobody."""
    versions = [version for version in versions if version.hazards]
    if not versions:
        return {}
    bound = Need.objects.filter(items__isnull=False).in_bulk()
    short = lacking(versions)
    return {
        version.pk: _served(
            version,
            [
                Lacking(each.ask, each.carried, each.explained and version.signed_by_id is not None)
                for each in short[version.pk]
                if each.ask.need in bound
            ],
            bound,
        )
        for version in versions
    }


def _served(
    version: PackingListVersion, short: Sequence[Lacking], needs: Mapping[int, Need]
) -> Served:
    gaps = grouped(
        (each.ask.hazard, Gap(needs[each.ask.need].name, each.carried))
        for each in short
        if not each.explained
    )
    return Served(
        rules.covered(version.hazards, short),
        {hazard: tuple(rows) for hazard, rows in gaps.items()},
    )


@dataclass(frozen=True)
class LackingNeed:
    """What a list lacks of what one of its hazards asks for, in words, with the hazard's reason;
    `explained` where a line of the list says why it is not carried."""

    need: Need
    says: str
    reason: str
    explained: bool


def lacking_needs(version: PackingListVersion) -> list[LackingNeed]:
    """What a version, a draft too, lacks of what its hazards ask for, in words. A need that no item
    is said to serve yet asks nothing."""
    if not version.hazards:
        return []
    bound = Need.objects.filter(items__isnull=False).in_bulk()
    return [
        LackingNeed(
            need := bound[each.ask.need],
            not_carried_texts.lacking(each.ask.hazard, need.name, each.ask.units, each.carried),
            each.ask.reason,
            each.explained,
        )
        for each in lacking([version])[version.pk]
        if each.ask.need in bound
    ]


def _items_of(needs: Iterable[int]) -> dict[int, frozenset[int]]:
    """The items that serve each need."""
    rows = ItemNeed.objects.filter(need__in=needs).values_list("need", "item")
    return {need: frozenset(items) for need, items in grouped(rows).items()}


def _needs_not_carried(
    versions: Iterable[int], serves: Mapping[int, frozenset[int]]
) -> Mapping[int, frozenset[int]]:
    """The needs that each version leaves out with a reason: by the need, or by an item for it."""
    found: dict[int, set[int]] = defaultdict(set)
    for version, item, need in NotCarried.objects.filter(version__in=versions).values_list(
        "version", "item", "need"
    ):
        found[version] |= {need} if need else {n for n, items in serves.items() if item in items}
    return defaultdict(frozenset, {version: frozenset(needs) for version, needs in found.items()})
