"""Putting a mistake right: the book is afterwards what it would be without the act.

Whoever did an act may take it back within a day; a keeper or instructor of its room at any time.
What was moved is moved back; seals, times with people, what is kept back and what waits to be
sorted follow from the facts that are left (`kits.services.ledger.projections`). Later acts that
depend on it (`kits.rules.ledger.undo`) are listed first and, once that list is confirmed, undone
with it, newest first. A few acts of the organisation are put right by doing the opposite.
"""

from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _, gettext_lazy as _lazy

from gearroom.core.acts import Act, Actor, NotFound, Refused
from gearroom.core.rules.grouping import summed
from kits.models import Checkout, Entry, EntryKind, Holding, Kit, Lot, Place, PlaceKind
from kits.models.details import CheckOutDetail
from kits.rules.ledger import undo
from kits.services.ledger import facts, projections
from kits.services.ledger.book import Book, Leg, outer
from kits.services.ledger.undo import kit_summary, undo_steps
from kits.services.lookup import find
from kits.services.notices import writing
from kits.services.text import wording

INSTEAD = {
    EntryKind.RECALL: _lazy(
        "Close the recall as withdrawn instead, and enter that it was recorded by mistake."
    ),
    EntryKind.RECALL_ANSWER: _lazy("Answer again instead."),
    EntryKind.RECALL_CLOSE: _lazy("Reopen the recall instead."),
    EntryKind.CORRECT_LOT: _lazy("Correct the batch again instead."),
    EntryKind.TRIP: _lazy("Enter the trip again with the right details instead."),
    EntryKind.FOLLOW_LIST: _lazy("Change the kit back to the other version instead."),
    EntryKind.KIT: _lazy("Edit the kit again instead."),
    EntryKind.LABEL: _lazy("Cancel the label or assign it again instead."),
    EntryKind.REVERSE: _lazy("Repeat the action instead."),
    EntryKind.CLEARANCE: _lazy("Tell the kit’s keepers instead."),
}
_NO_ROOM = 0


@dataclass(frozen=True)
class Reversed:
    """The reversing entries in the order in which they were written, how many unsent notices were
    taken back, the acts that were undone with it, and what is otherwise now, kit by kit."""

    entries: Sequence[Entry]
    notices_taken_back: int
    later: Sequence[Entry]
    changes: Sequence[kit_summary.Change]


@dataclass(frozen=True)
class _Plan:
    """What an undo takes: the entries of the act, those of later acts by act (oldest first), what
    counts and sweeps that stay have to be given, and the kits touched."""

    whole: Sequence[Entry]
    later: Sequence[Sequence[Entry]]
    again: Sequence[tuple[Entry, dict[undo.Where, int]]]
    kits: frozenset[int]
    lots: frozenset[int]

    @property
    def entries(self) -> list[Entry]:
        """All that would be reversed, newest first."""
        return sorted(
            [*self.whole, *(entry for act in self.later for entry in act)],
            key=lambda entry: -entry.pk,
        )


