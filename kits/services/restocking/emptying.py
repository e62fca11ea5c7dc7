"""A kit emptied, a line at a time: onto a shelf, for training, sold, given away, disposed of. Then
it can be retired.

What is sold or given away leaves for a place of its own: it is neither used nor wasted.
"""

import enum
from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, Refused
from kits.models import Disposal, Entry, EntryKind, Holding, Kit, Lot, Place, PlaceKind
from kits.rules.ledger.expiry import why_not
from kits.services.kits import kits
from kits.services.ledger import (
    Leg,
    LooseLevel,
    admission,
    kit_book,
    lots,
    outer,
    readiness,
    room_place,
    write_levels,
)
from kits.services.lookup.holders import refuse_if_out
from kits.services.restocking import sorting
from kits.services.stock import disposing, moving, receiving
from kits.services.text.amounts import units as whole


class Destination(enum.StrEnum):
    """Where what was in a kit goes."""

    SHELF = "shelf"
    TRAINING = "training"
    SOLD = "sold"
    GIVEN = "given"
    DISPOSE = "dispose"


@dataclass(frozen=True)
class EmptyLine:
    """Units of a batch out of a section. `shelf` is where they are put; `disposal` how they are
    disposed of, their own way unless given; `reason` why they go there."""

    section: Place
    lot: Lot
    units: int
    way: Destination
    reason: str = ""
    shelf: Place | None = None
    disposal: Disposal | None = None


@dataclass(frozen=True)
class EmptyResult:
    """The entry, where each line went, and how many units are still inside."""

    entry: Entry
    went: Sequence[sorting.Placed]
    left: int


def empty(
    act: Act, kit: Kit, lines: Sequence[EmptyLine], *, levels: Sequence[LooseLevel] = ()
) -> EmptyResult:
    """Take lines out of a kit for good. `levels` say what is left of loose items.

    What is recalled, kept back or out of date goes to quarantine in place of a shelf, and is
    neither sold nor given away. A reason is wanted for what is sold or given, and for good units
    that are disposed of. Raises Invalid, Refused: `kit-is-out`, `keep-as-it-came-back`,
    `not-enough`, `training-never-back`, `wrong-bin`, the codes of `guard`.
    """
    with kit_book(act, kit, here="strip") as (book, kit):
        refuse_if_out(kit)
        sorting.refuse_if_kept_as_it_came(kit)
        if not lines and not levels:
            raise Invalid(_("Enter what is being removed, and where it is going."), field="lines")
        now = {lot.pk: lot for lot in lots.held_still(line.lot.pk for line in lines)}
        lines = [replace(line, lot=now[line.lot.pk]) for line in lines]
        went = [
            sorting.Placed(line.lot, _goes_to(act, kit, line), whole(line.units)) for line in lines
        ]
        entry = book.post(
            EntryKind.EMPTY,
            [
                Leg(lot, line.section, place, units)
                for line, (lot, place, units) in zip(lines, went, strict=True)
            ],
            kit=kit,
            reason=act.reason
            or ", ".join(dict.fromkeys(x.reason for x in lines if x.reason))[:500],
            detail={
                "lines": [
                    {"lot": x.lot.pk, "units": x.units, "way": x.way, "reason": x.reason}
                    for x in lines
                ]
            },
        )
        book.break_seals(entry, [level.section for level in levels])
        write_levels(entry, levels)
        kits.close_gone_sections(kit)
    return EmptyResult(entry, went, sum(row.units for row in inside(kit)))


def inside(kit: Kit) -> list[Holding]:
    """What is in a kit, section by section."""
    return list(
        Holding.objects.on_hand()
        .filter(place__kit=kit)
        .select_related("lot__item", "place")
        .order_by("place__position", "place", "lot__item__name", "lot__expiry", "lot")
    )


def _goes_to(act: Act, kit: Kit, line: EmptyLine) -> Place:
    if line.section.kit_id != kit.pk:
        raise Invalid(
            _("%(section)s is not a section of %(kit)s.")
            % {"section": line.section.name, "kit": kit.name},
            field="lines",
        )
    place = place_out_of(kit, line.lot, line.way, line.shelf, line.disposal, "lines")
    if line.way is Destination.SHELF and kit.training:
        raise moving.training_never_back()
    if line.way in (Destination.SHELF, Destination.TRAINING):
        return place
    batch, to_others = admission.batch_of(line.lot), line.way is not Destination.DISPOSE
    fault = why_not(batch, readiness.today_of(kit))
    if to_others and fault in admission.TO_QUARANTINE:
        raise Refused(admission.CODES[fault], admission.sentence(batch, fault), lot=line.lot.pk)
    if (to_others or fault is None) and not (line.reason or act.reason):
        raise Invalid(
            _(
                "Enter who is taking this over, or why you are letting it go. From then on, "
                "somebody else is responsible for it."
            )
            if to_others
            else _("These units are still good: enter the reason for disposing of them."),
            field="reason",
        )
    return place


def place_out_of(
    kit: Kit,
    lot: Lot,
    to: Destination,
    shelf: Place | None,
    disposal: Disposal | None,
    field: str,
) -> Place:
    """Where units of a batch go out of a kit; what must not be used goes to quarantine in place of
    a shelf. Raises Invalid, which names `field`, Refused (`wrong-bin`,
    `not-for-class`)."""
    match to:
        case Destination.SHELF:
            return admission.landing(lot, receiving.shelf_for(kit, shelf, lot.item, field))[0]
        case Destination.TRAINING:
            if not lot.item.for_class:
                raise moving.not_for_class(lot.item)
            return admission.landing(lot, room_place(kit.room, PlaceKind.TRAINING))[0]
        case Destination.DISPOSE:
            way = disposal or disposing.disposal_of(lot.item)
            disposing.check_disposal(lot.item, way)
            return outer(PlaceKind(way))
        case Destination.SOLD | Destination.GIVEN:
            return outer(PlaceKind(to))
