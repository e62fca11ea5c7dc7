"""What comes to be told by the passing of time, found by a sweep: each alarm once for one fact.

A state that lasts is an episode: told when it opens, and again only after it was over. Whoever
looks first writes it; a second look at the same moment finds it written.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
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
from kits.rules.facts import Reason, Verdict, Weight, Word
from kits.rules.ordering import Episode as Change
from kits.rules.ordering import episode as change_of
from kits.rules.suits import Mismatch
from kits.rules.trips import Coverage
from kits.services import (
    not_back,
    notices,
    outlook,
    recall_notices,
    stocking,
    verdict_wording,
    wording,
)
from kits.services.outlook import TripSeen
from kits.services.stocking import Stocked

SOON = timedelta(hours=48)


def look(now: datetime) -> None:
    """All but stock, which takes longer to look at and can wait longer."""
    not_back.look(now)
    going_soon(now)
    recall_notices.ask_again(now)


class _Answering:
    """Who answers for a kit, who stands in, and the keepers of its room, who are asked for once a
    room."""

    def __init__(self) -> None:
        self._keepers: dict[int, list[Person]] = {}

    def __call__(self, kit: Kit) -> list[Person]:
        if kit.home_room_id not in self._keepers:
            self._keepers[kit.home_room_id] = notices.keepers_of(kit.home_room)
        keepers = self._keepers[kit.home_room_id]
        return [*(p for p in (kit.responsible, kit.deputy) if p), *keepers]

    def for_trip(self, trip: Trip, kits: Iterable[Kit]) -> list[Person]:
        """Those of a trip's kits, and the keepers of the room that it leaves from, if any."""
        if trip.room is not None and trip.room_id not in self._keepers:
            self._keepers[trip.room.pk] = notices.keepers_of(trip.room)
        keepers = self._keepers[trip.room.pk] if trip.room is not None else []
        return [*(person for kit in kits for person in self(kit)), *keepers]


# ----------------------------------------------------------------------- promised and not ready
def going_soon(now: datetime) -> None:
    """Trips within 48 hours that are not covered, each cause told once while it lasts: a kit that
    is short or not to be taken for it, together with its other kits; one that is out on something
    else; a must-have gone from one; no kit; or kits that went early and do not do together."""
    answering = _Answering()
    near = Trip.objects.filter(departs_at__gt=now, departs_at__lte=now + SOON)
    seen = [
        each
        for each in outlook.seen(near.select_related("room", "leader"))
        if each.coverage not in (None, Coverage.COVERED)
    ]
    standing = _kits_not_ready(seen, answering, now) | _trips_not_covered(seen, answering, now)
    kinds = ("must-have-gone", "not-fit", "not-covered")
    for episode in Episode.objects.filter(kind__in=kinds, closed_at__isnull=True):
        if (episode.kind, episode.subject) not in standing:
            _close(episode, now)


_Open = set[tuple[str, str]]
"""Kinds and subjects of episodes that last."""


def _kits_not_ready(seen: Iterable[TripSeen], answering: _Answering, now: datetime) -> _Open:
    standing: _Open = set()
    for each in _leaving(seen):
        r = each.reservation
        whom = answering.for_trip(each.trip, [r.kit])
        must_haves = [x for x in each.reasons if x.by_phone]
        for x in must_haves:
            subject = f"reservation:{r.pk}:line:{x.facts['line']}"
            standing.add(("must-have-gone", subject))
            say = partial(_going, each, [x])
            _open("must-have-gone", subject, now, whom, kit=r.kit, say=say)
        if each.held is not None or len(each.reasons) > len(must_haves):
            subject = f"reservation:{r.pk}" + (":out" if each.held is not None else "")
            standing.add(("not-fit", subject))
            say = partial(_going, each, each.reasons)
            _open("not-fit", subject, now, whom, kit=r.kit, say=say)
    return standing


def _trips_not_covered(seen: Iterable[TripSeen], answering: _Answering, now: datetime) -> _Open:
    """What is of a trip and of none of its kits that are still here."""
    standing: _Open = set()
    for each in seen:
        lacking = [x for x in each.lacking if x.weight >= Weight.SHORT]
        if each.state == "no-kits":
            cause, lacking = "no-kit", []
        elif lacking and all(row.on_it for row in each.kits):
            cause = "lacking"
        else:
            continue
        whom = answering.for_trip(each.trip, [row.kit for row in each.kits])
        if not whom:  # it leaves from no room of ours yet, and has no kit
            continue
        subject = f"trip:{each.trip.pk}:{cause}"
        standing.add(("not-covered", subject))
        say = partial(_uncovered, each.trip, lacking)
        _open("not-covered", subject, now, whom, room=each.trip.room, say=say)
    return standing


