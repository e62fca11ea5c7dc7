"""Writing notices, in the transaction of what they are about."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from gearroom.core import clock
from gearroom.core.models import Person, Room
from kits.models import Entry, Kit, Notice
from kits.services.notices import bundling
from kits.services.notices.recipients import keepers_of, responsible_for


@dataclass(frozen=True)
class Draft:
    """A notice to one person, with facts of their own (see `facts`)."""

    person: Person
    fact: str
    facts: Mapping[str, object] = field(default_factory=dict)
    entry: Entry | None = None
    kit: Kit | None = None
    room: Room | None = None


def notify(
    people: Iterable[Person],
    kind: str,
    fact: str,
    *,
    entry: Entry | None = None,
    kit: Kit | None = None,
    room: Room | None = None,
    facts: Mapping[str, object] | None = None,
) -> None:
    """Leave each of these people a notice, once for the same (person, kind, fact)."""
    each_once = {person.pk: person for person in people}.values()
    _create(kind, [Draft(person, fact, facts or {}, entry, kit, room) for person in each_once])


def write(kind: str, drafts: Sequence[Draft]) -> None:
    """Leave notices of a kind that are not on record yet, once for the same (person, fact); what
    is there already is asked for once and not inserted again."""
    rows = Notice.objects.filter(kind=kind, fact__in={draft.fact for draft in drafts})
    there = set(rows.values_list("person", "fact")) if drafts else set()
    _create(kind, [draft for draft in drafts if (draft.person.pk, draft.fact) not in there])


def _create(kind: str, drafts: Iterable[Draft]) -> None:
    Notice.objects.bulk_create(
        (
            Notice(
                person=draft.person,
                kind=kind,
                fact=draft.fact,
                entry=draft.entry,
                kit=draft.kit,
                room=draft.room or (draft.kit.home_room if draft.kit else None),
                facts=draft.facts,
                created_at=clock.now(),
            )
            for draft in drafts
        ),
        ignore_conflicts=True,
    )


def notify_keepers(
    entry: Entry,
    kind: str,
    *,
    kit: Kit | None = None,
    room: Room | None = None,
    facts: Mapping[str, object] | None = None,
) -> None:
    """Notify a kit's responsible instructor and deputy and its room's keepers of one entry."""
    where = room or (kit.home_room if kit else entry.room)
    people = [*(keepers_of(where) if where else ()), *(responsible_for(kit) if kit else ())]
    notify(people, kind, f"entry:{entry.pk}", entry=entry, kit=kit, room=where, facts=facts)


def withdraw(entry: Entry) -> int:
    """Take back the unsent notices of an entry that was reversed; return how many."""
    rows = list(Notice.objects.unsent().filter(entry=entry).defer("rendered"))
    taken = Notice.objects.filter(pk__in=[row.pk for row in rows], sent_at__isnull=True).update(
        taken_back_at=clock.now()
    )
    bundling.let_go(rows)
    return taken
