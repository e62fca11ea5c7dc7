"""A kit's time with people: it is taken out and handed back (`passing_on` is beside it).

Taking a kit out needs permission and can be refused. That a kit went, was passed on or is here are
facts: they go on record whatever is there already, marked irregular where a rule was broken.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.utils.translation import gettext as _

from gearroom.core.acts import NOT_GIVEN, Act, NotGiven, Refused, Unacceptable, store
from gearroom.core.models import Person
from gearroom.core.services.people import people
from kits.models import (
    AsFound,
    Checkout,
    Entry,
    EntryKind,
    Handover,
    Kit,
    Place,
    Seal,
    Trip,
    WithheldKind,
)
from kits.rules.custody.in_class import back_from_class, goes_to_class
from kits.rules.ledger import ReasonCode, Verdict, Weight, seal_holds
from kits.services.custody import going_short, use
from kits.services.custody.returns import Remarks, write_remarks
from kits.services.kits import holds
from kits.services.ledger import Book, LooseLevel, kit_book, kit_state
from kits.services.lookup import kit_is_out, open_checkout, promises, refuse_ended
from kits.services.notices import writing
from kits.services.trips.purpose import Plan, plan, refuse_past, refuse_promised


@dataclass(frozen=True)
class ChangeOfHands:
    """A kit (or section) that came to other hands. `checkout` is None where that was before what is
    known of it since (then it is history, and changes nothing), or where it was not out on record.
    """

    kit: Kit
    checkout: Checkout | None
    entry: Entry


@dataclass(frozen=True)
class CheckOut(ChangeOfHands):
    """A kit (or section) that was taken out, and how it stood then."""

    verdict: Verdict


@dataclass(frozen=True)
class CheckIn(ChangeOfHands):
    """A kit that was handed back."""

    as_found: AsFound
    use: "use.UseResult | None" = None
    irregular: Sequence[ReasonCode] = field(default_factory=list)


def check_out(
    act: Act,
    kit: Kit,
    *,
    person: Person | NotGiven | None = NOT_GIVEN,
    trip: Trip | NotGiven | None = NOT_GIVEN,
    due_at: datetime | NotGiven | None = NOT_GIVEN,
    section: Place | None = None,
    short_reason: str = "",
    cleared_by: Person | None = None,
    take_reason: str = "",
    emergency: bool = False,
    already_gone: bool = False,
    irregular: Sequence[ReasonCode] = (),
) -> CheckOut:
    """Take a kit out to a person.

    Without `trip` it goes for the one that `purpose.plan` finds, with None for none; without
    `person` to whom it is reserved for that, or the trip's leader; without `due_at` it is due
    when the trip returns or the room closes, with None nobody sets a time. `short_reason` says why
    it goes though it is short, `cleared_by` who cleared it by telephone,
    `take_reason` why it goes though it is reserved for another's trip.
    A training kit that is taken for no trip goes to a class: ready or not, unless it is on hold,
    and to whoever takes it out where nobody is named.
    `emergency` and `already_gone` are facts and always recorded; an emergency is for no trip, and
    belongs to whoever reports it unless `person` says otherwise, with None nobody.
    `irregular` are rules that the caller knows were broken. A fact claimed before the kit's latest
    change of hands is written into its history, and changes nothing.

    Raises Refused: `kit-is-out` (says who has it), `reserved-for-another` (says whose it is and
    what would do), `trip-cancelled`, what `going_short.permit` raises; Unacceptable:
    `who-takes-it`, `due-in-the-past`, `trip-is-over`.
    """
    fact = emergency or already_gone
    taker = _taker(act, person, emergency=emergency)
    with kit_book(act, kit) as (book, kit):
        _require_right(act, kit, emergency=emergency, already_gone=already_gone)
        if fact and book.is_late(kit, section):
            return _into_history(book, kit, taker, trip, section, emergency, irregular)
        if emergency:
            trip, due_at = None, None
        if kit.training and isinstance(trip, NotGiven):
            trip = None
        in_class = goes_to_class(
            training=kit.training, for_trip=trip is not None, emergency=emergency
        )
        if in_class and not already_gone:
            taker = taker or _taker(act, NOT_GIVEN, emergency=False, in_class=True)
        if kit.retired_on is not None and not fact:
            raise Refused(
                "kit-retired",
                _("%(kit)s has been retired, sold or given away. Choose another kit.")
                % {"kit": kit.name},
            )
        held = open_checkout(kit, section)
        out = [each for each in (held, open_checkout(kit) if section else None) if each]
        if out and not fact:
            raise kit_is_out(out[0])
        irregular = [*irregular, *(ReasonCode.WAS_OUT for _checkout in out)]
        going = plan(kit, person=taker, trip=trip, due_at=due_at, taken_at=act.received_at)
        irregular += (
            _broken(going, book.claim() or act.received_at, emergency=emergency)
            if fact
            else _permit(act, going, section, take_reason, short_reason, cleared_by)
        )
        entry = book.post(
            EntryKind.EMERGENCY if emergency else EntryKind.CHECK_OUT,
            kit=kit,
            trip=going.trip,
            irregular=irregular,
            reason=take_reason,
            detail={
                "to": going.person.pk if going.person else None,
                "due_at": going.due_at.isoformat() if going.due_at else None,
                "through": going.verdict.through.isoformat(),
                "reasons": [r.code for r in going.verdict.reasons],
                "section": section.section_key if section else None,
                "short_reason": short_reason,
                "cleared_by": cleared_by.pk if cleared_by else None,
                "take_reason": take_reason,
                "already_gone": already_gone,
            },
        )
        if held is not None:
            _close(held, entry)
        checkout = _open(entry, going, section, short_reason)
        if kit.lost_since is not None:
            holds.mark_found(book, kit)
        going_short.record(entry, checkout, going.verdict, short_reason, cleared_by)
        if emergency or irregular:
            writing.notify_keepers(entry, "emergency" if emergency else "irregular", kit=kit)
    return CheckOut(kit, checkout, entry, going.verdict)


def _taker(
    act: Act, person: Person | NotGiven | None, *, emergency: bool, in_class: bool = False
) -> Person | None:
    """Who takes a kit. Where nobody is named in an emergency or for a class, it is whoever reports
    it, but no program. Raises Unacceptable (`who-takes-it`) for a program."""
    if isinstance(person, NotGiven):
        acting = act.person if emergency or in_class else None
        return None if acting is None or people.is_program(acting) else acting
    if person is not None and people.is_program(person):
        raise Unacceptable(
            "who-takes-it",
            _("%(person)s is a program and cannot take out a kit. Choose who is taking it out.")
            % {"person": person.name},
        )
    return person


def _open(entry: Entry, going: Plan, section: Place | None, short_reason: str) -> Checkout:
    """Write the checkout of a kit that goes by an entry, and who has it from then on."""
    checkout = Checkout.objects.create(
        kit=going.kit,
        section=section,
        person=going.person,
        trip=going.trip,
        reservation=going.reservation,
        out_at=entry.occurred_at,
        due_at=max(going.due_at, entry.occurred_at) if going.due_at else None,
        opened_by=entry,
        emergency=entry.kind == EntryKind.EMERGENCY,
        short_reason=short_reason,
    )
    Handover.objects.create(
        checkout=checkout, person=going.person, since=entry.occurred_at, entry=entry
    )
    return checkout


def _require_right(act: Act, kit: Kit, *, emergency: bool, already_gone: bool) -> None:
    if emergency:
        act.actor.require("emergency")
    elif already_gone:
        act.actor.require("report_gone", kit.home_room_id, kit.room_id)
    else:
        act.actor.require("check_out", kit.room_id)


def _permit(
    act: Act,
    going: Plan,
    section: Place | None,
    take_reason: str,
    short_reason: str,
    cleared_by: Person | None,
) -> list[ReasonCode]:
    """Refuse a request without a person who takes the kit, or due before it begins; one for a kit
    that is reserved for another or not fit, as far as no reason allows it. The rules that it
    breaks with a reason."""
    kit = going.kit
    if going.person is None:
        raise Unacceptable(
            "who-takes-it",
            _(
                "%(kit)s is not reserved for anybody. Scan the guide’s tag or choose who is "
                "taking it out."
            )
            % {"kit": kit.name},
        )
    if going.trip is not None:
        refuse_ended(
            going.trip,
            _("%(trip)s has been cancelled. Choose another trip, or none."),
            _("%(trip)s ended on %(day)s. Choose another trip, or none."),
        )
    refuse_past(act, going.due_at)
    if section is None:
        refuse_promised(act, going, take_reason)
    going_short.permit(act, going, short_reason, cleared_by)
    return [ReasonCode.RESERVED_FOR_ANOTHER] if going.others and section is None else []


def _broken(going: Plan, at: datetime, *, emergency: bool) -> list[ReasonCode]:
    """The rules that a kit broke which went all the same, at an instant."""
    training, trip = going.kit.training, going.trip
    broken = (
        []
        if goes_to_class(training=training, for_trip=trip is not None, emergency=emergency)
        else [ReasonCode(r.code) for r in going.verdict.reasons if r.weight >= Weight.SHORT]
    )
    if trip is not None and promises.ended(trip, now=at):
        cancelled = trip.cancelled_at is not None
        broken.append(ReasonCode.TRIP_CANCELLED if cancelled else ReasonCode.TRIP_OVER)
    if emergency:
        broken.append(ReasonCode.EMERGENCY)
    elif going.others:
        broken.append(ReasonCode.RESERVED_FOR_ANOTHER)
    return broken


def _into_history(
    book: Book,
    kit: Kit,
    person: Person | None,
    trip: Trip | NotGiven | None,
    section: Place | None,
    emergency: bool,
    irregular: Sequence[ReasonCode],
) -> CheckOut:
    """Record that a kit was out before its latest change of hands; who has it now stays."""
    going = plan(kit, person=person, trip=None if trip is NOT_GIVEN else trip, due_at=None)
    entry = book.post(
        EntryKind.EMERGENCY if emergency else EntryKind.CHECK_OUT,
        kit=kit,
        trip=going.trip,
        irregular=[
            *irregular,
            ReasonCode.OUT_OF_ORDER,
            *([ReasonCode.EMERGENCY] if emergency else []),
        ],
        detail={
            "to": going.person.pk if going.person else None,
            "due_at": None,
            "section": section.section_key if section else None,
        },
    )
    writing.notify_keepers(entry, "irregular", kit=kit)
    return CheckOut(kit, None, entry, going.verdict)


def _close(held: Checkout, entry: Entry, as_found: str = "") -> None:
    store(held, in_at=max(entry.occurred_at, held.out_at), closed_by=entry, as_found=as_found)


def check_in(
    act: Act,
    kit: Kit,
    *,
    as_found: AsFound = AsFound.SORT_LATER,
    section: Place | None = None,
    seal_seen: str = "",
    used: Sequence[use.UseLine] = (),
    levels: Sequence[LooseLevel] = (),
    sharps_or_blood: bool = False,
    wet: bool = False,
    wrong: str = "",
    photo: bytes = b"",
    incident: str = "",
    remarks: Remarks = Remarks(),  # noqa: B008  # frozen
) -> CheckIn:
    """Hand a kit back, in whatever room and whoever brings it; never refused for its content.

    `seal_seen` is the number read off the seal (its last three characters are enough); one that
    is not on record means the kit was opened. `used` is written against the checkout's trip.
    `wrong` says what is wrong with it, and `photo` is a JPEG that shows it. Claimed before the
    kit's latest change of hands, it is history: what was used then is written, and who has the kit
    now, where, and whether it waits to be sorted stay as they are.
    """
    act.actor.require("check_in")
    with kit_book(act, kit, *remarks.mixed_with) as (book, kit):
        late = book.is_late(kit, section)
        held = None if late else open_checkout(kit, section)
        irregular = [] if held else [ReasonCode.OUT_OF_ORDER if late else ReasonCode.WAS_NOT_OUT]
        seal = Seal.objects.unbroken().filter(kit=kit, section=section).first()
        if not late and not seal_holds(seal.number if seal else None, seal_seen):
            as_found, broken = _by_seal(as_found, seal_seen)
            irregular += broken
        if used or remarks.mixed_with:
            as_found = AsFound.OPENED
        in_class = back_from_class(
            training=kit.training,
            emergency=held is not None and held.emergency,
            sharps_or_blood=sharps_or_blood,
        )
        entry = book.post(
            EntryKind.CHECK_IN,
            kit=kit,
            room=act.room or kit.room,
            trip=held.trip if held else None,
            checkout=held,
            irregular=irregular,
            detail={
                "as_found": as_found,
                "seal_seen": seal_seen,
                "sharps_or_blood": sharps_or_blood,
                "section": section.section_key if section else None,
                "before": {"room": kit.room_id},
                "in_class": in_class,
            },
        )
        if not late:
            _arrive(book, kit, held, entry, section, as_found, in_class=in_class)
        done = None
        if used or levels:
            done = use.write(book, kit, used, levels=levels, checkout=held, incident=incident)
        write_remarks(book, kit, remarks, held)
        if wet:
            holds.withhold_kit(book, kit, WithheldKind.DRYING, "")
        if wrong or photo:
            holds.withhold_kit(book, kit, WithheldKind.SOMETHING_WRONG, wrong, photo)
        if irregular:
            writing.notify_keepers(entry, "irregular", kit=kit)
    return CheckIn(kit, held, entry, as_found, done, irregular)


def _by_seal(as_found: AsFound, number: str) -> tuple[AsFound, list[ReasonCode]]:
    """How a kit came back whose seal is not the one on record, by the number that was read off it
    (or none), and the rules that this breaks."""
    if as_found in kit_state.CLOSED and number:
        return AsFound.OPENED, [ReasonCode.SEAL_NOT_THE_ONE]
    if as_found == AsFound.SEALED:
        return AsFound.SORT_LATER, [ReasonCode.NO_SEAL_ON_RECORD]
    return as_found, []


def _arrive(
    book: Book,
    kit: Kit,
    held: Checkout | None,
    entry: Entry,
    section: Place | None,
    as_found: AsFound,
    *,
    in_class: bool,
) -> None:
    """Set that a kit is here, as it came back, in the room of its entry."""
    if held is not None:
        _close(held, entry, as_found)
    if section is None and entry.room is not None:
        kit.room = entry.room
    if kit.lost_since is not None:
        holds.mark_found(book, kit)
    if as_found not in kit_state.CLOSED and not in_class:
        kit.to_sort_since = entry.occurred_at
    if as_found == AsFound.OPENED:
        book.break_seals(entry, [section] if section else list(kit.sections.all()))
    kit.save(update_fields=["room", "to_sort_since"])
