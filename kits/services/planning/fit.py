"""Whether what a list carries fits the bag of a kit, pouch by pouch and whole, and what it weighs.

What lies outside the bag is carried, so that its mass counts, and takes no room in it. Volumes of
items are used where they are known and never asked for.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Prefetch, prefetch_related_objects

from kits.models import Closing, Item, Kit, ListLine, PackingListVersion
from kits.rules.planning import fit as rules
from kits.rules.planning.fit import Bulk, Capacity, Fits, Part, Tried
from kits.services.lists.drafts import Draft

WHOLE = ""
"""The key of the whole bag, among those of its sections."""


@dataclass(frozen=True)
class Move:
    """Units of an item that have to be moved or made smaller."""

    item: Item
    units: int
    volume_ml: int


@dataclass(frozen=True)
class BagFit:
    """Whether what goes into a bag or one of its sections fits: what it comes to, what the bag is
    thought to take, what that means, and what to move or make smaller. `closed` is what was said of
    it last, None where nobody said."""

    key: str
    name: str
    outside: bool
    bulk: Bulk
    takes: Capacity
    fits: Fits
    move: Sequence[Move]
    closed: bool | None


@dataclass(frozen=True)
class Weighed:
    """What a kit weighed on a scale (g), and when."""

    mass_g: int
    at: datetime


@dataclass(frozen=True)
class Fit:
    """Whether a list's contents fit a kit's bag; `kit` None: no bag is known of.

    `carried` counts what lies outside the bag too; `weighed` is with what was in it that day.
    """

    kit: Kit | None
    whole: BagFit
    sections: Sequence[BagFit]
    carried: Bulk
    volume_unknown: Sequence[Item]
    mass_unknown: Sequence[Item]
    weighed: Weighed | None
    mass_limit_g: int | None

    @property
    def too_heavy(self) -> bool:
        """Whether what is known alone weighs more than the bag may."""
        return self.mass_limit_g is not None and self.carried.mass_g > self.mass_limit_g

    @property
    def tightest(self) -> BagFit:
        """The bag or section of which the worst has to be said; the whole before its sections."""
        return min((self.whole, *self.sections), key=lambda bag: _WORST_FIRST.index(bag.fits))


@dataclass(frozen=True)
class _Packed:
    """A section with how many of which items are packed in it."""

    key: str
    name: str
    outside: bool
    carried: Sequence[tuple[Item, int]]

    @property
    def parts(self) -> list[Part]:
        """What is packed. Of what is loose there is one, whatever its line says."""
        return [
            Part(item.pk, 1 if item.by_eye else units, item.volume_ml, item.mass_g)
            for item, units in self.carried
        ]


_WORST_FIRST = (
    Fits.WILL_NOT_CLOSE,
    Fits.TIGHT,
    Fits.NOT_KNOWN,
    Fits.EXPECTED,
    Fits.CLOSED_BEFORE,
)


def of_kit(kit: Kit) -> Fit:
    """Whether what its list carries fits a kit's bag."""
    return of_version(kit.list_version, [kit])[0]


def of_version(version: PackingListVersion, kits: Iterable[Kit] = ()) -> list[Fit]:
    """Whether what a version carries fits the bags of these kits, the tightest first; one answer
    without a bag where there are none. Three queries at most."""
    sections = list(version.sections.all())
    prefetch_related_objects(sections, Prefetch("lines", ListLine.objects.select_related("item")))
    return _fits(
        [
            _Packed(
                section.key,
                section.name,
                section.outside,
                [(line.item, line.carry) for line in section.lines.all()],
            )
            for section in sections
        ],
        kits,
    )


def of_draft(draft: Draft, kits: Iterable[Kit] = ()) -> list[Fit]:
    """The same of a draft that nobody has saved. A section without a key is a new one."""
    return _fits(
        [
            _Packed(
                section.key or section.name,
                section.name,
                section.outside,
                [(line.item, line.carry) for line in section.lines],
            )
            for section in draft.sections
        ],
        kits,
    )


def _fits(packed: Sequence[_Packed], kits: Iterable[Kit]) -> list[Fit]:
    bags: list[Kit | None] = [*kits]
    known = _closings([kit for kit in bags if kit])
    fits = [_fit(kit, packed, known[kit.pk if kit else None]) for kit in bags or [None]]
    return sorted(fits, key=lambda fit: _WORST_FIRST.index(fit.tightest.fits))


def _closings(kits: Sequence[Kit]) -> Mapping[int | None, list[Closing]]:
    """What was said of kits when they were sealed, oldest first; not of what was undone."""
    by_kit: dict[int | None, list[Closing]] = defaultdict(list)
    if kits:
        rows = Closing.objects.filter(kit__in=kits, entry__reversed_by__isnull=True)
        for row in rows.select_related("section", "entry").order_by("id"):
            by_kit[row.kit_id].append(row)
    return by_kit


def _fit(kit: Kit | None, packed: Sequence[_Packed], closings: Sequence[Closing]) -> Fit:
    items = {item.pk: item for each in packed for item, _ in each.carried}
    inside = [part for each in packed if not each.outside for part in each.parts]
    carried = rules.bulk([part for each in packed for part in each.parts])
    weights = [row for row in closings if row.mass_g is not None and row.section_id is None]
    weighed = weights[-1] if weights else None
    return Fit(
        kit=kit,
        whole=_bag(
            (WHOLE, kit.bag if kit else "", False),
            inside, items, closings, kit.bag_volume_ml if kit else None,
        ),
        sections=[
            _bag((each.key, each.name, each.outside), each.parts, items, closings)
            for each in packed
        ],
        carried=carried,
        volume_unknown=_named(rules.bulk(inside).volume_unknown, items),
        mass_unknown=_named(carried.mass_unknown, items),
        weighed=Weighed(weighed.mass_g or 0, weighed.entry.occurred_at) if weighed else None,
        mass_limit_g=kit.bag_mass_limit_g if kit else None,
    )  # fmt: skip


def _bag(
    which: tuple[str, str, bool],
    parts: Sequence[Part],
    items: Mapping[int, Item],
    closings: Sequence[Closing],
    volume_ml: int | None = None,
) -> BagFit:
    key, name, outside = which
    said = [
        row
        for row in closings
        if row.closed is not None and (row.section.section_key if row.section else WHOLE) == key
    ]
    takes = rules.capacity(volume_ml, [Tried(row.volume_ml or 0, bool(row.closed)) for row in said])
    whole = rules.bulk(parts)
    fits = rules.fits(whole.volume_ml, takes, all_known=not whole.volume_unknown)
    return BagFit(
        key=key,
        name=name,
        outside=outside,
        bulk=whole,
        takes=takes,
        fits=fits,
        move=[
            Move(items[part.item], part.units, part.units * (part.volume_ml or 0))
            for part in rules.to_move(parts, takes)
        ],
        closed=said[-1].closed if said else None,
    )


def _named(pks: Iterable[int], items: Mapping[int, Item]) -> list[Item]:
    return sorted((items[pk] for pk in pks), key=lambda item: item.name)
