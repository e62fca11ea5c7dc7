"""What notices say, many at once: weekly emails share what is loaded for them."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.utils.translation import override

from gearroom.core import clock
from kits.models import Notice
from kits.rules.mail.plain_text import Letter
from kits.rules.notices.policy import WEEKLY
from kits.services.mail import notice_texts, picking_list
from kits.services.mail.digest import digest_data, digest_text, digest_week
from kits.services.mail.digest.digest_rotation import DigestStock
from kits.services.mail.rendering import Attachment


@dataclass(frozen=True)
class Written:
    """A letter, what is attached, and facts to keep with its notice."""

    letter: Letter
    attachments: tuple[Attachment, ...] = ()
    facts: dict[str, Any] = field(default_factory=dict)


def write(
    notices: Sequence[Notice],
    *,
    with_it: Sequence[Notice] = (),
    at: datetime | None = None,
    stock: DigestStock | None = None,
) -> dict[int, Written]:
    """What each notice says, by its id, in the language of whom it tells; weekly ones as of an
    instant (None: now). `with_it` goes in the mail of the only notice, to the same person and of
    the same kind. `stock` is kept over the batches of one run."""
    now = at or clock.now()
    weeks = digest_data.gather([n.person for n in notices if n.kind == WEEKLY], now, stock)
    holds = {"holds": [other.pk for other in with_it]} if with_it else {}
    written = {}
    for notice in notices:
        with override(notice.person.reads):
            week = weeks[notice.person_id] if notice.kind == WEEKLY else None
            written[notice.pk] = (
                _weekly(week)
                if week
                else Written(notice_texts.letter(notice, *with_it), facts=holds)
            )
    return written


def _weekly(week: digest_week.Week) -> Written:
    sheet = picking_list.draw(week)
    return Written(
        digest_text.letter(week),
        ((f"shelf-list-{week.today.isoformat()}.pdf", sheet),) if sheet else (),
        {
            "holds": [notice.pk for notice in week.held_back],
            "rooms": sorted({room.pk for room in week.rooms}),
        },
    )
