"""The text of a notice, and what the texts of all kinds name."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from kits.models import Notice
from kits.rules.mail.plain_text import VerdictLine


@dataclass(frozen=True)
class NoticeText:
    """What a notice says: a sentence, details, and how the kits that it names stand.

    `subject` is of a mail of its own; without one the kind's title and the name of the kit or room
    are. `page` is the address of the page that settles it; without one the kit's own is.
    """

    text: str
    lines: Sequence[str] = ()
    subject: str = ""
    page: str = ""
    verdicts: Sequence[VerdictLine] = ()


def name_of(notice: Notice) -> str:
    """The name of the kit that a notice is about, else of the room."""
    about = notice.kit or notice.room
    return about.name if about else ""


def zone_of(notice: Notice) -> str:
    """The time zone that a notice's times are in."""
    room = notice.room or (notice.kit.home_room if notice.kit else None)
    return room.time_zone if room else "UTC"


def first_few(names: Iterable[str]) -> str:
    """The first three of some names, and how many more."""
    known = list(names)
    shown = ", ".join(known[:3])
    if len(known) > 3:
        return _("%(kits)s and %(count)d more") % {"kits": shown, "count": len(known) - 3}
    return shown