def reverse(
    act: Act, entry_id: int, *, together: bool = False, through: int | None = None
) -> Reversed:
    """Reverse the act that an entry belongs to, all of its entries together.

    With `together` the later acts that depend on it are reversed too, where the last of them that
    was listed is `through`. Rights are required for every entry touched.

    Raises NotFound, NotAllowed (another's act, or one's own after a day), Refused:
    `reversed-already`, `not-reversible` (says what to do instead), `built-on` (lists in `later`
    the acts that would go with it, and says in `together` whether they may); nothing is changed
    then.
    """
    named = Entry.objects.select_related("kit").filter(pk=entry_id).first()
    if named is None or not _may_see(act, named):
        raise NotFound("entry", entry_id)
    for entry in Entry.objects.select_related("kit").filter(key=named.key):
        _refuse_unless_theirs(act, entry)
        _refuse_unless_reversible(entry)
    kit_ids = _plan(named).kits
    with Book(act) as book:
        kits = {kit.pk: kit for kit in book.lock(*sorted(kit_ids))}
        _refuse_unless_reversible(named)  # two at once: now it is known who was first
        plan = _plan(named)
        _refuse_if_built_on(act, plan, together, through)
        if not plan.kits <= kit_ids:  # an act came between: it is asked again with its kits
            raise _built_on(plan, may=True)
        known = [kit for kit in kits.values() if find.knows_kit(act.actor, kit)]
        before = kit_summary.of(known)
        done = list(_write(book, kits, plan))
        for kit in kits.values():
            projections.rewrite(kit)
        for lot in Lot.objects.filter(pk__in=plan.lots):
            projections.rewrite_lot(lot)
        for entry in done:
            if entry.reverses is not None:
                facts.undone(entry, entry.reverses)
        taken_back = sum(writing.withdraw(entry) for entry in plan.entries)
        changes = list(kit_summary.changes(before, kit_summary.of(known)))
    return Reversed(done, taken_back, [rows[0] for rows in plan.later], changes)


def preview(act: Act, entry_id: int) -> tuple[Entry, Reversed]:
    """The entry, and what reversing its act with all that depends on it would come to; it is done
    and taken back, so nothing is changed. Raises what `reverse` raises where it may not be."""
    with transaction.atomic():
        try:
            would = reverse(act, entry_id)
        except Refused as refused:
            if not refused.facts.get("together"):
                raise
            last = refused.facts["later"][-1]["entry"]
            would = reverse(act, entry_id, together=True, through=last)
        transaction.set_rollback(True)
    return Entry.objects.select_related("kit__home_room", "person").get(pk=entry_id), would


def is_own_last(actor: Actor, entry_id: int) -> bool:
    """Whether an entry is of the last act that somebody did, with nothing on its kits since."""
    named = Entry.objects.filter(pk=entry_id, person=actor.person).first()
    if named is None or actor.person is None:
        return False
    whole = Entry.objects.filter(key=named.key)
    since = Entry.objects.filter(pk__gt=named.pk).exclude(key=named.key)
    kits = whole.filter(kit__isnull=False).values("kit")
    return (
        not since.filter(Q(person=actor.person) | Q(kit__in=kits))
        .filter(reversed_by__isnull=True)
        .exclude(kind=EntryKind.REVERSE)
        .exists()
    )


# ------------------------------------------------------------------------------------ what it takes
def _plan(named: Entry) -> _Plan:
    """Go through the acts on record once more without this one; as often as they turn out to touch
    more kits, batches or places, with these as well."""
    whole = list(Entry.objects.filter(key=named.key, reversed_by__isnull=True).order_by("pk"))
    first = whole[0].pk
    scope = undo_steps.on_record(named.key, _own_scope(whole), first).scope([named.key])
    while True:
        record = undo_steps.on_record(named.key, scope, first)
        fallen = undo.without(named.key, record.steps, record.now)
        gone = {named.key, *fallen.later}
        changed = frozenset(where for change in fallen.changed.values() for where in change)
        wider = scope | record.scope(gone) | undo_steps.Scope(at=changed)
        if wider == scope:
            break
        scope = wider
    in_kits = Place.objects.filter(pk__in={place for _, place in scope.at}, kit__isnull=False)
    return _Plan(
        whole=_entries(record, named.key),
        later=[_entries(record, act) for act in fallen.later],
        again=[(record.entries[step], dict(change)) for step, change in fallen.changed.items()],
        kits=scope.kits | frozenset(in_kits.values_list("kit", flat=True)),
        lots=frozenset(
            entry.lot_id
            for act in gone
            for entry in _entries(record, act)
            if entry.kind == EntryKind.CHECK and entry.lot_id
        ),
    )


