"""Use: what was taken from a kit and used, against the trip it was out for. What was used in class
goes out of the kit as well, but is no need; what went with a casualty may come back.

A tap that does not say which batch takes the oldest in the kit and is marked as assumed. More
than is on record came in through *unexplained* and was used; the entry is marked for it.
No data about casualties is kept; an incident reference is enough.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from django.utils.translation import gettext as _, gettext_lazy as _lazy

from gearroom.core.acts import Act, Invalid
from kits.models import (
    Checkout,
    Entry,
    EntryKind,
    Holding,
    Item,
    Kit,
    Lot,
    Place,
    PlaceKind,
)
from kits.rules.custody.in_class import became
from kits.rules.custody.use import Went, may_come_back
from kits.rules.ledger import Kind, ReasonCode
from kits.rules.restocking.picking import first_out
from kits.services.custody.returns import Remarks, write_remarks
from kits.services.ledger import (
    Book,
    Leg,
    LooseLevel,
    kit_book,
    lots,
    outer,
    readiness,
    refuse_loose,
    room_place,
    write_levels,
)
from kits.services.lookup import find, last_checkout, reporters
from kits.services.text.amounts import units

WENT = {
    PlaceKind.USED: Went.USED,
    PlaceKind.CLASS: Went.IN_CLASS,
    PlaceKind.AWAY: Went.MAY_COME_BACK,
}
"""What became of units, by the kind of place that they went to."""

ITEM_OR_BATCH = _lazy("Specify the item (“item”) or the batch (“lot”) that was used.")


@dataclass(frozen=True)
class UseLine:
    """So many units of an item; `lot` where the batch is known, `section` where it was, `went`
    what became of them."""

    item: Item
    units: int
    lot: Lot | None = None
    section: Place | None = None
    went: Went = Went.USED


def line_of(
    kit: Kit,
    units: int,
    *,
    item: Item | None = None,
    lot: Lot | None = None,
    section: str = "",
    went: Went = Went.USED,
) -> UseLine:
    """Use as it was reported: of a batch or of an item, with a section's key or name if known.

    Raises Invalid where it names neither, or a batch of another item.
    """
    used = lot.item if lot else item
    if used is None:
        raise Invalid(str(ITEM_OR_BATCH), field="used")
    if item is not None and used != item:
        raise Invalid(
            _("This is a batch of %(batch)s, not of %(thing)s.")
            % {"batch": used.name, "thing": item.name},
            field="used",
        )
    return UseLine(used, units, lot, find.section(kit, section) if section else None, went)


@dataclass(frozen=True)
class UsedLine:
    """What was written: from where, which batch, and whether it was on record there."""

    item: Item
    lot: Lot
    section: Place
    units: int
    assumed: bool
    found: int = 0
    went: Went = Went.USED


@dataclass(frozen=True)
class UseResult:
    """One entry of use with what it wrote."""

    entry: Entry
    lines: Sequence[UsedLine] = field(default_factory=list)


def log_use(
    act: Act,
    kit: Kit,
    used: Sequence[UseLine],
    *,
    levels: Sequence[LooseLevel] = (),
    incident: str = "",
    remarks: Remarks = Remarks(),  # noqa: B008  # frozen
) -> UseResult:
    """Write what was used from a kit, against its open checkout or else its last one."""
    with kit_book(act, kit, *remarks.mixed_with) as (book, kit):
        reporters.require(act.actor, "log_use", kit)
        for other in remarks.mixed_with:
            reporters.require(act.actor, "withhold", other)
        checkout = last_checkout(kit)
        done = write(book, kit, used, levels=levels, checkout=checkout, incident=incident)
        write_remarks(book, kit, remarks, checkout)
    return done


def write(
    book: Book,
    kit: Kit,
    used: Sequence[UseLine],
    *,
    levels: Sequence[LooseLevel] = (),
    checkout: Checkout | None,
    incident: str = "",
) -> UseResult:
    """Write use into an open book. The kit is locked already.

    Use claimed before a later count of the kit takes nothing out of it, since the count found what
    was left: it comes from *unexplained*. What was used from a training kit was used in class.
    """
    emergency = checkout is not None and checkout.emergency
    used = [
        replace(each, went=became(each.went, training=kit.training, emergency=emergency))
        for each in used
    ]
    counted = _counted_since(book, kit)
    lines = _lines(kit, used, counted=counted)
    entry = book.post(
        EntryKind.USE,
        _legs(kit, lines, counted=counted),
        kit=kit,
        trip=checkout.trip if checkout else None,
        checkout=checkout,
        incident=incident,
        irregular=_broken(lines, counted=counted),
    )
    if not counted:
        write_levels(entry, levels)
    return UseResult(entry, lines)


def _lines(kit: Kit, used: Sequence[UseLine], *, counted: bool) -> list[UsedLine]:
    """From which holdings of a kit the used units come; the rest is not on record there."""
    sections = list(kit.sections.all())
    by_id = {section.pk: section for section in sections}
    held = {
        (row.place_id, row.lot_id): row
        for row in Holding.objects.on_hand().filter(place__in=sections).select_related("lot__item")
    }
    left = {where: row.units for where, row in held.items()}
    lines: list[UsedLine] = []
    for line in used:
        count = units(line.units, field="used")
        _refuse_wrong_line(line)
        assumed = line.lot is None
        for where in () if counted else _order(line, sections, held):
            if take := min(count, left[where]):
                left[where] -= take
                count -= take
                lot, place = held[where].lot, by_id[where[0]]
                lines.append(UsedLine(line.item, lot, place, take, assumed, went=line.went))
        if count:
            place = line.section or sections[0]
            lot = line.lot or _last_known_lot(line.item, sections)
            extra = 0 if counted else count
            lines.append(UsedLine(line.item, lot, place, count, assumed, extra, line.went))
    return lines


def _legs(kit: Kit, lines: Sequence[UsedLine], *, counted: bool) -> list[Leg]:
    """The movements of use: out of the kit, or out of *unexplained* where it was counted since."""
    unexplained = outer(PlaceKind.UNEXPLAINED)
    to = {went: _place(kit, went) for went in {line.went for line in lines}}
    extra = [
        Leg(line.lot, unexplained, line.section, line.found, assumed=line.assumed)
        for line in lines
        if line.found
    ]
    return extra + [
        Leg(
            line.lot,
            unexplained if counted else line.section,
            to[line.went],
            line.units,
            assumed=line.assumed,
        )
        for line in lines
    ]


def _refuse_wrong_line(line: UseLine) -> None:
    item = line.item
    refuse_loose(item, "used")
    if line.went is Went.MAY_COME_BACK and not may_come_back(Kind(item.kind), sterile=item.sterile):
        raise Invalid(
            _("%(item)s cannot be used again: record it as used.") % {"item": item.name},
            field="used",
        )


def _place(kit: Kit, went: Went) -> Place:
    """Where units go that are no longer in a kit."""
    if went is Went.MAY_COME_BACK:
        return room_place(kit.home_room, PlaceKind.AWAY)
    return outer(next(kind for kind, became in WENT.items() if became is went))


def _counted_since(book: Book, kit: Kit) -> bool:
    """Whether the kit was counted after the act is claimed to have happened."""
    return book.since_claim(kit).filter(kind=EntryKind.COUNT).exists()


def _broken(lines: Sequence[UsedLine], *, counted: bool) -> list[ReasonCode]:
    if counted:
        return [ReasonCode.COUNTED_SINCE]
    return [ReasonCode.USED_MORE] if any(line.found for line in lines) else []


def _order(
    line: UseLine, sections: Sequence[Place], held: dict[tuple[int, int], Holding]
) -> list[tuple[int, int]]:
    """The holdings a line takes from: the named batch, else what goes out of date first; the named
    section before the others."""
    rank = {p.pk: i for i, p in enumerate(sections)}
    wanted = [
        (where, h)
        for where, h in held.items()
        if (h.lot_id == line.lot.pk if line.lot else h.lot.item_id == line.item.pk)
    ]
    batches = readiness.batches(h.lot for _, h in wanted)
    wanted.sort(
        key=lambda pair: (
            line.section is not None and pair[0][0] != line.section.pk,
            first_out(batches[pair[0][1]], "")[:2],
            rank[pair[0][0]],
            pair[0][1],
        )
    )
    return [where for where, _ in wanted]


def _last_known_lot(item: Item, sections: Sequence[Place]) -> Lot:
    """The batch last known of an item in a kit; where there was none, one without a number."""
    last = (
        Lot.objects.filter(item=item, movements__to_place__in=sections)
        .order_by("-movements__id")
        .first()
    )
    return last or lots.known(item=item)
