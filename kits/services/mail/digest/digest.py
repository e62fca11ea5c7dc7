"""The weekly email's rows: one a person and week, whenever it is looked for; and a preview."""

from collections.abc import Collection
from datetime import datetime

from gearroom.core import clock
from gearroom.core.models import Person
from kits.models import Notice
from kits.rules.mail.plain_text import Letter
from kits.rules.notices.policy import WEEKLY
from kits.rules.notices.schedule import last_due, next_due
from kits.services.mail.digest import digest_data
from kits.services.mail.digest.digest_text import letter
from kits.services.notices import preferences, recipients, writing


def write(at: datetime, *, newcomers: bool = False) -> list[int]:
    """Write a notice for each weekly email that was due last at an instant, once a person and
    week; the ids of all of them, new or not. After a week off it is one, not seven.

    Who came on record after it was due gets their first with the next, unless `newcomers`.
    """
    people = list(digest_data.readers())
    settings = preferences.of_many(people)
    drafts = []
    for person in people:
        how = settings[person.pk]
        due = last_due(at, how.weekly_on, how.weekly_at, recipients.zone_of(person))
        if newcomers or person.created_at <= due:
            fact = f"week:{due.date().isoformat()}"  # the local day
            drafts.append(writing.Draft(person, fact, room=person.home_room))
    writing.write(WEEKLY, drafts)
    wanted = {(draft.person.pk, draft.fact) for draft in drafts}
    known = Notice.objects.filter(kind=WEEKLY, fact__in={fact for _, fact in wanted})
    return [
        pk
        for pk, person, fact in known.values_list("pk", "person", "fact")
        if (person, fact) in wanted
    ]


def preview(
    person: Person, at: datetime | None = None, *, rooms: Collection[int] | None = None
) -> tuple[datetime, Letter]:
    """The next weekly email as it would be now, and when it is due; with `rooms` (ids) as much of
    it as is of those."""
    now = at or clock.now()
    how = preferences.of(person)
    due = next_due(now, how.weekly_on, how.weekly_at, recipients.zone_of(person))
    return due, letter(digest_data.gather([person], now, rooms=rooms)[person.pk])
