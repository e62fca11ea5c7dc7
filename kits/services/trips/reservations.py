"""Kits reserved for trips: reserved, released, swapped for the one in hand."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Refused, Stale, store
from gearroom.core.models import Person
from kits.models import Checkout, Entry, EntryKind, Kit, Reservation, Trip
from kits.rules.ledger import UNSUITABLE, Reason, Verdict, Weight
from kits.rules.trips import trips as rule
from kits.services.ledger import Book, kit_book, readiness, verdicts
from kits.services.lookup import kit_is_out, open_checkout, promises
from kits.services.text import reason_texts, wording


@dataclass(frozen=True)
class ReservedKit:
    """A kit reserved for a trip, and how it stands through the trip's last day. `entry` is None
    where it was reserved so already; `out_beyond` who has it past the departure as it looks now."""

    reservation: Reservation
    verdict: Verdict
    entry: Entry | None = None
    out_beyond: Checkout | None = None


@dataclass(frozen=True)
class SwapResult:
    """The kit that goes now; and, where it was reserved for another trip on the same days (or to
    somebody else of the same), what the first kit took over."""

    goes: ReservedKit
    instead: ReservedKit | None = None


def clashing(kit_ids: Iterable[int], trip: Trip) -> list[Reservation]:
    """Reservations of these kits for other trips that share a day with this one: two such trips
    cannot share a kit."""
    return [
        each.reservation
        for each in promises.open_promises(kits=list(kit_ids))
        if each.trip.pk != trip.pk and rule.share_a_day(trip.first_day, trip.last_day, each.promise)
    ]


def reserve(act: Act, kit: Kit, trip: Trip, *, person: Person | None = None) -> ReservedKit:
    """Reserve a kit for a trip, and for a person of it if named. Where it is reserved so already,
    nothing is written; a kit that will not be ready is reserved all the same, with its reasons.

    Raises Refused: `kit-reserved` (says for which other trip on the same days), `trip-cancelled`,
    `kit-retired`; Unacceptable: `trip-is-over`.
    """
    with kit_book(act, kit, home="reserve") as (book, kit):
        done = _reserve(book, kit, _lock_open_trip(trip), person)
    return _reserved_kit(*done)


def reserve_all(
    act: Act,
    pairs: Iterable[tuple[Trip, Kit]],
    give_up: Iterable[tuple[Trip, Kit]] = (),
    shown: Mapping[int, Collection[int]] | None = None,
) -> list[ReservedKit]:
    """Reserve each of these kits for its trip, once others are no longer reserved for theirs: all
    of it or nothing. A kit instead of one that was reserved to a person is so too. `shown`: by the
    trips' ids, the reservations that whoever chose the kits had before them.

    Raises what `reserve` raises for the first that cannot be reserved, Refused (`not-reserved`,
    `kit-is-out`) for one that cannot be given up, and Stale (`changed-since`) for a trip that has
    other reservations than `shown`.
    """
    wanted, given = set(pairs), set(give_up)
    with Book(act) as book:
        kits = {kit.pk: kit for kit in book.lock(*{kit.pk for _, kit in wanted | given})}
        for kit in kits.values():
            act.actor.require("reserve", kit.home_room_id)
        trips = {pk: _lock_open_trip(trip) for pk, trip in sorted((t.pk, t) for t, _ in wanted)}
        for pk in trips.keys() & (shown or {}).keys():
            _refuse_other_reservations(trips[pk], (shown or {})[pk])
        people: dict[int, list[Person | None]] = {}
        for trip, kit in sorted(given, key=_in_order):
            row = _to_give_up(kits[kit.pk], trip)
            people.setdefault(trip.pk, []).append(row.person)
            _release(book, kits[kit.pk], row)
        done = []
        for trip, kit in sorted(wanted, key=_in_order):
            person = next(iter(people.get(trip.pk, ())), None)
            del people.get(trip.pk, [])[:1]
            done.append(_reserve(book, kits[kit.pk], trips[trip.pk], person))
    return [_reserved_kit(*each) for each in done]


def release(act: Act, reservation: Reservation) -> Reservation:
    """Release a reservation. Raises Refused (`released-already`)."""
    with kit_book(act, reservation.kit, home="reserve") as (book, kit):
        reservation = Reservation.objects.select_related("trip", "person").get(pk=reservation.pk)
        if reservation.released_id is not None:
            raise Refused(
                "released-already",
                _("%(kit)s is no longer reserved for %(trip)s.")
                % {"kit": kit.name, "trip": reservation.trip},
            )
        _release(book, kit, reservation)
    return reservation


def release_kit(book: Book, kit: Kit) -> None:
    """Give up all that a kit, locked in the book, is reserved for."""
    rows = Reservation.objects.promised().filter(kit=kit).select_related("trip", "person")
    for row in list(rows.order_by("id")):
        _release(book, kit, row)


def kits_of(source: str, reference: str) -> list[int]:
    """The ids of the kits that are reserved for the trip that a source knows by a reference."""
    return list(
        Reservation.objects.promised()
        .filter(trip__source=source, trip__reference=reference)
        .values_list("kit", flat=True)
    )


def release_all(book: Book, trip: Trip) -> list[Reservation]:
    """Give free the kits, locked in the book, of a locked trip that was cancelled. A kit reserved
    for it at this very moment is not locked: its reservation counts for nothing, and stays."""
    rows = (
        Reservation.objects.promised()
        .filter(trip=trip, kit__in=book.locked)
        .select_related("trip", "person", "kit__home_room", "kit__responsible", "kit__deputy")
    )
    released = list(rows.order_by("kit__name"))
    for row in released:
        _release(book, row.kit, row)
    return released


def swap(act: Act, from_kit: Kit, to_kit: Kit, trip: Trip) -> SwapResult:
    """Let another kit go with a trip than the one reserved: the one in hand.

    Where that one is reserved for another trip on the same days, or to somebody else of the same
    trip, the two change places. Asks for the right to take kits out, not to reserve: it happens at
    the hatch. Raises Refused: `not-reserved`, `kit-is-out`, `kit-reserved` (reserved for several
    trips on those days), `does-not-suit` (with the reasons), `same-kit`, `trip-cancelled`,
    `kit-retired`; Unacceptable: `trip-is-over`.
    """
    if from_kit.pk == to_kit.pk:
        raise Refused(
            "same-kit",
            _("%(to_kit)s is already the reserved kit. Take it.") % {"to_kit": to_kit.name},
        )
    with Book(act) as book:
        from_kit, to_kit = book.lock(from_kit.pk, to_kit.pk)
        act.actor.require("check_out", from_kit.room_id)
        act.actor.require("check_out", to_kit.room_id)
        trip = _lock_open_trip(trip)
        _refuse_retired(to_kit)
        if (held := open_checkout(to_kit)) is not None:
            raise kit_is_out(held)
        planned = Reservation.objects.promised().filter(kit=from_kit, trip=trip).first()
        if planned is None:
            raise Refused(
                "not-reserved",
                _("%(from_kit)s is not reserved for %(trip)s. Reserve %(to_kit)s instead.")
                % {"from_kit": from_kit.name, "trip": trip.name, "to_kit": to_kit.name},
            )
        given_up = _given_up(to_kit, trip)
        before = _codes(from_kit, trip)
        before_other = _codes(to_kit, given_up.trip) if given_up else frozenset()
        _release(book, from_kit, planned)
        if given_up is not None:
            _release(book, to_kit, given_up)
            for other in clashing([from_kit.pk], given_up.trip)[:1]:
                raise _kit_reserved(other)
        goes = _take_over(book, to_kit, planned)
        instead = _take_over(book, from_kit, given_up) if given_up else None
        _refuse_unsuited(goes, before)
        if instead is not None:
            _refuse_unsuited(instead, before_other)
    return SwapResult(goes, instead)


# ------------------------------------------------------------------------------------------- inside
def _reserve(
    book: Book, kit: Kit, trip: Trip, person: Person | None
) -> tuple[Reservation, Entry | None]:
    """Reserve a locked kit for a locked trip. No entry: it was reserved so already."""
    _refuse_retired(kit)
    if others := clashing([kit.pk], trip):
        raise _kit_reserved(others[0])
    reservation = Reservation.objects.promised().filter(kit=kit, trip=trip).first()
    if reservation is not None and (person is None or reservation.person_id == person.pk):
        return reservation, None
    entry = _promise(book, kit, trip, person)
    if reservation is not None:
        store(reservation, person=person)
        return reservation, entry
    return Reservation.objects.create(kit=kit, trip=trip, person=person, made=entry), entry


def _in_order(pair: tuple[Trip, Kit]) -> tuple[int, int]:
    trip, kit = pair
    return trip.pk, kit.pk


def _to_give_up(kit: Kit, trip: Trip) -> Reservation:
    """What a kit is reserved for that has not gone for it."""
    if (held := open_checkout(kit)) is not None and held.trip_id == trip.pk:
        raise kit_is_out(held)
    row = Reservation.objects.promised().filter(kit=kit, trip=trip).select_related("person").first()
    if row is None:
        raise Refused(
            "not-reserved",
            _("%(kit)s is no longer reserved for %(trip)s. Look at the page again.")
            % {"kit": kit.name, "trip": trip.name},
        )
    return row


def _lock_open_trip(trip: Trip) -> Trip:
    """The trip as it is now, its row locked so that its dates stay: neither cancelled nor over."""
    trip = Trip.objects.select_for_update(of=("self",), no_key=True).get(pk=trip.pk)
    promises.refuse_ended(trip, _("%(trip)s was cancelled, so kits cannot be reserved for it."))
    return trip


def _refuse_other_reservations(trip: Trip, shown: Collection[int]) -> None:
    now = Reservation.objects.promised().filter(trip=trip).values_list("id", flat=True)
    if set(now) != set(shown):
        raise Stale(
            "changed-since",
            _(
                "Kits for %(trip)s have been reserved or released since you opened this page. Look"
                " at what it has now, then choose again."
            )
            % {"trip": trip.name},
        )


def _refuse_retired(kit: Kit) -> None:
    if kit.retired_on is not None:
        raise Refused(
            "kit-retired", _("%(kit)s has been retired. Choose another kit.") % {"kit": kit.name}
        )


def _kit_reserved(other: Reservation) -> Refused:
    days = wording.day(other.trip.first_day)
    if other.trip.last_day != other.trip.first_day:
        days = _("%(first)s to %(last)s") % {
            "first": days,
            "last": wording.day(other.trip.last_day),
        }
    return Refused(
        "kit-reserved",
        _(
            "%(kit)s is reserved for %(trip)s (%(days)s). Release that reservation, or choose "
            "another kit."
        )
        % {"kit": other.kit.name, "trip": other.trip.name, "days": days},
        kit=other.kit.name,
        trip=other.trip_id,
        trip_name=other.trip.name,
        reservation=other.pk,
    )


def _promise(book: Book, kit: Kit, trip: Trip, person: Person | None) -> Entry:
    return book.post(
        EntryKind.RESERVE,
        kit=kit,
        trip=trip,
        detail={"person": person.pk if person else None},
    )


def _release(book: Book, kit: Kit, reservation: Reservation) -> None:
    store(
        reservation,
        released=book.post(
            EntryKind.UNRESERVE,
            kit=kit,
            trip=reservation.trip,
            detail={"reservation": reservation.pk, "person": reservation.person_id},
        ),
    )


def _take_over(book: Book, kit: Kit, from_: Reservation) -> ReservedKit:
    """Reserve a kit for the trip and the person of another's reservation, which was released."""
    entry = _promise(book, kit, from_.trip, from_.person)
    return _reserved_kit(
        Reservation.objects.create(kit=kit, trip=from_.trip, person=from_.person, made=entry), entry
    )


