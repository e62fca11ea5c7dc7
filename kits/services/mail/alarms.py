"""What comes to be told by the passing of time, found by a sweep: each alarm once for one fact.

A state that lasts is an episode: told when it opens, and again only after it was over. Whoever
looks first writes it; a second look at the same moment finds it written.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import override

from gearroom.core.models import Person, Room
from kits.models import (
    Checkout,
    Episode,
    Kit,
    Reservation,
    Trip,
)
from kits.rules.ledger.facts import Reason, Verdict, Weight, Word
from kits.rules.ledger.reasons import UNSUITABLE
from kits.rules.stock.ordering import Episode as Change
from kits.rules.stock.ordering import episode as change_of
from kits.rules.trips.trips import Coverage
from kits.services.mail import overdue
from kits.services.notices import writing
from kits.services.recalls import recall_notices
from kits.services.stock import stock_levels
from kits.services.stock.stock_levels import ItemLevel
from kits.services.text import reason_texts, verdict_texts
from kits.services.trips import trip_readiness
from kits.services.trips.trip_readiness import JudgedTrip

SOON = timedelta(hours=48)


def look(now: datetime) -> None:
    """All but stock, which takes longer to look at and can wait longer."""
    overdue.look(now)
    going_soon(now)
    recall_notices.ask_again(now)


class _Answering:
    """Who answers for a kit, who stands in, and the keepers of its room, who are asked for once a
    room."""

    def __init__(self) -> None:
        self._keepers: dict[int, list[Person]] = {}

    def __call__(self, kit: Kit) -> list[Person]:
        if kit.home_room_id not in self._keepers:
            self._keepers[kit.home_room_id] = writing.keepers_of(kit.home_room)
        keepers = self._keepers[kit.home_room_id]
        return [*(p for p in (kit.responsible, kit.deputy) if p), *keepers]

    def for_trip(self, trip: Trip, kits: Iterable[Kit]) -> list[Person]:
        """Those of a trip's kits, and the keepers of the room that it leaves from, if any."""
        if trip.room is not None and trip.room_id not in self._keepers:
            self._keepers[trip.room.pk] = writing.keepers_of(trip.room)
        keepers = self._keepers[trip.room.pk] if trip.room is not None else []
        return [*(person for kit in kits for person in self(kit)), *keepers]


# ----------------------------------------------------------------------- promised and not ready
def going_soon(now: datetime) -> None:
    """Trips within 48 hours that are not covered, each cause told once while it lasts: a kit that
    is short or not to be taken for it, together with its other kits; one that is out on something
    else; a must-have gone from one; no kit; or kits that went early and do not do together. What
    comes up of a trip in one look is one notice, with its kits."""
    answering = _Answering()
    near = Trip.objects.filter(departs_at__gt=now, departs_at__lte=now + SOON)
    seen = [
        each
        for each in trip_readiness.judge_trips(near.select_related("room", "leader"))
        if each.coverage not in (None, Coverage.COVERED)
    ]
    causes = [*_kits_not_ready(seen), *_trips_not_covered(seen)]
    kinds = ("must-have-gone", "not-fit", "not-covered")
    known = {
        (episode.kind, episode.subject): episode
        for episode in Episode.objects.open().filter(kind__in=kinds)
    }
    standing = {(cause.kind, cause.subject) for cause in causes}
    for key, episode in known.items():
        if key not in standing:
            _close(episode, now)
    new: dict[int, list[_Cause]] = defaultdict(list)
    for cause in causes:
        if (cause.kind, cause.subject) not in known:
            new[cause.trip.pk].append(cause)
    for of_trip in new.values():
        _tell_of_trip(of_trip, answering, now)


@dataclass(frozen=True)
class _Cause:
    """Why a trip is not covered: of one of its kits (`of`), or of the whole trip, with `kits` it
    has."""

    kind: str
    subject: str
    trip: Trip
    reasons: Sequence[Reason]
    of: _Leaving | None = None
    kits: Sequence[Kit] = ()