def _uncovered(trip: Trip, lacking: Iterable[Reason]) -> dict[str, Any]:
    """The facts of such a notice, in the language of now."""
    return {
        "trip": trip.name,
        "trip_id": trip.pk,
        "departs_at": trip.departs_at.isoformat(),
        "reasons": [wording.reason(x)["text"] for x in lacking],
    }


@dataclass(frozen=True)
class _Leaving:
    """A kit that goes out soon, and is not there or not ready: its verdict for the trip, what of
    that is to be told, and who has it on something else."""

    trip: Trip
    reservation: Reservation
    verdict: Verdict
    reasons: Sequence[Reason]
    held: Checkout | None


def _leaving(trips: Iterable[TripSeen]) -> Iterator[_Leaving]:
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
    return f"{why.code}:{why.facts.get('kit_id', '')}" if why.code in set(Mismatch) else None


def _going(each: _Leaving, reasons: Iterable[Reason]) -> dict[str, Any]:
    """The facts of a notice, in the language of now."""
    trip, verdict, held = each.trip, each.verdict, each.held
    facts: dict[str, Any] = {
        "trip": trip.name,
        "trip_id": trip.pk,
        "departs_at": trip.departs_at.isoformat(),
        "through": verdict.through.isoformat(),
        "verdict": str(verdict.word),
        "verdict_text": verdict_wording.verdict(verdict),
        "reasons": [wording.reason(x)["text"] for x in reasons],
    }
    if held is not None:
        person = held.person
        facts["out"] = {
            "person": person.name if person else "",
            "phone": person.phone if person else "",
            "due_at": held.due_at.isoformat() if held.due_at else "",
        }
    return facts


# ----------------------------------------------------------------------------------------- stock
def look_at_stock(now: datetime) -> None:
    """Things on a room's shelves that are down to their order level: told once a crossing."""
    rooms = list(Room.objects.order_by("pk"))
    stock = stocking.stocked(rooms)
    open_now = {
        e.subject: e for e in Episode.objects.filter(kind="low-stock", closed_at__isnull=True)
    }
    seen = set()
    crossed: dict[int, list[Stocked]] = defaultdict(list)
    for row in (s for found in stock.values() for s in found):
        subject = _subject(row)
        seen.add(subject)
        change = change_of(subject in open_now, row.stock, row.level.units)
        if change is Change.OPEN and row.level.units > 0:
            crossed[row.room.pk].append(row)
        elif change is Change.CLOSE:
            _close(open_now[subject], now)
    for subject, episode in open_now.items():
        if subject not in seen:
            _close(episode, now)
    for rows in crossed.values():
        _tell_low(rows, now)


def _subject(row: Stocked) -> str:
    return f"room:{row.room.pk}:item:{row.item.pk}"


def _tell_low(rows: list[Stocked], now: datetime) -> None:
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
            Episode.objects.filter(
                kind="low-stock",
                subject__in=[_subject(row) for row in rows],
                closed_at__isnull=True,
                opened_at=now,
            ).order_by("pk")
        )
        if opened:
            notices.tell(
                notices.keepers_of(room),
                "low-stock",
                f"episode:{opened[0].pk}",
                room=room,
                facts={"things": [e.facts for e in opened]},
            )


def _low(row: Stocked) -> dict[str, Any]:
    return {
        "thing": row.item.name,
        "item": row.item.pk,
        "stock": row.stock,
        "level": row.level.units,
        "basis": str(row.level.basis),
        "lead_days": row.item.lead_time_days,
    }


# -------------------------------------------------------------------------------------- episodes
def _open(
    kind: str,
    subject: str,
    now: datetime,
    people: Iterable[Person],
    *,
    kit: Kit | None = None,
    room: Room | None = None,
    say: Callable[[], dict[str, Any]],
) -> None:
    """Open an episode and tell each of these people of it in their language, unless one is
    open."""
    room = kit.home_room if kit else room
    with transaction.atomic():
        if Episode.objects.filter(kind=kind, subject=subject, closed_at__isnull=True).exists():
            return
        row = Episode(kind=kind, subject=subject, room=room, kit=kit, facts=say(), opened_at=now)
        Episode.objects.bulk_create([row], ignore_conflicts=True)
        episode = Episode.objects.get(kind=kind, subject=subject, closed_at__isnull=True)
        for person in people:
            with override(person.reads):
                facts = say()
            fact = f"episode:{episode.pk}"
            notices.tell([person], kind, fact, kit=kit, room=room, facts=facts)


def _close(episode: Episode, now: datetime) -> None:
    Episode.objects.filter(pk=episode.pk, closed_at__isnull=True).update(closed_at=now)
