"""What lists leave out on purpose and is due for another look: until it is edited in a version that
is published, decided or signed anew, or its day is moved. And changes to several lists, until they
are reviewed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.db.models import F, Q, QuerySet

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.models import Person
from kits.models import Kit, ListChange, NotCarried, PackingListVersion
from kits.rules.lists.look_again import is_due
from kits.services.lists import comparison, list_changes, not_carried, signatures
from kits.services.lists.not_carried import NotCarriedDraft
from kits.services.lists.packing_lists import left_out
from kits.services.text.planning import not_carried_texts


@dataclass(frozen=True)
class DueLines:
    """A version with what it leaves out that is due for another look."""

    version: PackingListVersion
    lines: Sequence[NotCarriedDraft]


def says(line: NotCarriedDraft, today: date) -> str:
    """What is due for another look, since when, and after what event, in words."""
    again = not_carried_texts.again(line.look_again_on, line.look_again_after, today, due=True)
    return f"{not_carried_texts.name(line.item, line.need)}: {again}"


def due(today: date) -> list[DueLines]:
    """Of the newest published version of each list in use: what it leaves out that is due."""
    newest = signatures.in_use().filter(number=F("newest"), not_carried__look_again_on__lte=today)
    versions = list(newest.distinct().prefetch_related(left_out()))
    return [each for each in (_due_of(version, today) for version in versions) if each.lines]


def due_in(version: PackingListVersion, today: date) -> set[str] | None:
    """The keys of the lines of one version that are due; None for a published version that a later
    one has replaced: there is nothing left to decide."""
    later = PackingListVersion.objects.filter(
        packing_list=version.packing_list_id,
        number__gt=version.number,
        published_at__date__lte=today,
    )
    if version.published_at is not None and later.exists():
        return None
    return {line.key for line in _due_of(version, today).lines}


def of_kits(rows: Iterable[DueLines], kits: Iterable[Kit]) -> list[DueLines]:
    """Those of the lists that some kits (with their versions) follow, whichever version."""
    lists = {kit.list_version.packing_list_id for kit in kits}
    return [each for each in rows if each.version.packing_list_id in lists]


def changes_due(today: date) -> list[ListChange]:
    """Changes to several lists that nobody has reviewed since their day."""
    return [each for each in list_changes.all_changes() if is_due(each.due_on, today, ())]


def changes_of_kits(rows: Iterable[ListChange], kits: Iterable[Kit]) -> list[ListChange]:
    """Those of the changes that lists of some kits (with their versions) have."""
    lists = {kit.list_version.packing_list_id for kit in kits}
    return [
        each
        for each in rows
        if lists & {row.version.packing_list_id for row in each.versions.all()}
    ]


def changes_due_to(who: Actor, today: date) -> list[ListChange]:
    """The changes to review that concern somebody, as in `due_to`."""
    if who.person is None or not (rows := changes_due(today)):
        return []
    return rows if who.could("sign_list") else changes_of_kits(rows, _answered_for(who.person))


def due_to(who: Actor, today: date) -> list[DueLines]:
    """What is due that concerns somebody: who signs lists, and who answers or stands in for a kit
    that follows the list."""
    if who.person is None or not (rows := due(today)):
        return []
    if who.could("sign_list"):
        return rows
    return of_kits(rows, _answered_for(who.person))


def _answered_for(person: Person) -> QuerySet[Kit]:
    answers_for = Q(responsible=person) | Q(deputy=person)
    return Kit.objects.active().filter(answers_for).select_related("list_version")


def _due_of(version: PackingListVersion, today: date) -> DueLines:
    rows = [
        row
        for row in version.not_carried.all()
        if is_due(row.look_again_on, today, (version.signed_on, row.decided_on))
    ]
    edited = _edited(version, rows) if rows else set()
    published = version.published_at and clock.local_date(version.published_at, settings.TIME_ZONE)
    return DueLines(
        version,
        [
            line
            for line in map(not_carried.draft_of, rows)
            if line.key not in edited or is_due(line.look_again_on, today, [published])
        ],
    )


def _edited(version: PackingListVersion, rows: Sequence[NotCarried]) -> set[str]:
    """The lines (by key) that the published version before said otherwise, or did not say."""
    before = (
        PackingListVersion.objects.filter(
            packing_list=version.packing_list_id,
            number__lt=version.number,
            published_at__isnull=False,
        )
        .defer("signed_page")
        .prefetch_related(left_out())
        .order_by("-number")
        .first()
    )
    if before is None:
        return set()
    differ = comparison.left_out_otherwise(before, version)
    return {not_carried.draft_of(each.after).key for each in differ if each.after}
