"""The sheets that can be printed on: those built in, and those added here by their measures."""

import dataclasses
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Refused
from labels.models import SheetLayout
from labels.rules.layout import SHEETS, Hole, Offset, Sheet, Space, checked, contents
from labels.services.paper.printer import job, printable

DEFAULT_SHEET = "a4-3x7"
TAG_SHEET = "tie-on-55x90"
PICTURE_SHEET = "roll-62x29"

_SAMPLE_CODE = "6R4B5KJ8"


@dataclasses.dataclass(frozen=True)
class StoredSheet:
    """A sheet that can be printed on, and the correction of the printer it is for. `own`: added
    here, not built in."""

    sheet: Sheet
    offset: Offset
    own: bool


def sheets() -> list[StoredSheet]:
    """Every sheet: the built-in ones, then those that were added here."""
    return [StoredSheet(sheet, Offset(), own=False) for sheet in SHEETS.values()] + [
        _stored(row) for row in SheetLayout.objects.all()
    ]


def sheet(ref: str) -> StoredSheet:
    """A sheet by its key, or by the name it was added under. Raises Invalid."""
    if ref in SHEETS:
        return StoredSheet(SHEETS[ref], Offset(), own=False)
    if (row := SheetLayout.objects.filter(name__iexact=ref).first()) is None:
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
    return StoredSheet(
        _measured(row.name, row.layout),
        Offset(float(row.offset_x_mm), float(row.offset_y_mm)),
        own=True,
    )


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
    taken = Refused(
        "name-taken",
        _("There is already a sheet called “%(sheet)s”. Choose another name.") % {"sheet": name},
    )
    if name in SHEETS:
        raise taken
    touching = {"pitch_x_mm": measures["cell_width_mm"], "pitch_y_mm": measures["cell_height_mm"]}
    apart = {pitch: measures.get(pitch) or size for pitch, size in touching.items()}
    with printable():
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
        raise Invalid(
            _(
                "“%(sheet)s” is built in and cannot be removed. Only sheets that were added "
                "here can be."
            )
            % {"sheet": name},
            field="sheet",
        )
    SheetLayout.objects.filter(name__iexact=name).delete()
