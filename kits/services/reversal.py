"""Putting a mistake right: a reversing entry for each entry of an act.

Whoever did an act may take it back within a day; a keeper or instructor of its room at any time.
What was moved is moved back, what was opened is closed or closed reopened, and notices that were
not sent yet are taken back. Where later entries were built on it, nothing is reversed: they are
listed, and a count settles what the place really holds. An act that has an opposite (lay up and
wake, reserve and release) is put right by doing the opposite.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from gearroom.core.act import Act
from gearroom.core.problems import NotFound, Refused
from kits.models import (
    Checkout,
    Entry,
    EntryKind,
    Handover,
    Kit,
    LevelFact,
    Lot,
    Movement,
    Place,
    Seal,
    Withholding,
)
from kits.rules.irregular import Broken
from kits.rules.taking_back import may_take_back
from kits.services import derive, notices, wording
from kits.services.ledger import Book, Leg

_CUSTODY = (EntryKind.CHECK_OUT, EntryKind.EMERGENCY, EntryKind.CHECK_IN)

INSTEAD = {
    EntryKind.LAY_UP: _lazy("Wake the kit instead."),
    EntryKind.WAKE: _lazy("Lay the kit up instead."),
    EntryKind.RESERVE: _lazy("Release the reservation instead."),
    EntryKind.UNRESERVE: _lazy("Reserve the kit again instead."),
    EntryKind.RECALL: _lazy(
        "Close the recall as withdrawn instead, and say that it was recorded by mistake."
    ),
    EntryKind.RECALL_ANSWER: _lazy("Answer again instead."),
    EntryKind.RECALL_CLOSE: _lazy("Open the recall again instead."),
    EntryKind.CORRECT_LOT: _lazy("Correct the batch again instead."),
    EntryKind.TRIP: _lazy("Put the trip again as it should be instead."),
    EntryKind.FOLLOW_LIST: _lazy("Let the kit follow the other version again instead."),
    EntryKind.KIT: _lazy("Edit the kit again instead."),
    EntryKind.LABEL: _lazy("Cancel or bind the label again instead."),
    EntryKind.CHECK: _lazy("Check the instrument again instead."),
    EntryKind.REVERSE: _lazy("Do the act again instead."),
}


@dataclass(frozen=True)
class Reversed:
    """The reversing entries, newest act first, and how many unsent notices were taken back."""

    entries: Sequence[Entry]
    notices_taken_back: int


def reverse(act: Act, entry_id: int) -> Reversed:
    """Reverse the act that an entry belongs to, all of its entries together.

    Raises NotFound, NotAllowed (another's act, or one's own after a day), Refused:
    `reversed-already`, `not-reversible` (says what to do instead), `built-on` (lists the later
    entries).
    """
    named = Entry.objects.select_related("kit").filter(pk=entry_id).first()
    if named is None or not _seen_by(act, named):
        raise NotFound("entry", entry_id)
    whole = list(Entry.objects.filter(key=named.key).order_by("-id"))
    kit_ids = {
        place.kit_id
        for place in Place.objects.filter(movements_in__entry__in=whole)
        | Place.objects.filter(movements_out__entry__in=whole)
        if place.kit_id
    } | {entry.kit_id for entry in whole if entry.kit_id}
    with Book(act) as book:
        kits = {kit.pk: kit for kit in book.lock(*sorted(kit_ids))}
        _refuse_unless_theirs(act, named)
        for entry in whole:
            _refuse_unless_reversible(entry)
        done, taken_back = [], 0
        for entry in whole:
            kit = kits[entry.kit_id] if entry.kit_id else None
            legs = _legs_back(entry)
            _refuse_if_built_on(entry, legs)
            undo = book.post(
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
            _levels_back(entry, undo)
            Seal.objects.filter(put_on=entry, broken__isnull=True).update(broken=undo)
            history = Broken.OUT_OF_ORDER in entry.irregular  # which changed nothing
            if kit is not None and entry.kind in _STATE and not history:
                _STATE[EntryKind(entry.kind)](entry, undo, kit)
            taken_back += notices.take_back(entry)
            done.append(undo)
    return Reversed(done, taken_back)


def _own(act: Act, entry: Entry) -> bool:
    return act.person is not None and entry.person_id == act.person.pk


def _rooms_of(entry: Entry) -> list[int | None]:
    return [entry.room_id, entry.kit.home_room_id if entry.kit else None]


def _seen_by(act: Act, entry: Entry) -> bool:
    """Whether an entry is of a room of theirs, or their own: anyone may have handed in a kit."""
    return _own(act, entry) or any(act.actor.belongs_to(room) for room in _rooms_of(entry))


def _refuse_unless_theirs(act: Act, entry: Entry) -> None:
    rooms = [room for room in _rooms_of(entry) if act.actor.belongs_to(room)]
    if not may_take_back(
        own=_own(act, entry) and act.actor.may("take_back"),
        keeper=any(act.actor.may("reverse", room) for room in rooms),
        recorded_at=entry.recorded_at,
        now=act.received_at,
    ):
        act.actor.require("reverse", next(iter(rooms), entry.room_id))


def _refuse_unless_reversible(entry: Entry) -> None:
    if Entry.objects.filter(reverses=entry).exists():
        raise Refused("reversed-already", _("This was put right already."), entry=entry.pk)
    instead = INSTEAD.get(EntryKind(entry.kind))
    if instead is not None:
        raise Refused(
            "not-reversible",
            _("An act of the kind “%(kind)s” is not reversed. %(instead)s")
            % {"kind": wording.act(entry.kind), "instead": instead},
            entry=entry.pk,
        )


def _legs_back(entry: Entry) -> list[Leg]:
    return [
        Leg(m.lot, m.to_place, m.from_place, m.units, assumed=m.lot_assumed)
        for m in entry.movements.select_related("lot__item", "from_place", "to_place").order_by(
            "-id"
        )
    ]


def _refuse_if_built_on(entry: Entry, legs: Sequence[Leg]) -> None:
    """Refuse where units that would go back are no longer all where the entry put them."""
    wanted: dict[tuple[Lot, Place], int] = {}
    for leg in legs:
        if leg.source.inner:
            wanted[leg.lot, leg.source] = wanted.get((leg.lot, leg.source), 0) + leg.units
        if leg.target.inner:
            wanted[leg.lot, leg.target] = wanted.get((leg.lot, leg.target), 0) - leg.units
    for (lot, place), units in wanted.items():
        held = lot.holdings.filter(place=place).values_list("units", flat=True).first() or 0
        if units <= held:
            continue
        later = (
            Movement.objects.filter(lot=lot, from_place=place, entry__gt=entry.pk)
            .values_list("entry_id", "entry__kind")
            .order_by("entry_id")
            .distinct()
        )
        raise _built_on(
            _(
                "%(units)s of %(thing)s would go back from %(place)s, and %(held)s are there. "
                "Later acts were built on this one: reverse those first, or count the place."
            )
            % {"units": units, "thing": lot.item.name, "place": place.name, "held": held},
            later,
        )


def _built_on(detail: str, later: Iterable[tuple[int, str]]) -> Refused:
    return Refused("built-on", detail, later=[{"entry": pk, "kind": kind} for pk, kind in later])


def _levels_back(entry: Entry, undo: Entry) -> None:
    back = []
    for fact in entry.levels.all():
        earlier = (
            LevelFact.objects.filter(section=fact.section_id, item=fact.item_id, pk__lt=fact.pk)
            .order_by("-id")
            .first()
        )
        if earlier is not None:
            back.append(
                LevelFact(
                    section_id=fact.section_id,
                    item_id=fact.item_id,
                    entry=undo,
                    level=earlier.level,
                )
            )
    LevelFact.objects.bulk_create(back)


def _undo_check_out(entry: Entry, undo: Entry, kit: Kit) -> None:
    checkout = Checkout.objects.get(opened_by=entry)
    later = list(
        Entry.objects.filter(checkout=checkout, pk__gt=entry.pk)
        .exclude(reversed_by__isnull=False)
        .exclude(kind=EntryKind.REVERSE)
        .exclude(pk=undo.pk)
        .values_list("pk", "kind")
    )
    if later:
        raise _built_on(
            _("%(kit)s was passed on or handed back since. Reverse that first.")
            % {"kit": kit.name},
            later,
        )
    checkout.in_at, checkout.undone = checkout.out_at, undo
    checkout.save(update_fields=["in_at", "undone"])
    # Where the kit had been taken from somebody by this act, they have it again.
    _reopen(entry, kit)


def _undo_check_in(entry: Entry, undo: Entry, kit: Kit) -> None:
    section = entry.detail.get("section")
    later = [
        (act.pk, act.kind)
        for act in Entry.objects.filter(
            kit=kit, kind__in=_CUSTODY, pk__gt=entry.pk, reversed_by__isnull=True
        ).order_by("id")
        if act.detail.get("section") == section
    ]
    if later:
        raise _built_on(
            _("%(kit)s went out again or was handed back again since. Reverse that first.")
            % {"kit": kit.name},
            later,
        )
    _reopen(entry, kit)
    if section is None and kit.room_id == entry.room_id:
        kit.room_id = entry.detail["before"]["room"]
    kit.to_sort_since = derive.to_sort_since(kit)
    kit.save(update_fields=["room", "to_sort_since"])


def _reopen(entry: Entry, kit: Kit) -> None:
    Checkout.objects.filter(closed_by=entry).update(in_at=None, closed_by=None, as_found="")
    # The seals that this entry alone broke are whole again.
    for seal in Seal.objects.filter(broken=entry):
        if not Seal.objects.filter(kit=kit, section=seal.section_id, broken__isnull=True).exists():
            seal.broken = None
            seal.save(update_fields=["broken"])


def _undo_pass(entry: Entry, undo: Entry, kit: Kit) -> None:
    checkout = entry.checkout
    assert checkout is not None  # a pass is always of a checkout
    later = Entry.objects.filter(
        checkout=checkout,
        kind__in=(EntryKind.PASS, *_CUSTODY),
        pk__gt=entry.pk,
        reversed_by__isnull=True,
    ).order_by("id")
    if checkout.in_at is not None or later.exists():
        raise _built_on(
            _("%(kit)s was passed on or handed back since. Reverse that first.")
            % {"kit": kit.name},
            later.values_list("pk", "kind"),
        )
    checkout.person_id = entry.detail["from"]
    checkout.save(update_fields=["person"])
    Handover.objects.create(
        checkout=checkout, person_id=entry.detail["from"], since=undo.occurred_at, entry=undo
    )


def _undo_withhold(entry: Entry, undo: Entry, kit: Kit) -> None:
    Withholding.objects.filter(since=entry, released__isnull=True).update(released=undo)


def _undo_release(entry: Entry, undo: Entry, kit: Kit) -> None:
    let_go = Withholding.objects.filter(released=entry)
    again = Withholding.objects.select_related("since").filter(
        kit=kit, kind__in=let_go.values("kind"), released__isnull=True
    )
    if again:
        raise _built_on(
            _("%(kit)s is kept back again since: it stays kept back, nothing needs reversing.")
            % {"kit": kit.name},
            [(row.since_id, row.since.kind) for row in again],
        )
    let_go.update(released=None)


def _undo_lost_or_found(entry: Entry, undo: Entry, kit: Kit) -> None:
    kit.lost_since = derive.lost_since(kit)
    kit.to_sort_since = derive.to_sort_since(kit)
    kit.save(update_fields=["lost_since", "to_sort_since"])


def _look_again(entry: Entry, undo: Entry, kit: Kit) -> None:
    derive.rewrite_looks(kit)


def _sort_again(entry: Entry, undo: Entry, kit: Kit) -> None:
    kit.to_sort_since = derive.to_sort_since(kit)
    kit.save(update_fields=["to_sort_since"])
    derive.rewrite_looks(kit)


_STATE: dict[EntryKind, Callable[[Entry, Entry, Kit], None]] = {
    EntryKind.CHECK_OUT: _undo_check_out,
    EntryKind.EMERGENCY: _undo_check_out,
    EntryKind.CHECK_IN: _undo_check_in,
    EntryKind.PASS: _undo_pass,
    EntryKind.WITHHOLD: _undo_withhold,
    EntryKind.RELEASE: _undo_release,
    EntryKind.LOST: _undo_lost_or_found,
    EntryKind.FOUND: _undo_lost_or_found,
    EntryKind.LOOK_INSIDE: _sort_again,
    EntryKind.RESTOCK: _sort_again,
    EntryKind.RESEAL: _sort_again,
    EntryKind.BUILD: _look_again,
    EntryKind.STRIP: _look_again,
    EntryKind.COUNT: _look_again,
}
