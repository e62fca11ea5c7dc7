"""The text of a notice, what the texts of all kinds name, and the addresses of our pages in mails:
what those links hold that need no sign-in."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from urllib.parse import quote

from django.core import signing
from django.utils.translation import gettext as _

from gearroom.core.acts import NotFound, Refused
from gearroom.core.models.installation import current
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
    visible = ", ".join(known[:3])
    if len(known) > 3:
        return _("%(kits)s and %(count)d more") % {"kits": visible, "count": len(known) - 3}
    return visible


# ------------------------------------------------------------------------------------------ links
CLEARANCE_SALT = "kits.cleared-by-phone"
SIGNATURE_SALT = "kits.extend-signature"


def page(path: str) -> str:
    """The whole address of one of our pages, or nothing while no public address is set."""
    return f"{current().public_url}{path}" if current().public_url else ""


def kit_page(name: str, part: str = "") -> str:
    """The address of a kit's own page, or of a part of it."""
    return page(f"/kits/{quote(name, safe='')}/{part}")


def clearance_token(clearance: int) -> str:
    """What the link of a clearance (an id) says."""
    return signing.dumps(clearance, salt=CLEARANCE_SALT)


def signature_token(version: int, person: int, until: date) -> str:
    """What the link says with which somebody extends a signature that ends on a day."""
    return signing.dumps([version, person, until.isoformat()], salt=SIGNATURE_SALT)


def read_link(token: str, salt: str, within: timedelta, expired: str) -> Any:
    """What the link holds that was signed with a salt. Raises NotFound for one that was not made
    here; Refused (`link-too-old`), which says `expired`."""
    try:
        return signing.loads(token, salt=salt, max_age=within)
    except signing.SignatureExpired:
        raise Refused("link-too-old", expired) from None
    except signing.BadSignature:
        raise NotFound("link", token[:20]) from None
