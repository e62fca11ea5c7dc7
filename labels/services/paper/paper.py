"""What is printed of the book: labels on sheets, kit tags, lid cards, sign-out sheets.

Loads rows and makes of them what the printer takes. `names_room`: whether it says which gear room,
which nobody needs who works alone.
"""

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, NotFound, Refused, TooLarge
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import Kit, Label, LabelKind, ListLine, Seal
from kits.rules.ledger.expiry import good_through
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from kits.services.ledger import readiness
from kits.services.lookup import find
from labels import printing
from labels.rules.codes.texts import Expiry
from labels.rules.layout import Offset, Order, Sheet, cards, contents
from labels.services.paper.printer import job, pdf_of, printable
from labels.services.paper.sheets import StoredSheet

MOST_PRINTED = 2000
"""Labels in one file, copies counted."""


# ------------------------------------------------------------------------------------------ labels
def to_print(label: Label, *, names_room: bool = True) -> contents.Label:
    """A label as the printer takes it. It comes with what it is on."""
    match LabelKind(label.kind):
        case LabelKind.KIT if label.kit is not None:
            kit = label.kit
            room = kit.home_room.name if names_room else ""
            return contents.KitLabel(label.code, kit.name, room, kit.training)
        case LabelKind.SECTION if label.place is not None:
            of = label.place.kit
            return contents.SectionLabel(
                label.code, label.place.name, of.name if of else "", of is not None and of.training
            )
        case LabelKind.SHELF if label.place is not None:
            shelf = label.place
            room = shelf.room.name if names_room and shelf.room else ""
            return contents.ShelfLabel(label.code, shelf.name, room)
        case LabelKind.LOT if label.lot is not None:
            lot = label.lot
            needed = lot.item.needs_date
            number = lot.number or lot.serial
            until = good_through(readiness.batches([lot])[lot.pk])
            return contents.LotLabel(label.code, lot.item.name, number, Expiry(until, needed))
        case LabelKind.PERSON if label.person is not None:
            return contents.PersonTag(label.code, label.person.name)
    return contents.BlankLabel(label.code)


def labels_of_codes(actor: Actor, wanted: Sequence[str]) -> list[Label]:
    """Labels of the asker's rooms by their codes, in that order. Raises NotFound, and Refused
    (`label-cancelled`)."""
    parsed = [label_codes.parse(code) or code for code in wanted]
    rows = {row.code: row for row in labelling.labels_of(actor).filter(code__in=parsed)}
    labels = []
    for code in parsed:
        if (row := rows.get(code)) is None:
            raise NotFound("label", code)
        if row.cancelled_at is not None:
            raise Refused(
                "label-cancelled",
                _(
                    "The label %(code)s has been cancelled. Leave it out, or print its "
                    "replacement instead."
                )
                % {"code": label_codes.shown(code)},
                label=label_codes.shown(code),
            )
        labels.append(row)
    return labels


def print_sheet(
    act: Act,
    labels: Sequence[Label],
    on: StoredSheet,
    *,
    start_cell: int = 1,
    copies: int = 1,
    order: Order = "as-given",
    offset: Offset | None = None,
    preview: bool = False,
    names_room: bool = True,
) -> bytes:
    """Labels on a sheet, as PDF; every symbol read back. Notes that they were printed.

    Raises TooLarge over `MOST_PRINTED`, Invalid for a cell that is not on the sheet, Unacceptable
    (`label-too-small`) with the size that would do, Refused (`public-address-missing`,
    `read-back-failed`).
    """
    act.actor.require("print_labels")
    if len(labels) * copies > MOST_PRINTED:
        raise TooLarge(
            "too-large",
            _("Print no more than %(most)d labels at a time.") % {"most": MOST_PRINTED},
            limit=MOST_PRINTED,
        )
    pdf = pdf_of(
        lambda out: printing.sheet_pdf(
            on.sheet,
            [to_print(label, names_room=names_room) for label in labels],
            out=out,
            job=job(preview=preview),
            start_cell=start_cell,
            copies=copies,
            order=order,
            offset=offset or on.offset,
        )
    )
    if not preview:
        labelling.stamp_printed(labels)
    return pdf


