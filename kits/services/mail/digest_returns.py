"""What the evenings brought, in the weekly email: what to count, what may come back, and what was
needed and not carried."""

from collections import defaultdict
from collections.abc import Iterator

from django.utils.translation import gettext as _

from kits.models import Kit
from kits.rules.mail.plain_text import LetterRow
from kits.services.mail.digest_data import Week
from kits.services.notices.links import kit_page, page
from kits.services.text.days import moment


def to_count(week: Week) -> Iterator[LetterRow]:
    """A row a job: kits that were mixed up, together; those of which nobody said what was used."""
    for job in week.to_count:
        names = ", ".join(kit.name for kit in job.kits)
        facts = {"kits": names, "when": moment(job.since, week.zone, week.today)}
        text = (
            _("%(kits)s: contents mixed up, %(when)s")
            if job.mixed
            else _("%(kits)s: handed back %(when)s, but nobody has entered what was used")
        )
        yield LetterRow(text % facts, kit_page(job.kits[0].name))


def may_come_back(week: Week) -> Iterator[LetterRow]:
    """What went with a casualty, in one row."""
    things = [f"{row.units} × {row.lot.item.name} ({row.kit.name})" for row in week.away]
    if things:
        yield LetterRow(", ".join(things), page("/away/"))


def unmet(week: Week) -> Iterator[LetterRow]:
    """A row a kit: what it was needed for and did not have."""
    by_kit: dict[Kit, list[str]] = defaultdict(list)
    for need in week.unmet:
        assert need.entry.kit is not None  # asked for needs of kits
        trip = f" ({need.entry.trip.name})" if need.entry.trip else ""
        by_kit[need.entry.kit].append(f"{need}{trip}")
    for kit, things in sorted(by_kit.items(), key=lambda pair: pair[0].name):
        yield LetterRow(f"{kit.name}: {', '.join(things)}", kit_page(kit.name))
