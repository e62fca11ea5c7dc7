"""A kit's time with people: taken out, passed on, handed back.

Taking a kit out asks for permission and can be refused. That a kit went, was passed on or is here
are facts: they are written down whatever the book says, marked irregular where a rule was broken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.act import Act
from gearroom.core.models import Person
from gearroom.core.problems import Refused, Unacceptable
from kits.models import (
    AsFound,
    Checkout,
    Entry,
    EntryKind,
    Handover,
    Kit,
    Place,
    Reservation,
    Seal,
    Trip,
    WithheldKind,
)
from kits.rules.facts import Verdict, Weight, Word
from kits.rules.irregular import Broken
from kits.services import find, fitness, keeping, notices, use, wording
from kits.services.holders import kit_is_out, open_checkout
from kits.services.ledger import Book


@dataclass(frozen=True)
class Taken:
    """A kit (or section) that was taken out, and how it stood then."""

    checkout: Checkout
    entry: Entry
    verdict: Verdict


@dataclass(frozen=True)
class Passed:
    """A kit that was passed to another person on the way."""

    checkout: Checkout
    entry: Entry


@dataclass(frozen=True)
class HandedBack:
    """A kit that was handed back. `checkout` is None where the book did not show it out."""

    kit: Kit
    entry: Entry
    checkout: Checkout | None
    as_found: AsFound
    use: use.Used | None = None
    irregular: Sequence[Broken] = field(default_factory=list)


def end_of_day(day: date, zone: str) -> datetime:
    """The last second of a local day: the due time where nobody gave one."""
    return datetime.combine(day + timedelta(days=1), time(), ZoneInfo(zone)) - timedelta(seconds=1)


@dataclass(frozen=True)
class Plan:
    """What taking a kit out would mean: for which trip, who gets it, until when, and how it
    stands through then."""

    kit: Kit
    trip: Trip | None
    person: Person | None
    reservation: Reservation | None
    due_at: datetime
    verdict: Verdict


def plan(
    kit: Kit,
    *,
    person: Person | None = None,
    trip: Trip | None = None,
    due_at: datetime | None = None,
) -> Plan:
    """Who and what a kit would go out for, by the trip it is reserved for unless told otherwise."""
    zone = kit.home_room.time_zone
    today = clock.today(zone)
    trip = trip or find.next_promise(kit, today)
    reservation = None
    if trip is not None:
        reservation = (
            Reservation.objects.select_related("person")
            .filter(kit=kit, trip=trip, released__isnull=True)
            .first()
        )
    if person is None and trip is not None:
        person = (reservation.person if reservation else None) or trip.leader
    if due_at is None:
        due_at = trip.returns_at if trip else end_of_day(today, zone)
    through = max(trip.last_day if trip else today, clock.local_date(due_at, zone), today)
    verdict = fitness.verdict(kit, through, trip)
    return Plan(kit, trip, person, reservation, due_at, verdict)


def check_out(
    act: Act,
    kit: Kit,
    *,
    person: Person | None = None,
    trip: Trip | None = None,
    due_at: datetime | None = None,
    section: Place | None = None,
    short_reason: str = "",
    emergency: bool = False,
    already_gone: bool = False,
    irregular: Sequence[Broken] = (),
) -> Taken:
    """Take a kit out to a person.

    Without `trip` it is the one the kit is reserved for next; without `person` the one the kit is
    reserved to, or the trip's leader. `emergency` and `already_gone` are facts and always
    recorded; `irregular` are rules that the caller knows were broken.

    Raises Refused: `kit-is-out` (says who has it), `not-fit`, `short-needs-a-reason`;
    Unacceptable: `who-takes-it`, `due-in-the-past`.
    """
    fact = emergency or already_gone
    with Book(act) as book:
        (kit,) = book.lock(kit.pk)
        if not fact:
            act.actor.require("check_out", kit.room_id)
        irregular = list(irregular)
        held = open_checkout(kit, section)
        with_kit = open_checkout(kit) if section else None
        for whoever in filter(None, (held, with_kit)):
            if not fact:
                raise kit_is_out(whoever)
            irregular.append(Broken.WAS_OUT)
        going = plan(kit, person=person, trip=trip, due_at=due_at)
        if going.person is None and not fact:
            raise Unacceptable(
                "who-takes-it",
                _(
                    "%(kit)s is not reserved to anybody. Scan the guide's tag or choose who "
                    "takes it."
                )
                % {"kit": kit.name},
            )
        verdict = going.verdict
        codes = [r.code for r in verdict.reasons]
        if not fact:
            if going.due_at <= act.received_at:
                raise Unacceptable(
                    "due-in-the-past",
                    _("The due time has passed already. Give a time that is still to come."),
                )
            _may_it_go(act, kit, verdict, short_reason)
        elif not verdict.fit:
            irregular += [Broken(r.code) for r in verdict.reasons if r.weight >= Weight.SHORT]
        entry = book.post(
            EntryKind.EMERGENCY if emergency else EntryKind.CHECK_OUT,
            kit=kit,
            trip=going.trip,
            irregular=[*irregular, *([Broken.EMERGENCY] if emergency else [])],
            detail={
                "to": going.person.pk if going.person else None,
                "due_at": going.due_at.isoformat(),
                "through": verdict.through.isoformat(),
                "reasons": codes,
                "section": section.section_key if section else None,
                "short_reason": short_reason,
            },
        )
        if held is not None:
            _close(held, entry)
        checkout = Checkout.objects.create(
            kit=kit,
            section=section,
            person=going.person,
            trip=going.trip,
            reservation=going.reservation,
            out_at=entry.occurred_at,
            due_at=max(going.due_at, entry.occurred_at),
            opened_by=entry,
            emergency=emergency,
            short_reason=short_reason,
        )
        Handover.objects.create(
            checkout=checkout, person=going.person, since=entry.occurred_at, entry=entry
        )
        if kit.lost_since is not None:
            keeping.mark_found(book, kit)
        if emergency:
            notices.tell_keepers(entry, "emergency", kit=kit)
        elif irregular:
            notices.tell_keepers(entry, "irregular", kit=kit)
    return Taken(checkout, entry, verdict)


def _may_it_go(act: Act, kit: Kit, verdict: Verdict, short_reason: str) -> None:
    reasons = [wording.reason(r) for r in verdict.reasons]
    if not verdict.may_go:
        raise Refused(
            "not-fit",
            _("%(kit)s is not fit to go through %(day)s: %(which)s")
            % {"kit": kit.name, "day": wording.day(verdict.through), "which": reasons[0]["text"]},
            kit=kit.name,
            through=verdict.through.isoformat(),
            reasons=reasons,
        )
    if verdict.word is Word.SHORT:
        if not short_reason:
            raise Refused(
                "short-needs-a-reason",
                _(
                    "%(kit)s is short: %(which)s A keeper or an instructor may let it go with "
                    "a reason."
                )
                % {"kit": kit.name, "which": reasons[0]["text"]},
                kit=kit.name,
                through=verdict.through.isoformat(),
                reasons=reasons,
            )
        act.actor.require("check_out_short", kit.room_id)


def _close(held: Checkout, entry: Entry, as_found: str = "") -> None:
    held.in_at = max(entry.occurred_at, held.out_at)
    held.closed_by = entry
    held.as_found = as_found
    held.save(update_fields=["in_at", "closed_by", "as_found"])


def check_in(
    act: Act,
    kit: Kit,
    *,
    as_found: AsFound = AsFound.SORT_LATER,
    section: Place | None = None,
    seal_seen: str = "",
    used: Sequence[use.UseLine] = (),
    levels: Sequence[use.LevelSeen] = (),
    sharps_or_blood: bool = False,
    wet: bool = False,
    wrong: str = "",
    photo: bytes = b"",
    incident: str = "",
) -> HandedBack:
    """Hand a kit back, in whatever room and whoever brings it; never refused.

    `seal_seen` is the number read off the seal (its last three characters are enough); one that
    is not on record means the kit was opened. `used` is written against the checkout's trip.
    `wrong` says what is wrong with it, and `photo` is a JPEG that shows it.
    """
    irregular: list[Broken] = []
    with Book(act) as book:
        (kit,) = book.lock(kit.pk)
        held = open_checkout(kit, section)
        if held is None:
            irregular.append(Broken.WAS_NOT_OUT)
        seal = Seal.objects.filter(kit=kit, section=section, broken__isnull=True).first()
        if as_found == AsFound.SEALED and not _seal_holds(seal, seal_seen):
            as_found = AsFound.OPENED if seal_seen else AsFound.SORT_LATER
            irregular.append(Broken.SEAL_NOT_THE_ONE if seal_seen else Broken.NO_SEAL_ON_RECORD)
        if used and as_found != AsFound.OPENED:
            as_found = AsFound.OPENED
        here = act.room or kit.room
        entry = book.post(
            EntryKind.CHECK_IN,
            kit=kit,
            room=here,
            trip=held.trip if held else None,
            checkout=held,
            irregular=irregular,
            detail={
                "as_found": as_found,
                "seal_seen": seal_seen,
                "sharps_or_blood": sharps_or_blood,
                "section": section.section_key if section else None,
                "before": {"room": kit.room_id},
            },
        )
        if held is not None:
            _close(held, entry, as_found)
        if section is None:
            kit.room = here
        if kit.lost_since is not None:
            keeping.mark_found(book, kit)
        if as_found != AsFound.SEALED:
            kit.to_sort_since = entry.occurred_at
        if as_found == AsFound.OPENED:
            book.break_seals(entry, [section] if section else list(kit.sections.all()))
        kit.save(update_fields=["room", "to_sort_since"])
        done = None
        if used or levels:
            done = use.write(book, kit, used, levels=levels, checkout=held, incident=incident)
        if wet:
            keeping.withhold_kit(book, kit, WithheldKind.DRYING, "")
        if wrong or photo:
            keeping.withhold_kit(book, kit, WithheldKind.SOMETHING_WRONG, wrong, photo)
        if irregular:
            notices.tell_keepers(entry, "irregular", kit=kit)
    return HandedBack(kit, entry, held, as_found, done, irregular)


def _seal_holds(seal: Seal | None, seen: str) -> bool:
    if seal is None:
        return False
    seen, number = seen.strip().casefold(), seal.number.casefold()
    return not seen or seen == number or (len(seen) >= 3 and number.endswith(seen))


def pass_on(act: Act, kit: Kit, person: Person) -> Passed:
    """Record that a kit was passed to another person on the way.

    Where the book does not show the kit out, it is recorded as having gone out to them, irregular:
    nobody judged it before it went.
    """
    with Book(act) as book:
        (kit,) = book.lock(kit.pk)
        held = open_checkout(kit)
        if held is None:
            unseen = [Broken.WAS_NOT_TAKEN_OUT]
            taken = check_out(act, kit, person=person, already_gone=True, irregular=unseen)
            return Passed(taken.checkout, taken.entry)
        if held.person_id == person.pk:
            raise Refused(
                "has-it-already",
                _("%(person)s has %(kit)s already.") % {"person": person.name, "kit": kit.name},
            )
        entry = book.post(
            EntryKind.PASS,
            kit=kit,
            trip=held.trip,
            checkout=held,
            detail={"from": held.person_id, "to": person.pk},
        )
        Handover.objects.create(
            checkout=held, person=person, since=max(entry.occurred_at, held.out_at), entry=entry
        )
        held.person = person
        held.save(update_fields=["person"])
    return Passed(held, entry)
