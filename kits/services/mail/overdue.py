"""Kits past due: who has them is told, then who answers for them and the keepers, then all of them
once a day. What comes up in one sweep is one notice to a person, with every kit of it.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import transaction

from gearroom.core.models import Person
from gearroom.core.rules.grouping import grouped
from kits.models import Checkout, Episode, Notice
from kits.services.ledger.kit_state import iso
from kits.services.notices import OverdueKit, episodes, recipients, writing

GRACE = timedelta(hours=2)
"""After this much past due, who has a kit is told; after as much again, the keeper; then daily."""

_HOLDER, _KEEPERS = "holder", "keepers"
_Due = dict[str, tuple[Checkout, str]]
"""What is due to be noticed, by the subject of its episode: which checkout, and by whom."""


def look(now: datetime) -> None:
    """Notify of what is past due and new. After a while without power that is one notice, not one
    for each day."""
    due = _due(now)
    known = {subject: each for (_kind, subject), each in episodes.open_ones("not-back").items()}
    episodes.close((each for subject, each in known.items() if subject not in due), now)
    if new := {subject: row for subject, row in due.items() if subject not in known}:
        with transaction.atomic():
            _notify(new, now)


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
        due_at = held.due_at or now
        late = now - due_at
        day = (late - GRACE) // timedelta(days=1)
        subject = f"checkout:{held.pk}:due:{due_at:%Y%m%dT%H%M}:day:{day}"
        due[f"{subject}:{_HOLDER}"] = (held, _HOLDER)
        if late >= 2 * GRACE or day > 0:
            due[f"{subject}:{_KEEPERS}"] = (held, _KEEPERS)
    return due


def _notify(new: _Due, now: datetime) -> None:
    """Open the episodes, and notify each person once of all that is new for them."""
    opened = episodes.open_new(
        [
            Episode(
                kind="not-back",
                subject=subject,
                room=held.kit.home_room,
                kit=held.kit,
                opened_at=now,
            )
            for subject, (held, _) in new.items()
        ]
    )
    keepers = recipients.Keepers()
    subjects = {episode.subject for episode in opened}
    concern = grouped(
        (person, held)
        for subject, (held, whom) in new.items()
        if subject in subjects
        for person in ([held.person] if whom == _HOLDER else keepers.of_kit(held.kit))
        if person is not None and (whom == _HOLDER or person != held.person)
    )
    if opened:
        fact = f"episode:{opened[0].pk}"
        writing.write("not-back", [_draft(person, fact, rows) for person, rows in concern.items()])


def _draft(person: Person, fact: str, held: Iterable[Checkout]) -> writing.Draft:
    rows = list(dict.fromkeys(held))
    one = rows[0].kit if len({row.kit_id for row in rows}) == 1 else None
    return writing.Draft(
        person=person,
        fact=fact,
        kit=one,
        room=rows[0].kit.home_room,
        facts={"kits": [_facts(row, person) for row in rows]},
    )


def _facts(held: Checkout, reader: Person) -> OverdueKit:
    return {
        "checkout": held.pk,
        "kit": held.what,
        "page": held.kit.name,
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
    checkouts = {kit["checkout"] for row in rows for kit in row.facts["kits"]}
    out = Checkout.objects.open().filter(pk__in=checkouts, kit__lost_since__isnull=True)
    due = {pk: iso(at) for pk, at in out.values_list("pk", "due_at")} if checkouts else {}
    for row in rows:
        kits = [kit for kit in row.facts["kits"] if due.get(kit["checkout"]) == kit["due_at"]]
        row.facts = {**row.facts, "kits": kits}
    return {row.pk for row in rows if not row.facts["kits"]}