def _kits_not_ready(seen: Iterable[JudgedTrip]) -> Iterator[_Cause]:
    for each in _leaving(seen):
        r = each.reservation
        must_haves = [x for x in each.reasons if x.by_phone]
        for x in must_haves:
            subject = f"reservation:{r.pk}:line:{x.facts['line']}"
            yield _Cause("must-have-gone", subject, each.trip, [x], each, [r.kit])
        if each.held is not None or len(each.reasons) > len(must_haves):
            subject = f"reservation:{r.pk}" + (":out" if each.held is not None else "")
            yield _Cause("not-fit", subject, each.trip, each.reasons, each, [r.kit])


def _trips_not_covered(seen: Iterable[JudgedTrip]) -> Iterator[_Cause]:
    """What is of a trip and of none of its kits that are still here."""
    for each in seen:
        lacking = [x for x in each.lacking if x.weight >= Weight.SHORT]
        if each.state == "no-kits":
            cause, lacking = "no-kit", []
        elif lacking and all(row.on_it for row in each.kits):
            cause = "lacking"
        else:
            continue
        subject = f"trip:{each.trip.pk}:{cause}"
        kits = [row.kit for row in each.kits]
        yield _Cause("not-covered", subject, each.trip, lacking, None, kits)


def _tell_of_trip(causes: Sequence[_Cause], answering: _Answering, now: datetime) -> None:
    """Open an episode for each cause, and tell each person once of all that concern them, in
    their language."""
    trip = causes[0].trip
    people: dict[int, Person] = {}
    told: dict[int, list[_Cause]] = defaultdict(list)
    for cause in causes:
        whom = {p.pk: p for p in answering.for_trip(trip, cause.kits)}
        people |= whom
        for pk in whom:
            told[pk].append(cause)
    if not people:  # it leaves from no room of ours yet, and has no kit
        return
    with transaction.atomic():
        opened = _opened([(cause.kind, cause.subject) for cause in causes], trip, now)
        for pk, person in people.items():
            new = [cause for cause in told[pk] if (cause.kind, cause.subject) in opened]
            if not new:
                continue
            kinds = {cause.kind for cause in new}
            kind = next(k for k in ("must-have-gone", "not-fit", "not-covered") if k in kinds)
            with override(person.reads):
                facts = _of_trip(trip, new)
            kits = {cause.of.reservation.kit for cause in new if cause.of is not None}
            draft = writing.Draft(
                person=person,
                fact=f"episode:{min(opened.values())}",
                kit=kits.pop() if len(kits) == 1 else None,
                room=trip.room or next((kit.home_room for c in new for kit in c.kits), None),
                facts=facts,
            )
            writing.write(kind, [draft])


def _opened(
    subjects: Sequence[tuple[str, str]], trip: Trip, now: datetime
) -> dict[tuple[str, str], int]:
    """Open these episodes; those that were not open, by kind and subject. Another look at the same
    moment opens and tells the others."""
    Episode.objects.bulk_create(
        (
            Episode(kind=kind, subject=subject, room=trip.room, opened_at=now)
            for kind, subject in subjects
        ),
        ignore_conflicts=True,
    )
    ours = Episode.objects.open().filter(
        subject__in=[subject for _, subject in subjects], opened_at=now
    )
    return {(kind, subject): pk for pk, kind, subject in ours.values_list("pk", "kind", "subject")}


def _of_trip(trip: Trip, causes: Iterable[_Cause]) -> dict[str, Any]:
    """The facts of a notice, in the language of now; each kit with all that stands against it."""
    facts: dict[str, Any] = {
        "trip": trip.name,
        "trip_id": trip.pk,
        "departs_at": trip.departs_at.isoformat(),
        "reasons": [],
        "kits": [],
    }
    by_kit: dict[int, tuple[_Leaving, dict[str, None]]] = {}
    for cause in causes:
        said = [reason_texts.reason(x)["text"] for x in cause.reasons]
        if cause.of is None:
            facts["reasons"] += said
            continue
        of = by_kit.setdefault(cause.of.reservation.kit_id, (cause.of, {}))
        of[1].update(dict.fromkeys(said))
    facts["kits"] = [_going(each, list(said)) for each, said in by_kit.values()]
    return facts


@dataclass(frozen=True)
class _Leaving:
    """A kit that goes out soon, and is not there or not ready: its verdict for the trip, what of
    that is to be told, and who has it on something else."""

    trip: Trip
    reservation: Reservation
    verdict: Verdict
    reasons: Sequence[Reason]
    held: Checkout | None