def _reserved_kit(reservation: Reservation, entry: Entry | None) -> ReservedKit:
    kit, trip = reservation.kit, reservation.trip
    held = open_checkout(kit)
    beyond = (
        held is not None
        and held.trip_id != trip.pk
        and (held.due_at is None or held.due_at > trip.departs_at)
    )
    through = max(trip.last_day, readiness.today_of(kit))
    return ReservedKit(
        reservation, verdicts.verdict(kit, through, trip), entry, held if beyond else None
    )


def _given_up(kit: Kit, trip: Trip) -> Reservation | None:
    """What the kit in hand is reserved for on the days of the trip."""
    same = Reservation.objects.promised().filter(kit=kit, trip=trip)
    promised = [*same.select_related("trip", "person"), *clashing([kit.pk], trip)]
    if len(promised) > 1:
        raise _kit_reserved(promised[-1])
    return promised[0] if promised else None


def _codes(kit: Kit, trip: Trip) -> frozenset[str]:
    return frozenset(r.code for r in verdicts.verdict(kit, trip.last_day, trip).reasons)


def _refuse_unsuited(goes: ReservedKit, before: frozenset[str]) -> None:
    """Refuse a swap that makes it worse: what did not suit before either is no reason."""
    worse: Sequence[Reason] = [
        r
        for r in goes.verdict.reasons
        if r.weight >= Weight.SHORT and not (r.code in UNSUITABLE and r.code in before)
    ]
    if not worse:
        return
    kit, trip = goes.reservation.kit, goes.reservation.trip
    reasons = reason_texts.reasons(worse)
    raise Refused(
        "does-not-suit",
        _("%(kit)s is not suitable for %(trip)s: %(which)s")
        % {"kit": kit.name, "trip": trip.name, "which": reasons[0]["text"]},
        kit=kit.name,
        trip=trip.pk,
        trip_name=trip.name,
        reasons=reasons,
    )