def picture(
    label: Label,
    *,
    form: str,
    dpi: int,
    on: Sheet,
    preview: bool = False,
    names_room: bool = True,
) -> bytes:
    """One label as `png` (at 203, 300 or 600 dpi) or `svg`. Raises what `print_sheet` does."""
    of = to_print(label, names_room=names_room)
    with printable():
        if form == "svg":
            return printing.label_svg(of, on, job=job(preview=preview)).encode()
        return printing.label_png(of, on, job=job(preview=preview), dpi=dpi)


def test_page(on: StoredSheet, offset: Offset | None = None) -> bytes:
    """The page that shows how far a printer is off, as PDF."""
    return pdf_of(
        lambda out: printing.calibration_page_pdf(
            on.sheet, out=out, job=job(preview=True), offset=offset or on.offset
        )
    )


# ---------------------------------------------------------------------------------- kits and rooms
def kit_tag(kit: Kit, on: Sheet, *, preview: bool = False) -> bytes:
    """The tag that hangs on a sealed kit, as PDF: the first expiry, the seal, by whom.

    Raises Refused (`not-sealed`, `no-label`).
    """
    seal = (
        Seal.objects.select_related("put_on__person")
        .unbroken()
        .filter(kit=kit, section__isnull=True)
        .first()
    )
    if seal is None:
        raise Refused(
            "not-sealed",
            _("%(kit)s has no seal on record. Reseal the kit, then print its tag.")
            % {"kit": kit.name},
        )
    tag = contents.KitTag(
        code=_code_of(kit),
        name=kit.name,
        first_expiry=kit.first_expiry,
        seal=seal.number,
        sealed_by=seal.put_on.person.name if seal.put_on.person else "",
        training=kit.training,
    )
    return pdf_of(lambda out: printing.sheet_pdf(on, [tag], out=out, job=job(preview=preview)))


def lid_card(
    actor: Actor,
    kit: Kit,
    size: printing.CardFormat,
    *,
    preview: bool = False,
    names_room: bool = True,
) -> bytes:
    """The card for a kit's lid, as PDF: what its kit list asks for, pouch by pouch; and who answers
    for it, where that is of a room of theirs.

    Raises Refused (`no-label`), Unacceptable (`card-too-long`).
    """
    lines = ListLine.objects.filter(section__version=kit.list_version_id).select_related(
        "section", "item"
    )
    pouches = grouped(
        (
            line.section.name,
            cards.CardItem(line.item.name, None if line.item.by_eye else line.carry),
        )
        for line in lines.order_by("section__position", "section", "position", "id")
    )
    published = kit.list_version.published_at
    card = cards.LidCard(
        code=_code_of(kit),
        kit=kit.name,
        room=kit.home_room.name if names_room else "",
        responsible=_name_and_phone(kit.responsible if find.knows_kit(actor, kit) else None),
        deputy=_name_and_phone(kit.deputy if find.knows_kit(actor, kit) else None),
        kit_list=kit.list_version.packing_list.name,
        version=kit.list_version.number,
        published=published and clock.local_date(published, kit.home_room.time_zone),
        training=kit.training,
        pouches=tuple(cards.Pouch(name, tuple(things)) for name, things in pouches.items()),
    )
    return pdf_of(
        lambda out: printing.lid_card_pdf(card, out=out, job=job(preview=preview), size=size)
    )


def _name_and_phone(person: Any) -> str:
    return ", ".join(filter(None, (person.name, person.phone))) if person else ""


def sign_out_sheet(room: Room, *, preview: bool = False, names_room: bool = True) -> bytes:
    """The paper sheet to sign kits out on when phones are dead, as PDF: the room's kits that have
    a label, and empty rows for the others."""
    kits = list(Kit.objects.active().filter(room=room).order_by("name"))
    newest = {
        row.kit_id: row.code for row in Label.objects.active().filter(kit__in=kits).order_by("id")
    }
    rows = [cards.SignOutKit(newest[kit.pk], kit.name) for kit in kits if kit.pk in newest]
    return pdf_of(
        lambda out: printing.sign_out_sheet_pdf(
            rows,
            out=out,
            job=job(preview=preview),
            room=room.name if names_room else "",
            blank_rows=3 + len(kits) - len(rows),
        )
    )


def _code_of(kit: Kit) -> str:
    if (label := labelling.live(kit)) is None:
        raise Refused(
            "no-label",
            _("%(kit)s has no label yet. Make a label first, then print this.") % {"kit": kit.name},
        )
    return label.code