def _leaving(trips: Iterable[JudgedTrip]) -> Iterator[_Leaving]:
    """The kits that keep trips from being covered. A trip that waits for a kit is told of as well
    by then."""
    for seen in trips:
        together: set[str] = set()
        for each in seen.kits:
            if each.reservation is None or each.on_it or each.verdict is None:
                continue
            worst: list[Reason] = []
            if each.verdict.word in (Word.SHORT, Word.DO_NOT_TAKE):
                worst = [x for x in each.verdict.reasons if x.weight >= Weight.SHORT]
            # What the trip's kits lack together, or latex in one of them, is told for one kit.
            reasons = [x for x in worst if _together(x) not in together]
            together.update(key for x in worst if (key := _together(x)) is not None)
            yield _Leaving(seen.trip, each.reservation, each.verdict, reasons, each.elsewhere)


def _together(why: Reason) -> str | None:
    """What tells reasons apart that are of a trip's kits together; None for those of one kit."""
    return f"{why.code}:{why.facts.get('kit_id', '')}" if why.code in UNSUITABLE else None


def _going(each: _Leaving, reasons: Sequence[str]) -> dict[str, Any]:
    """What a notice says of a kit, in the language of now."""
    kit, verdict, held = each.reservation.kit, each.verdict, each.held
    facts: dict[str, Any] = {
        "kit": kit.name,
        "first_expiry": kit.first_expiry.isoformat() if kit.first_expiry else None,
        "through": verdict.through.isoformat(),
        "verdict": str(verdict.word),
        "verdict_text": verdict_texts.verdict(verdict),
        "reasons": list(reasons),
    }
    if held is not None:
        person = held.person
        facts["out"] = {
            "person_id": person.pk if person else None,
            "person": person.name if person else "",
            "phone": person.phone if person else "",
            "due_at": held.due_at.isoformat() if held.due_at else "",
        }
    return facts


# ----------------------------------------------------------------------------------------- stock
def look_at_stock(now: datetime) -> None:
    """Things on a room's shelves that are down to their order level: told once a crossing."""
    rooms = list(Room.objects.order_by("pk"))
    stock = stock_levels.stocked(rooms)
    open_now = {e.subject: e for e in Episode.objects.open().filter(kind="low-stock")}
    seen = set()
    crossed: dict[int, list[ItemLevel]] = defaultdict(list)
    for row in (s for found in stock.values() for s in found):
        subject = _subject(row)
        seen.add(subject)
        change = change_of(subject in open_now, row.stock, row.level.down_to)
        if change is Change.OPEN and row.level.units > 0:
            crossed[row.room.pk].append(row)
        elif change is Change.CLOSE:
            _close(open_now[subject], now)
    for subject, episode in open_now.items():
        if subject not in seen:
            _close(episode, now)
    for rows in crossed.values():
        _tell_low(rows, now)


def _subject(row: ItemLevel) -> str:
    return f"room:{row.room.pk}:item:{row.item.pk}"


def _tell_low(rows: list[ItemLevel], now: datetime) -> None:
    """Open an episode for each thing, and tell the room's keepers of all of them in one notice."""
    room = rows[0].room
    with transaction.atomic():
        Episode.objects.bulk_create(
            (
                Episode(
                    kind="low-stock",
                    subject=_subject(row),
                    room=room,
                    facts=_low(row),
                    opened_at=now,
                )
                for row in rows
            ),
            ignore_conflicts=True,
        )
        # Another look at the same moment opened some of them; those are told by it.
        opened = list(
            Episode.objects.open()
            .filter(kind="low-stock", subject__in=[_subject(row) for row in rows], opened_at=now)
            .order_by("pk")
        )
        if opened:
            writing.tell(
                writing.keepers_of(room),
                "low-stock",
                f"episode:{opened[0].pk}",
                room=room,
                facts={"things": [e.facts for e in opened]},
            )


def _low(row: ItemLevel) -> dict[str, Any]:
    return {
        "thing": row.item.name,
        "item": row.item.pk,
        "stock": row.stock,
        "level": row.level.units,
        "basis": str(row.level.basis),
        "lead_days": row.item.lead_time_days,
    }


# -------------------------------------------------------------------------------------- episodes
def _close(episode: Episode, now: datetime) -> None:
    Episode.objects.open().filter(pk=episode.pk).update(closed_at=now)
