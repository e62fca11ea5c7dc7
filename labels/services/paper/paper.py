"""What is printed of the book: labels on sheets, kit tags, lid cards, sign-out sheets.

Loads rows, makes of them what the printer takes, and turns what cannot be printed into problems.
"""

import dataclasses
import io
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, BinaryIO

from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils.translation import get_language, gettext as _

from gearroom.core import clock
from gearroom.core.acts import (
    Act,
    Actor,
    Invalid,
    NotFound,
    Problem,
    Refused,
    TooLarge,
    Unacceptable,
)
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import Kit, Label, LabelKind, ListLine, Seal
from kits.rules.ledger.expiry import good_through
from kits.rules.lookup import label_codes
from kits.services.labelling import labelling
from kits.services.ledger import readiness
from kits.services.lookup import find
from kits.services.text.wording import in_words
from labels import printing
from labels.models import SheetLayout
from labels.rules.codes.texts import Expiry
from labels.rules.layout import (
    SHEETS,
    CellTooSmall,
    Hole,
    Offset,
    Order,
    Sheet,
    SheetError,
    Space,
    SymbolTooSmall,
    cards,
    checked,
    contents,
)

MOST_PRINTED = 2000
"""Labels in one file, copies counted."""

DEFAULT_SHEET = "a4-3x7"
TAG_SHEET = "tie-on-55x90"
PICTURE_SHEET = "roll-62x29"


class NoPublicAddress(Refused):
    """No address is set that what is printed could lead to: it can only be looked at."""


@dataclasses.dataclass(frozen=True)
class StoredSheet:
    """A sheet that can be printed on, and the correction of the printer it is for. `own`: added
    here, not built in."""

    sheet: Sheet
    offset: Offset
    own: bool


# ------------------------------------------------------------------------------------------ sheets
def sheets() -> list[StoredSheet]:
    """Every sheet: the built-in ones, then those that were added here."""
    return [StoredSheet(sheet, Offset(), own=False) for sheet in SHEETS.values()] + [
        _stored(row) for row in SheetLayout.objects.all()
    ]


def sheet(ref: str) -> StoredSheet:
    """A sheet by its key, or by the name it was added under. Raises Invalid."""
    if ref in SHEETS:
        return StoredSheet(SHEETS[ref], Offset(), own=False)
    row = SheetLayout.objects.filter(name__iexact=ref).first()
    if row is None:
        raise Invalid(
            _(
                "There is no sheet called “%(sheet)s”. Choose one of these: %(sheets)s; or add "
                "one by its measurements."
            )
            % {"sheet": ref, "sheets": ", ".join(SHEETS)},
            field="sheet",
        )
    return _stored(row)


def _stored(row: SheetLayout) -> StoredSheet:
    offset = Offset(float(row.offset_x_mm), float(row.offset_y_mm))
    return StoredSheet(_measured(row.name, row.layout), offset, own=True)


def _measured(name: str, measures: dict[str, Any]) -> Sheet:
    hole = measures.get("hole")
    return Sheet(key=name, name=name, **measures | {"hole": Hole(**hole) if hole else None})


def add_sheet(
    act: Act, name: str, measures: dict[str, Any], *, dx_mm: float = 0.0, dy_mm: float = 0.0
) -> StoredSheet:
    """Add a sheet by its measures in mm (those of `Sheet`, the hole's as a mapping; a pitch of 0:
    the cells touch), once it fits its page and holds a label's symbol.

    Raises Invalid with everything that does not fit, Refused (`name-taken`).
    """
    act.actor.require("print_labels")
    sentence = _("There is already a sheet called “%(sheet)s”. Choose another name.")
    taken = Refused("name-taken", sentence % {"sheet": name})
    if name in SHEETS:
        raise taken
    touching = {"pitch_x_mm": measures["cell_width_mm"], "pitch_y_mm": measures["cell_height_mm"]}
    apart = {pitch: measures.get(pitch) or size for pitch, size in touching.items()}
    with _printable():
        added = checked(_measured(name, measures | apart))
        offset = Offset(round(dx_mm, 2), round(dy_mm, 2))
        job(preview=True).lay_out(contents.BlankLabel(_SAMPLE_CODE), Space.of(added))
    layout = dataclasses.asdict(added)
    del layout["key"], layout["name"]
    try:
        with transaction.atomic():
            SheetLayout.objects.create(
                name=name,
                layout=layout,
                offset_x_mm=offset.dx_mm,
                offset_y_mm=offset.dy_mm,
                created_at=clock.now(),
            )
    except IntegrityError:
        raise taken from None
    return StoredSheet(added, offset, own=True)


def remove_sheet(act: Act, name: str) -> None:
    """Remove a sheet that was added here; what was printed on it stays. Raises Invalid."""
    act.actor.require("print_labels")
    if not sheet(name).own:
        sentence = _(
            "“%(sheet)s” is built in and cannot be removed. Only sheets that were added "
            "here can be."
        )
        raise Invalid(sentence % {"sheet": name}, field="sheet")
    SheetLayout.objects.filter(name__iexact=name).delete()


_SAMPLE_CODE = "6R4B5KJ8"