def _own_scope(whole: Sequence[Entry]) -> undo_steps.Scope:
    moved = {
        (lot, place)
        for entry in whole
        for leg in entry.movements.all()
        for lot, place in ((leg.lot_id, leg.from_place_id), (leg.lot_id, leg.to_place_id))
    }
    kits = {entry.kit_id for entry in whole if entry.kit_id}
    return undo_steps.Scope(frozenset(kits), frozenset(moved))


def _entries(record: undo_steps.OnRecord, act: Hashable) -> list[Entry]:
    """The entries of an act, with what earlier undos added to them."""
    own = [record.entries[step.id] for step in record.steps if step.act == act]
    return [*own, *(entry for each in own for entry in record.added.get(each.pk, ()))]


# ------------------------------------------------------------------------------------------ writing
def _write(book: Book, kits: dict[int, Kit], plan: _Plan) -> Iterator[Entry]:
    """Post what moves units back and what counts come to without it: newest first, but nothing
    before the units that it takes are there."""
    waiting: list[tuple[Entry, list[Leg], bool]] = [
        *((entry, _legs_back(entry), False) for entry in plan.entries),
        *((entry, _legs_again(entry, change), True) for entry, change in plan.again),
    ]
    while waiting:
        held = _held(leg for _entry, legs, _again in waiting for leg in legs)
        at = next((i for i, (_, legs, _) in enumerate(waiting) if _enough(legs, held)), 0)
        entry, legs, again = waiting.pop(at)
        kit = kits.get(entry.kit_id or 0)
        yield (
            book.post(
                EntryKind(entry.kind),
                legs,
                kit=kit,
                lot=entry.lot,
                room=entry.room,
                again=entry,
                reason=_("Recalculated without an action that was undone."),
            )
            if again
            else book.post(
                EntryKind.REVERSE,
                legs,
                kit=kit,
                lot=entry.lot,
                room=entry.room,
                trip=entry.trip,
                checkout=entry.checkout,
                reverses=entry,
                detail={"kind": entry.kind},
            )
        )


def _legs_back(entry: Entry) -> list[Leg]:
    return [
        Leg(m.lot, m.to_place, m.from_place, m.units, assumed=m.lot_assumed)
        for m in entry.movements.select_related("lot__item", "from_place", "to_place").order_by(
            "-id"
        )
    ]


def _legs_again(entry: Entry, change: dict[undo.Where, int]) -> list[Leg]:
    """What a count explains otherwise, or a sweep takes along or leaves, without the act."""
    counted = entry.kind == EntryKind.COUNT
    between = outer(PlaceKind.UNEXPLAINED if counted else PlaceKind.RECLASSIFIED)
    lots = Lot.objects.select_related("item").in_bulk({lot for lot, _ in change})
    places = Place.objects.in_bulk({place for _, place in change})
    return [
        Leg(lots[lot], between, places[place], units)
        if units > 0
        else Leg(lots[lot], places[place], between, -units)
        for (lot, place), units in sorted(change.items())
    ]


def _held(legs: Iterable[Leg]) -> dict[undo.Where, int]:
    places = {place.pk for leg in legs for place in (leg.source, leg.target) if place.inner}
    rows = Holding.objects.filter(place__in=places)
    return {(lot, place): units for lot, place, units in rows.values_list("lot", "place", "units")}


def _enough(legs: Sequence[Leg], held: dict[undo.Where, int]) -> bool:
    change = summed(each for leg in legs for each in leg.changes)
    return all(held.get(where, 0) + units >= 0 for where, units in change.items())


# ---------------------------------------------------------------------------------------- refusing
def _own(act: Act, entry: Entry) -> bool:
    return act.person is not None and entry.person_id == act.person.pk


def _rooms_of(entry: Entry) -> list[int | None]:
    return [entry.room_id, entry.kit.home_room_id if entry.kit else None]


def _may_see(act: Act, entry: Entry) -> bool:
    """Whether an entry is of a room of theirs, or their own: anyone may have handed in a kit."""
    return _own(act, entry) or any(act.actor.belongs_to(room) for room in _rooms_of(entry))


