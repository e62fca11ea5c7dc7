"""Whether versions of lists have what the hazards that they serve ask for."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from gearroom.core.rules.grouping import grouped, summed
from kits.models import HazardNeed, ItemNeed, ListLine, Need, NotCarried, PackingListVersion
from kits.rules.ledger.facts import Gap
from kits.rules.lists import hazards_covered as rules
from kits.rules.lists.hazards_covered import Ask, Lacking
from kits.services.text.planning import not_carried_texts


def _lacking(
    versions: Iterable[PackingListVersion],
) -> tuple[dict[int, list[Lacking]], dict[int, Need]]:
    """What versions lack of what their hazards ask for, by version id, and the needs that are asked
    for: four queries. A need that no item is said to serve yet asks nothing."""
    by_id = {version.pk: version for version in versions if version.hazards}
    asking = HazardNeed.objects.filter(
        hazard__in={hazard for version in by_id.values() for hazard in version.hazards}
    )
    rows = list(asking.select_related("need").order_by("hazard", "need__group", "need__name"))
    needs = {row.need_id: row.need for row in rows}
    serves = _items_of(needs)
    asks = [
        Ask(row.hazard, row.need_id, row.units, row.reason) for row in rows if row.need_id in serves
    ]
    lines = ListLine.objects.filter(section__version__in=by_id).order_by()
    carried = grouped(
        (version, (item, units))
        for version, item, units in lines.values_list("section__version", "item", "carry")
    )
    left_out = _needs_not_carried(by_id, serves)
    return {
        pk: rules.lacking(version.hazards, asks, summed(carried[pk]), serves, left_out[pk])
        for pk, version in by_id.items()
    }, needs


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
    is signed."""
    by_id = {version.pk: version for version in versions if version.hazards}
    if not by_id:
        return {}
    short, needs = _lacking(by_id.values())
    return {
        pk: _served(
            version,
            [
                Lacking(each.ask, each.carried, each.explained and version.signed_by_id is not None)
                for each in short[pk]
            ],
            needs,
        )
        for pk, version in by_id.items()
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
    """What a version, a draft too, lacks of what its hazards ask for, in words."""
    short, needs = _lacking([version])
    return [
        LackingNeed(
            need := needs[each.ask.need],
            not_carried_texts.lacking(each.ask.hazard, need.name, each.ask.units, each.carried),
            each.ask.reason,
            each.explained,
        )
        for each in short.get(version.pk, ())
    ]


def _items_of(needs: Iterable[int]) -> dict[int, frozenset[int]]:
    """The items that serve each need."""
    rows = ItemNeed.objects.filter(need__in=needs).order_by().values_list("need", "item")
    return {need: frozenset(items) for need, items in grouped(rows).items()}


def _needs_not_carried(
    versions: Iterable[int], serves: Mapping[int, frozenset[int]]
) -> Mapping[int, frozenset[int]]:
    """The needs that each version leaves out with a reason: by the need, or by an item for it."""
    found: dict[int, set[int]] = defaultdict(set)
    rows = NotCarried.objects.filter(version__in=versions).order_by()
    for version, item, need in rows.values_list("version", "item", "need"):
        found[version] |= {need} if need else {n for n, items in serves.items() if item in items}
    return defaultdict(frozenset, {version: frozenset(needs) for version, needs in found.items()})
