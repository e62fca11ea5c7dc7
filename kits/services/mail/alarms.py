"""What becomes urgent by the passing of time: each alarm once for one fact."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain

from django.db import transaction
from django.utils.translation import override

from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped
from kits.models import Checkout, Episode, Kit, Reservation, Trip
from kits.rules.buying.order_levels import Episode as Change, episode as change_of
from kits.rules.ledger import UNSUITABLE, Reason, Verdict, Weight
from kits.rules.trips.trips import Coverage
from kits.services.mail import overdue
from kits.services.notices import (
    KitOfTrip,
    LowItem,
    LowStock,
    TripNotCovered,
    episodes,
    recipients,
    writing,
)
from kits.services.recalls import recall_notices
from kits.services.stock.order_levels import stock_levels
from kits.services.text import reason_texts, verdict_texts
from kits.services.trips import trip_readiness

SOON = timedelta(hours=48)
_KINDS = ("must-have-gone", "not-fit", "not-covered")
"""Of a trip that leaves soon, the gravest first."""


def look(now: datetime) -> None:
    """All but stock, which takes longer to look at and can wait longer."""
    overdue.look(now)
    going_soon(now)
    recall_notices.ask_again(now)


# ----------------------------------------------------------------------- promised and not ready
def going_soon(now: datetime) -> None:
    """Trips within 48 hours that are not covered, each cause noticed once while it lasts: a kit
    that is short or not to be taken for it, together with its other kits; one that is out on
    something else; a must-have gone from one; no kit; or kits that went early and are not enough
    together. What comes up of a trip in one look is one notice, with its kits."""
    near = Trip.objects.filter(departs_at__gt=now, departs_at__lte=now + SOON)
    judged = [
        each
        for each in trip_readiness.judge_trips(near.select_related("room", "leader"))
        if each.coverage not in (None, Coverage.COVERED)
    ]
    causes = [*_kits_not_ready(judged), *_trips_not_covered(judged)]
    known = episodes.open_ones(*_KINDS)
    keys = {cause.key for cause in causes}
    episodes.close((episode for key, episode in known.items() if key not in keys), now)
    new = grouped((cause.trip.pk, cause) for cause in causes if cause.key not in known)
    keepers = recipients.Keepers()
    for of_trip in new.values():
        _notify_of_trip(of_trip, keepers, now)


@dataclass(frozen=True)
class _Cause:
    """Why a trip is not covered: of one of its kits (`of`), or of the whole trip, with `kits` it
    has."""

    kind: str
    subject: str
    trip: Trip
    reasons: Sequence[Reason]
    of: "_Leaving | None" = None
    kits: Sequence[Kit] = ()

    @property
    def key(self) -> tuple[str, str]:
        """Which episode it is."""
        return self.kind, self.subject


def _kits_not_ready(trips: Iterable[trip_readiness.JudgedTrip]) -> Iterator[_Cause]:
    for each in _leaving(trips):
        r = each.reservation
        must_haves = [x for x in each.reasons if x.by_phone]
        for x in must_haves:
            subject = f"reservation:{r.pk}:line:{x.facts['line']}"
            yield _Cause("must-have-gone", subject, each.trip, [x], each, [r.kit])
        if each.held is not None or len(each.reasons) > len(must_haves):
            subject = f"reservation:{r.pk}" + (":out" if each.held is not None else "")
            yield _Cause("not-fit", subject, each.trip, each.reasons, each, [r.kit])


def _trips_not_covered(trips: Iterable[trip_readiness.JudgedTrip]) -> Iterator[_Cause]:
    """What is of a trip and of none of its kits that are still here."""
    for each in trips:
        lacking = [x for x in each.lacking if x.weight >= Weight.SHORT]
        if each.state == "no-kits":
            cause, lacking = "no-kit", []
        elif lacking and not each.where.waiting:
            cause = "lacking"
        else:
            continue
        subject = f"trip:{each.trip.pk}:{cause}"
        yield _Cause(
            "not-covered", subject, each.trip, lacking, None, [row.kit for row in each.kits]
        )


def _notify_of_trip(causes: Sequence[_Cause], keepers: recipients.Keepers, now: datetime) -> None:
    """Open an episode for each cause, and notify each person once of all that concern them, in
    their language."""
    trip = causes[0].trip
    of_room = keepers.of(trip.room) if trip.room else []
    concern = grouped(
        (person, cause)
        for cause in causes
        for person in dict.fromkeys([*chain(*map(keepers.of_kit, cause.kits)), *of_room])
    )
    if not concern:  # it leaves from no room of ours yet, and has no kit
        return
    with transaction.atomic():
        opened = episodes.open_new(
            [
                Episode(kind=cause.kind, subject=cause.subject, room=trip.room, opened_at=now)
                for cause in causes
            ]
        )
        keys = {(episode.kind, episode.subject) for episode in opened}
        for person, of_person in concern.items():
            if new := [cause for cause in of_person if cause.key in keys]:
                kinds = {cause.kind for cause in new}
                with override(person.reads):
                    facts = _facts(trip, new)
                kits = {cause.of.reservation.kit for cause in new if cause.of is not None}
                draft = writing.Draft(
                    person=person,
                    fact=f"episode:{opened[0].pk}",
                    kit=kits.pop() if len(kits) == 1 else None,
                    room=trip.room or next((kit.home_room for c in new for kit in c.kits), None),
                    facts=facts,
                )
                writing.write(next(kind for kind in _KINDS if kind in kinds), [draft])


def _facts(trip: Trip, causes: Iterable[_Cause]) -> TripNotCovered:
    """The facts of a notice, in the language of now; each kit with all that stands against it."""
    of_trip: list[str] = []
    by_kit: dict[int, tuple[_Leaving, dict[str, None]]] = {}
    for cause in causes:
        texts = [reason_texts.reason(x)["text"] for x in cause.reasons]
        if cause.of is None:
            of_trip += texts
        else:
            of_kit = by_kit.setdefault(cause.of.reservation.kit_id, (cause.of, {}))
            of_kit[1].update(dict.fromkeys(texts))
    return {
        "trip": trip.name,
        "trip_id": trip.pk,
        "departs_at": trip.departs_at.isoformat(),
        "reasons": of_trip,
        "kits": [_kit_facts(kit, list(texts)) for kit, texts in by_kit.values()],
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


def _leaving(trips: Iterable[trip_readiness.JudgedTrip]) -> Iterator[_Leaving]:
    """The kits that keep trips from being covered. A trip that waits for a kit is told of as well
    by then."""
    for judged in trips:
        together: set[str] = set()
        for each in judged.kits:
            if each.reservation is None or each.on_it or each.verdict is None:
                continue
            worst = [x for x in each.verdict.reasons if x.weight >= Weight.SHORT]
            # What the trip's kits lack together, or latex in one of them, is told for one kit.
            reasons = [x for x in worst if _together(x) not in together]
            together.update(key for x in worst if (key := _together(x)) is not None)
            yield _Leaving(judged.trip, each.reservation, each.verdict, reasons, each.elsewhere)


def _together(why: Reason) -> str | None:
    """What tells reasons apart that are of a trip's kits together; None for those of one kit."""
    return f"{why.code}:{why.facts.get('kit_id', '')}" if why.code in UNSUITABLE else None


