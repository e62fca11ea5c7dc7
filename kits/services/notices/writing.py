"""Writing down what somebody should be told, in the transaction of what it tells."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.conf import settings

from gearroom.core import clock
from gearroom.core.models import Person, Room
from gearroom.core.rules.roles import Role
from kits.models import Entry, HearingChoice, Kit, Notice
from kits.rules.notices.policy import When
from kits.services.notices import bundling


def tell(
    people: Iterable[Person],
    kind: str,
    fact: str,
    *,
    entry: Entry | None = None,
    kit: Kit | None = None,
    room: Room | None = None,
    facts: dict[str, Any] | None = None,
) -> None:
    """Leave each of these people a notice, once for the same (person, kind, fact)."""
    Notice.objects.bulk_create(
        (
            Notice(
                person=person,
                kind=kind,
                fact=fact,
                entry=entry,
                kit=kit,
                room=room or (kit.home_room if kit else None),
                facts=facts or {},
                created_at=clock.now(),
            )
            for person in {p.pk: p for p in people}.values()
        ),
        ignore_conflicts=True,
    )


@dataclass(frozen=True)
class Draft:
    """A notice to one person, with facts of their own."""

    person: Person
    fact: str
    facts: dict[str, Any]
    entry: Entry | None = None
    kit: Kit | None = None
    room: Room | None = None


def write(kind: str, drafts: Sequence[Draft]) -> None:
    """Leave notices of a kind that are not on record yet, once for the same (person, fact); what
    is there already is asked for once and not inserted again."""
    rows = Notice.objects.filter(kind=kind, fact__in={draft.fact for draft in drafts})
    there = set(rows.values_list("person", "fact")) if drafts else set()
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
            if (draft.person.pk, draft.fact) not in there
        ),
        ignore_conflicts=True,
    )


def keepers_of(room: Room) -> list[Person]:
    """The keepers of a room; where it has none, its instructors."""
    for role in (Role.KEEPER, Role.INSTRUCTOR, Role.ADMINISTRATOR):
        people = list(
            Person.objects.filter(memberships__room=room, memberships__role=role).distinct()
        )
        if people:
            return people
    return administrators()


def administrators() -> list[Person]:
    """Who administers every room."""
    return list(Person.objects.filter(memberships__room=None, memberships__role=Role.ADMINISTRATOR))


def zone_of(person: Person) -> str:
    """The time zone that somebody's times are in: their home room's."""
    return person.home_room.time_zone if person.home_room else settings.TIME_ZONE


def choices_of(people: Iterable[int]) -> dict[int, dict[str, When]]:
    """What each of these people (ids) chose to hear when, by kind."""
    chosen: dict[int, dict[str, When]] = defaultdict(dict)
    for row in HearingChoice.objects.filter(person__in=list(people)):
        chosen[row.person_id][row.kind] = When(row.when)
    return chosen


def tell_keepers(
    entry: Entry,
    kind: str,
    *,
    kit: Kit | None = None,
    room: Room | None = None,
    facts: dict[str, Any] | None = None,
) -> None:
    """Tell a kit's responsible instructor and deputy and its room's keepers of one entry."""
    where = room or (kit.home_room if kit else entry.room)
    people = keepers_of(where) if where else []
    people += [p for p in (kit.responsible, kit.deputy) if p] if kit else []
    tell(people, kind, f"entry:{entry.pk}", entry=entry, kit=kit, room=where, facts=facts)


def take_back(entry: Entry) -> int:
    """Take back the unsent notices of an entry that was reversed; says how many."""
    rows = list(
        Notice.objects.filter(entry=entry, sent_at__isnull=True, taken_back_at__isnull=True).defer(
            "rendered"
        )
    )
    taken = Notice.objects.filter(pk__in=[row.pk for row in rows], sent_at__isnull=True).update(
        taken_back_at=clock.now()
    )
    bundling.let_go(rows)
    return taken
