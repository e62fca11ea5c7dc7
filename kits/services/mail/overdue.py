"""Kits past due: who has them is told, then who answers for them and the keepers, then all of them
once a day. What comes up in one sweep is one notice to a person, with every kit of it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from gearroom.core.models import Person
from kits.models import Checkout, Episode, Kit, Notice
from kits.services.ledger.kit_state import iso
from kits.services.notices import writing

GRACE = timedelta(hours=2)
"""After this much past due, who has a kit is told; after as much again, the keeper; then daily."""

_HOLDER, _KEEPERS = "holder", "keepers"
_Due = dict[str, tuple[Checkout, str]]
"""What is to be told by now, by the subject of its episode: which kit, and to whom."""


def look(now: datetime) -> None:
    """Tell of what is past due and was not told yet. After a while without power that is one
    notice, not one for each day."""
    due = _due(now)
    known = {episode.subject: episode for episode in Episode.objects.open().filter(kind="not-back")}
    over = [episode.pk for subject, episode in known.items() if subject not in due]
    if over:
        Episode.objects.open().filter(pk__in=over).update(closed_at=now)
    new = {subject: row for subject, row in due.items() if subject not in known}
    if new:
        with transaction.atomic():
            _tell(new, now)


def _due(now: datetime) -> _Due:
    due: _Due = {}
    for held in (
        Checkout.objects.open()
        .filter(due_at__lte=now - GRACE, kit__lost_since__isnull=True)
        .select_related(
            "kit__home_room", "kit__responsible", "kit__deputy", "person", "trip", "section"
        )
        .order_by("due_at", "kit__name", "pk")
    ):
        assert held.due_at is not None  # asked for by it
        late = now - held.due_at
        day = (late - GRACE) // timedelta(days=1)
        subject = f"checkout:{held.pk}:due:{held.due_at:%Y%m%dT%H%M}:day:{day}"
        due[f"{subject}:{_HOLDER}"] = (held, _HOLDER)
        if late >= 2 * GRACE or day > 0:
            due[f"{subject}:{_KEEPERS}"] = (held, _KEEPERS)
    return due


def _tell(new: _Due, now: datetime) -> None:
    """Open the episodes, and tell each person once of all that is new for them. Another look at
    the same moment opened some of them; those are told by it."""
    Episode.objects.bulk_create(
        (
            Episode(
                kind="not-back", subject=subject, room=held.kit.home_room, kit=held.kit,
                opened_at=now,
            )
            for subject, (held, _) in new.items()
        ),
        ignore_conflicts=True,
    )  # fmt: skip
    opened = {
        episode.subject: episode.pk
        for episode in Episode.objects.open().filter(
            kind="not-back", subject__in=list(new), opened_at=now
        )
    }
    people: dict[int, Person] = {}
    told: dict[int, dict[int, Checkout]] = defaultdict(dict)
    keepers = _Keepers()
    for subject, (held, whom) in new.items():
        if subject not in opened:
            continue
        everybody = [held.person] if whom == _HOLDER else keepers.of(held.kit)
        for person in filter(None, everybody):
            if whom == _HOLDER or person.pk != held.person_id:
                people[person.pk] = person
                told[person.pk][held.pk] = held
    if opened:
        fact = f"episode:{min(opened.values())}"
        writing.write("not-back", [_draft(people[pk], fact, told[pk].values()) for pk in people])


class _Keepers:
    """Who answers for a kit, who stands in, and the keepers of its room, asked for once a room."""

    def __init__(self) -> None:
        self._rooms: dict[int, list[Person]] = {}

    def of(self, kit: Kit) -> list[Person]:
        if kit.home_room_id not in self._rooms:
            self._rooms[kit.home_room_id] = writing.keepers_of(kit.home_room)
        return [*filter(None, (kit.responsible, kit.deputy)), *self._rooms[kit.home_room_id]]


def _draft(person: Person, fact: str, held: Iterable[Checkout]) -> writing.Draft:
    rows = list(held)
    one = rows[0].kit if len({row.kit_id for row in rows}) == 1 else None
    return writing.Draft(
        person=person,
        fact=fact,
        kit=one,
        room=rows[0].kit.home_room,
        facts={"kits": [_facts(row, person) for row in rows]},
    )


def _facts(held: Checkout, reader: Person) -> dict[str, Any]:
    name = held.kit.name
    return {
        "checkout": held.pk,
        "kit": name if held.section is None else f"{name}, {held.section.name}",
        "page": name,
        "due_at": iso(held.due_at),
        "trip": held.trip_id,
        "trip_name": held.trip.name if held.trip else "",
        "person": held.person.name if held.person else "",
        "phone": held.person.phone if held.person else "",
        "yours": held.person_id == reader.pk,
    }


# --------------------------------------------------------------------------------- when it is sent
def keep_what_lasts(waiting: Iterable[Notice]) -> set[int]:
    """Leave out of these notices the kits that are back by now or due later, and return the ids of
    those that nothing is left of."""
    rows = [n for n in waiting if n.kind == "not-back" and "kits" in n.facts]
    asked = {kit["checkout"] for row in rows for kit in row.facts["kits"]}
    out = Checkout.objects.open().filter(pk__in=asked, kit__lost_since__isnull=True)
    due = {pk: iso(at) for pk, at in out.values_list("pk", "due_at")} if asked else {}
    for row in rows:
        kits = [kit for kit in row.facts["kits"] if due.get(kit["checkout"]) == kit["due_at"]]
        row.facts = {**row.facts, "kits": kits}
    return {row.pk for row in rows if not row.facts["kits"]}