def _refuse_unless_theirs(act: Act, entry: Entry) -> None:
    """Raise NotAllowed unless somebody may take an entry back. What an earlier undo added to a
    count goes with that count."""
    if facts.is_added(entry):
        return
    rooms = [room for room in _rooms_of(entry) if act.actor.belongs_to(room)]
    if not undo.may_take_back(
        own=_own(act, entry) and act.actor.may("take_back"),
        keeper=any(act.actor.may("reverse", room) for room in rooms),
        recorded_at=entry.recorded_at,
        now=act.received_at,
    ):
        of_none = entry.room_id is None and entry.kit_id is None and _own(act, entry)
        room = next(iter(rooms), entry.room_id)
        # To require it of no room would ask for the role in any; what is of no room and another's
        # needs it in every one.
        act.actor.require("reverse", room if room is not None or of_none else _NO_ROOM)


def _refuse_unless_reversible(entry: Entry) -> None:
    if Entry.objects.filter(reverses=entry).exists():
        raise Refused("reversed-already", _("This has already been corrected."), entry=entry.pk)
    instead = INSTEAD.get(EntryKind(entry.kind))
    if instead is not None and not facts.is_added(entry):
        raise Refused(
            "not-reversible",
            _("A record of the type “%(kind)s” cannot be undone. %(instead)s")
            % {"kind": wording.act(entry.kind), "instead": instead},
            entry=entry.pk,
        )


def _refuse_if_built_on(act: Act, plan: _Plan, together: bool, through: int | None) -> None:
    acts = {entry.kit_id for entry in plan.whole}
    for entry, _change in plan.again:  # a count that comes to something else without the act
        if entry.kit_id not in acts and not _may_see(act, entry):
            _refuse_unless_theirs(act, entry)
    if not plan.later:
        return
    later = [entry for rows in plan.later for entry in rows]
    for entry in later:
        if not _may_see(act, entry):  # it is not even listed
            _refuse_unless_theirs(act, entry)
    may = not _another_has_it(act, plan)
    listed = together and through is not None and plan.later[-1][0].pk <= through
    if not may or not listed:
        raise _built_on(plan, may=may)
    for entry in later:
        _refuse_unless_theirs(act, entry)
        _refuse_unless_reversible(entry)


def _another_has_it(act: Act, plan: _Plan) -> bool:
    """Whether a taking out would go that is another person's: neither written down by who undoes
    it nor theirs, or to somebody whom the act undone was not about."""
    known = {entry.person_id for entry in plan.whole} | {act.person.pk if act.person else None}
    about = [entry.checkout_id for entry in plan.whole if entry.checkout_id]
    known |= set(Checkout.objects.filter(pk__in=about).values_list("person", flat=True))
    known |= {to for _entry, to in _taken(plan.whole)} | {None}
    me = act.person
    return any(
        to not in known or (me is not None and me.pk not in (entry.person_id, to))
        for rows in plan.later
        for entry, to in _taken(rows)
    )


def _taken(entries: Iterable[Entry]) -> Iterable[tuple[Entry, int | None]]:
    """The takings out among entries, each with who took it."""
    return (
        (entry, entry.detail_as(CheckOutDetail)["to"])
        for entry in entries
        if entry.kind in facts.TAKES
    )


def _built_on(plan: _Plan, *, may: bool) -> Refused:
    later = [kit_summary.act(rows[0]) for rows in plan.later]
    listed = "; ".join(row["text"] for row in later)
    text = (
        _("These later records depend on this one: %(listed)s. Undo them together with this one.")
        if may
        else _(
            "These later records depend on this one: %(listed)s. Somebody else has taken the "
            "kit out since, so this one cannot be undone. Count the kit to correct its "
            "contents."
        )
    )
    return Refused("built-on", text % {"listed": listed}, later=later, together=may)