# ------------------------------------------------------------------------------------------ labels
def job(*, preview: bool = False) -> printing.Job:
    """How to print here. Raises Refused (`public-address-missing`) for anything but a preview
    while there is no address that labels could lead to."""
    try:
        return printing.Job(
            public_url=settings.PUBLIC_URL,
            organisation=settings.ORGANISATION,
            language=get_language() or settings.LANGUAGE_CODE,
            speak=in_words,
            preview=preview,
        )
    except printing.PublicAddressMissing as error:
        raise NoPublicAddress("public-address-missing", in_words(error.says)) from error


def to_print(label: Label) -> contents.Label:
    """A label as the printer takes it. It comes with what it is on."""
    match LabelKind(label.kind):
        case LabelKind.KIT if label.kit is not None:
            return contents.KitLabel(label.code, label.kit.name, label.kit.home_room.name)
        case LabelKind.SECTION if label.place is not None:
            kit = label.place.kit.name if label.place.kit else ""
            return contents.SectionLabel(label.code, label.place.name, kit)
        case LabelKind.SHELF if label.place is not None:
            room = label.place.room.name if label.place.room else ""
            return contents.ShelfLabel(label.code, label.place.name, room)
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
        row = rows.get(code)
        if row is None:
            raise NotFound("label", code)
        if row.cancelled_at is not None:
            raise Refused(
                "label-cancelled",
                _(
                    "The label %(code)s has been cancelled. Do not select it, or print its "
                    "replacement."
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
    pdf = _pdf(
        lambda out: printing.sheet_pdf(
            on.sheet,
            [to_print(label) for label in labels],
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


def picture(label: Label, *, form: str, dpi: int, on: Sheet, preview: bool = False) -> bytes:
    """One label as `png` (at 203, 300 or 600 dpi) or `svg`. Raises what `print_sheet` does."""
    with _printable():
        if form == "svg":
            return printing.label_svg(to_print(label), on, job=job(preview=preview)).encode()
        return printing.label_png(to_print(label), on, job=job(preview=preview), dpi=dpi)


def test_page(on: StoredSheet, offset: Offset | None = None) -> bytes:
    """The page that shows how far a printer is off, as PDF."""
    return _pdf(
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
            _("%(kit)s has no seal on record. Reseal it, then print its tag.") % {"kit": kit.name},
        )
    tag = contents.KitTag(
        code=_code_of(kit),
        name=kit.name,
        first_expiry=kit.first_expiry,
        seal=seal.number,
        sealed_by=seal.put_on.person.name if seal.put_on.person else "",
    )
    return _pdf(lambda out: printing.sheet_pdf(on, [tag], out=out, job=job(preview=preview)))


def lid_card(actor: Actor, kit: Kit, size: printing.CardFormat, *, preview: bool = False) -> bytes:
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
    card = cards.LidCard(
        code=_code_of(kit),
        kit=kit.name,
        room=kit.home_room.name,
        responsible=_reach(kit.responsible if find.knows_kit(actor, kit) else None),
        deputy=_reach(kit.deputy if find.knows_kit(actor, kit) else None),
        pouches=tuple(cards.Pouch(name, tuple(things)) for name, things in pouches.items()),
    )
    return _pdf(
        lambda out: printing.lid_card_pdf(card, out=out, job=job(preview=preview), size=size)
    )


def _reach(person: Any) -> str:
    return ", ".join(filter(None, (person.name, person.phone))) if person else ""


def sign_out_sheet(room: Room, *, preview: bool = False) -> bytes:
    """The paper sheet to sign kits out on when phones are dead, as PDF: the room's kits that have
    a label, and empty rows for the others."""
    kits = list(Kit.objects.active().filter(room=room).order_by("name"))
    newest = {
        row.kit_id: row.code for row in Label.objects.active().filter(kit__in=kits).order_by("id")
    }
    rows = [cards.SignOutKit(newest[kit.pk], kit.name) for kit in kits if kit.pk in newest]
    return _pdf(
        lambda out: printing.sign_out_sheet_pdf(
            rows,
            out=out,
            job=job(preview=preview),
            room=room.name,
            blank_rows=3 + len(kits) - len(rows),
        )
    )


def _code_of(kit: Kit) -> str:
    label = labelling.live(kit)
    if label is None:
        sentence = _("%(kit)s has no label yet. Make a label first, then print this.")
        raise Refused("no-label", sentence % {"kit": kit.name})
    return label.code


def as_problem(error: Exception) -> Problem:
    """What the printer refuses, as a problem; an error that is none of its refusals is raised."""
    match error:
        case SheetError():
            problems = [in_words(each) for each in error.problems]
            return Invalid(" ".join(problems), field="sheet", problems=problems)
        case CellTooSmall():
            width, height = error.needed_mm
            return Unacceptable(
                "label-too-small",
                in_words(error.says),
                needed_width_mm=width,
                needed_height_mm=height,
            )
        case SymbolTooSmall():
            return Unacceptable("label-too-small", in_words(error.says), needed_mm=error.needed_mm)
        case printing.CardTooLong():
            return Unacceptable("card-too-long", in_words(error.says))
        case printing.ReadBackFailed():
            return Refused("read-back-failed", in_words(error.says))
        case ValueError():
            return Invalid(str(error))
    raise error


def _pdf(draw: Callable[[BinaryIO], object]) -> bytes:
    """What `draw` writes; raises what the printer refuses as problems."""
    out = io.BytesIO()
    with _printable():
        draw(out)
    return out.getvalue()


@contextmanager
def _printable() -> Iterator[None]:
    try:
        yield
    except (ValueError, printing.ReadBackFailed) as error:
        raise as_problem(error) from error