def _kit_facts(each: _Leaving, reasons: list[str]) -> KitOfTrip:
    """What a notice says of a kit, in the language of now."""
    kit, verdict, held = each.reservation.kit, each.verdict, each.held
    facts: KitOfTrip = {
        "kit": kit.name,
        "first_expiry": kit.first_expiry.isoformat() if kit.first_expiry else None,
        "through": verdict.through.isoformat(),
        "verdict": str(verdict.word),
        "verdict_text": verdict_texts.verdict(verdict),
        "reasons": reasons,
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
    """Things on a room's shelves that are down to their order level: noticed once a crossing."""
    known = episodes.open_ones("low-stock")
    over = dict(known)
    crossed = []
    for row in chain(*stock_levels.stocked(list(Room.objects.order_by("pk"))).values()):
        key = ("low-stock", _subject(row))
        change = change_of(key in known, row.stock + row.on_order, row.level.down_to)
        if change is not Change.CLOSE:
            over.pop(key, None)
        if change is Change.OPEN and row.level.units > 0:
            crossed.append((row.room.pk, row))
    episodes.close(over.values(), now)
    for rows in grouped(crossed).values():
        _notify_low(rows, now)


def _subject(row: stock_levels.ItemLevel) -> str:
    return f"room:{row.room.pk}:item:{row.item.pk}"


@transaction.atomic
def _notify_low(rows: list[stock_levels.ItemLevel], now: datetime) -> None:
    """Open an episode for each thing, and notify the room's keepers of all of them at once."""
    room = rows[0].room
    opened = episodes.open_new(
        [
            Episode(
                kind="low-stock",
                subject=_subject(row),
                room=room,
                facts=_low(row),
                opened_at=now,
            )
            for row in rows
        ]
    )
    if opened:
        facts: LowStock = {"things": [episode.facts for episode in opened]}
        people = recipients.keepers_of(room)
        writing.notify(people, "low-stock", f"episode:{opened[0].pk}", room=room, facts=facts)


def _low(row: stock_levels.ItemLevel) -> LowItem:
    return {
        "thing": row.item.name,
        "item": row.item.pk,
        "stock": row.stock,
        "level": row.level.units,
        "basis": str(row.level.basis),
        "lead_days": row.lead_days,
    }
