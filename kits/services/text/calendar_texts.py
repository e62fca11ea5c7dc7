"""What a wall calendar says, on its page and on paper."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils import formats
from django.utils.translation import gettext as _, gettext_lazy as _lazy, ngettext, pgettext

from kits.rules.stock.wall_calendar import Expiring, Month, WallCalendar
from kits.services.text import wording

GROWS_OLD = _lazy(
    "From the record as it was then. What was used, replaced or put in since then is not on this "
    "sheet: check the kit’s tag, and look at every pack before use."
)
KEY = _lazy("Bold: must-haves. Each item is good until the day shown. Tick what has been replaced.")
NOTHING = _lazy("Nothing on record")


def title(room: str) -> str:
    """What the sheet is: of the room, where its name is given."""
    if not room:
        return _("What goes out of date in kits")
    return _("What goes out of date in kits: %(room)s") % {"room": room}


def as_of(instant: datetime, zone: str) -> str:
    """Of when it is, by the room's clock."""
    local = instant.astimezone(ZoneInfo(zone))
    return _("As of %(day)s, %(time)s") % {
        "day": wording.day(local.date()),
        "time": f"{local:%H:%M}",
    }


def month(of: Month) -> str:
    """A month's heading; the first may have earlier days as well."""
    name = formats.date_format(of.first, pgettext("month and year", "F Y"))
    return _("Up to the end of %(month)s") % {"month": name} if of.has_earlier else name


def day(of: date, in_month: Month) -> str:
    """A row's day, with its year where it is before the month."""
    if of < in_month.first:
        return wording.short_day(of)
    return formats.date_format(of, pgettext("day and month in short", "j M"))


def row(of: Expiring) -> str:
    """A kit and what goes out of date in it."""
    return _("%(kit)s: %(item)s × %(units)d") % {
        "kit": of.kit,
        "item": of.item,
        "units": of.units,
    }


def not_listed(of: WallCalendar, kits: int) -> list[str]:
    """Whose contents are listed, and what of them is not."""
    said = [
        ngettext(
            "For %(n)d kit based here; training kits and lost kits are left out.",
            "For %(n)d kits based here; training kits and lost kits are left out.",
            kits,
        )
        % {"n": kits}
    ]
    if of.later:
        said.append(
            ngettext(
                "%(n)d more item has a later date.", "%(n)d more items have a later date.", of.later
            )
            % {"n": of.later}
        )
    if of.undated:
        said.append(
            ngettext(
                "%(n)d item in kits has no expiry date on record: look at the pack.",
                "%(n)d items in kits have no expiry date on record: look at the packs.",
                of.undated,
            )
            % {"n": of.undated}
        )
    return said
