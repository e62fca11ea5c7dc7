"""Sorting: from hand-back to ready. Check contents, restock, remove what is out of date."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, Refused
from gearroom.core.rules.natural_order import NaturalKey, natural
from kits.models import (
    AsFound,
    Entry,
    EntryKind,
    Item,
    Kit,
    Lot,
    Place,
    PlaceKind,
    Seal,
    WithheldKind,
)
from kits.rules.ledger import OUT_OF_DATE, Level, ReasonCode, Units, good_through
from kits.rules.restocking import picking
from kits.services.ledger import (
    Leg,
    LooseLevel,
    admission,
    kit_book,
    kit_state,
    outer,
    readiness,
    room_place,
    write_levels,
)
from kits.services.lookup import promises
from kits.services.stock.disposing import disposal_of
from kits.services.text import wording
from kits.services.text.amounts import units


# ------------------------------------------------------------------------------ looking inside
def look_inside(act: Act, kit: Kit, *, levels: Sequence[LooseLevel] = (), note: str = "") -> Entry:
    """Record that somebody opened the kit and that all is as on record.

    Anything else is a count. Opening breaks the seals; the kit no longer waits to be
    sorted.
    """
    with kit_book(act, kit, here="look_inside") as (book, kit):
        entry = book.post(
            EntryKind.LOOK_INSIDE,
            kit=kit,
            reason=note,
            detail={"looked_inside": True},
        )
        book.break_seals(entry, list(kit.sections.all()))
        write_levels(entry, levels)
        kit_state.sorted_now(kit)
    return entry


def seal_holds(act: Act, kit: Kit) -> Entry:
    """Record that a kit that waits to be sorted is dry and its seal whole: nobody opens it, the
    seal stays on, and it waits no longer. When it was last looked inside stays as it was.

    Raises Refused: `no-seal-on-record`.
    """
    with kit_book(act, kit, here="look_inside") as (book, kit):
        if not Seal.objects.unbroken().filter(kit=kit, section=None).exists():
            raise Refused(
                "no-seal-on-record",
                _("No seal is on record for %(kit)s. Check its contents, then seal it.")
                % {"kit": kit.name},
            )
        entry = book.post(
            EntryKind.LOOK_INSIDE,
            kit=kit,
            detail={"looked_inside": False, "as_found": AsFound.SEALED},
        )
        kit_state.sorted_now(kit)
    return entry


# ----------------------------------------------------------------------------------- restocking
@dataclass(frozen=True)
class Restock:
    """What to do to a kit, and through which day it then is good: worked out from the record."""

    kit: Kit
    through: date
    list: picking.RestockList
    lots: dict[int, Lot]
    shelves: dict[int, Place]
    sections: dict[str, Place]

    def pick(self, row: picking.PutIn) -> "PutIn":
        """What a row of the list puts in."""
        return PutIn(
            self.lots[row.batch.id],
            self.shelves[int(row.shelf)],
            self.sections[row.section],
            row.count,
        )


def through_day(kit: Kit) -> date:
    """The day a restocked kit should be good through: its next trip's last, else four weeks on."""
    four_weeks_on = readiness.today_of(kit) + timedelta(days=picking.READY_FOR_DAYS)
    return promises.ready_through(promises.open_promises(kits=[kit.pk]), kit.pk, four_weeks_on)


def restock_list(kit: Kit, *, through: date | None = None) -> Restock:
    """What to take out, what to put in from which shelf of the room the kit is in (a training kit
    also from its training box), what is missing. Raises Invalid for a day that is past."""
    today = readiness.today_of(kit)
    if through is not None and through < today:
        raise Invalid(_("That day is in the past. Enter today or a later day."), field="through")
    through = through or through_day(kit)
    places = kit.room.places.select_related("location")
    shelves = {p.pk: p for p in places.to_restock(for_class=kit.training)}
    on_shelves = [
        Units(batch, str(place), count, training=shelves[place].kind == PlaceKind.TRAINING)
        for place, rows in readiness.units_in(shelves).items()
        for batch, count in rows
    ]
    state = readiness.states([kit.pk])[kit.pk]
    listed = picking.restock(state, on_shelves, through=through, today=today)
    batch_ids = {x.batch.id for x in (*state.units, *on_shelves)}
    return Restock(
        kit=kit,
        through=through,
        list=listed,
        lots=Lot.objects.select_related("item").in_bulk(batch_ids),
        shelves=shelves,
        sections={p.section_key: p for p in kit.sections.all()},
    )


def by_shelf(plan: Restock, shelf: str) -> tuple[bool, bool, int, NaturalKey, int]:
    """The sort key of a shelf (its id, as rows of a restock list name it): as one walks the room,
    C2 before C10; the training box comes first, those that are in a van or a hut now last."""
    place = plan.shelves[int(shelf)]
    box_first = place.kind != PlaceKind.TRAINING
    return box_first, place.location_id is not None, place.position, natural(place.name), place.pk


def swaps(plan: Restock) -> dict[int, str]:
    """What settles an item's shortage, by the item's id: "put in 2 from shelf C2, good until
    31 May 2027", or that it is not in stock."""
    texts: dict[int, str] = {}
    for row in plan.list.put_in:
        until = good_through(row.batch)
        facts = {
            "count": row.count,
            "thing": row.thing.name,
            "shelf": plan.shelves[int(row.shelf)].where,
            "until": wording.day(until) if until else "",
        }
        text = (
            _("put in %(count)d from shelf %(shelf)s")
            if row.instead_of is None
            else _("put in %(count)d %(thing)s instead, from shelf %(shelf)s")
        ) % facts
        if until:
            text += _(", good until %(until)s") % facts
        wanted = row.line.thing.id
        texts[wanted] = f"{texts[wanted]}; {text}" if wanted in texts else text
    none = _("none in stock here that stays in date long enough")
    return {missing.thing.id: none for missing in plan.list.missing} | texts


@dataclass(frozen=True)
class PutIn:
    """So many units of a batch from a shelf into a section."""

    lot: Lot
    shelf: Place
    section: Place
    units: int


class Placed(NamedTuple):
    """Units of a batch in a place where they were put."""

    lot: Lot
    place: Place
    units: int


@dataclass(frozen=True)
class RestockDifference:
    """Where what was put in differs from the list: for an item in a section, these instead of the
    listed ones (none: it was not put in)."""

    item: Item
    section: Place
    instead: Sequence[PutIn] = ()


@dataclass(frozen=True)
class RestockResult:
    """The entry, what went in and what came out."""

    entry: Entry
    put_in: Sequence[PutIn]
    taken_out: Sequence[Leg]


def restock(
    act: Act,
    kit: Kit,
    *,
    exceptions: Sequence[RestockDifference] = (),
    extra: Sequence[PutIn] = (),
    as_listed: bool = True,
    levels: Sequence[LooseLevel] | None = None,
    through: date | None = None,
    to_training: bool = False,
) -> RestockResult:
    """Put in what the restock list says, but for the exceptions, and take out what must come out:
    with `to_training`, what is out of date and a class can use goes into the training box.

    `extra` is put in beside the list; with `as_listed` false nothing else is. `levels` None means
    that every loose item was topped up. Raises Refused where something may not go in
    (see `guard`) or is not on its shelf (`not-enough`).
    """
    with kit_book(act, kit, here="restock") as (book, kit):
        refuse_if_kept_as_it_came(kit)
        plan = restock_list(kit, through=through)
        differs = {(each.item.pk, each.section.pk) for each in exceptions}
        listed = (plan.pick(row) for row in plan.list.put_in if as_listed)
        put_in = [
            *extra,
            *(row for row in listed if (row.lot.item_id, row.section.pk) not in differs),
            *(
                row
                for each in exceptions
                for row in each.instead
                if units(row.units, least=0, field="exceptions")
            ),
        ]
        for line in put_in:
            admission.shelf_here(kit, line.shelf, "extra")
        admission.put_in_guard(kit, [(p.lot, p.shelf) for p in put_in])
        out = _out_legs(plan, plan.list.take_out, to_training=to_training)
        entry = book.post(
            EntryKind.RESTOCK,
            [*out, *(Leg(p.lot, p.shelf, p.section, p.units) for p in put_in)],
            kit=kit,
            detail={"through": plan.through.isoformat(), "looked_inside": True},
        )
        book.break_seals(entry, list(kit.sections.all()))
        write_levels(entry, filled_up(kit) if levels is None else levels)
        kit_state.sorted_now(kit)
    return RestockResult(entry, put_in, out)


def refuse_if_kept_as_it_came(kit: Kit) -> None:
    """Raise Refused (`keep-as-it-came-back`) where nothing may be put in or taken out."""
    if kit.withholdings.open().filter(kind=WithheldKind.KEEP_AS_IT_CAME_BACK).exists():
        raise Refused(
            "keep-as-it-came-back",
            _(
                "%(kit)s must stay as it came back. Release it before you put anything in or "
                "remove anything."
            )
            % {"kit": kit.name},
        )


def filled_up(kit: Kit) -> list[LooseLevel]:
    """The loose items of a kit that are not known to be full, as full."""
    sections = {p.section_key: p for p in kit.sections.all()}
    state = readiness.states([kit.pk])[kit.pk]
    low = [
        line
        for line in state.lines
        if line.thing.by_eye and state.levels.get((line.section, line.thing.id)) != Level.FULL
    ]
    items = Item.objects.in_bulk([line.thing.id for line in low])
    return [LooseLevel(sections[ln.section], items[ln.thing.id], Level.FULL) for ln in low]


# ------------------------------------------------------------------- taking out what must come out
def must_come_out(plan: Restock) -> list[picking.TakeOut]:
    """What is inside and may not stay there."""
    return [row for row in plan.list.take_out if isinstance(row.why, ReasonCode)]


def _out_legs(
    plan: Restock, rows: Sequence[picking.TakeOut], *, to_training: bool = False
) -> list[Leg]:
    return [
        Leg(
            plan.lots[row.batch.id],
            plan.sections[row.section],
            room_place(plan.kit.room, PlaceKind.TRAINING)
            if to_training and may_be_trained_with(row)
            else destination(plan, row),
            row.count,
        )
        for row in rows
    ]


def may_be_trained_with(row: picking.TakeOut) -> bool:
    """Whether what comes out is out of date and a class can use it."""
    return row.why in OUT_OF_DATE and row.batch.thing.for_class


def destination(plan: Restock, row: picking.TakeOut) -> Place:
    """Out of date goes to its own bin, training stock to the training box, what was swapped while
    still good back to a shelf, and recalled or kept-back units to quarantine."""
    room = plan.kit.room
    if row.why in OUT_OF_DATE:
        return outer(PlaceKind(disposal_of(plan.lots[row.batch.id].item)))
    if row.why is ReasonCode.TRAINING_STOCK:
        return room_place(room, PlaceKind.TRAINING)
    if isinstance(row.why, picking.Swap):
        for put_in in plan.list.put_in:
            if put_in.thing.id == row.batch.thing.id:
                return plan.shelves[int(put_in.shelf)]
        return next(iter(plan.shelves.values()))
    return room_place(room, PlaceKind.QUARANTINE)


def take_expired_out(act: Act, kit: Kit) -> Entry:
    """Take out everything that may not stay inside, in one act. Raises Refused where there is
    nothing to take out (`nothing-to-take-out`)."""
    with kit_book(act, kit, here="take_expired_out") as (book, kit):
        refuse_if_kept_as_it_came(kit)
        plan = restock_list(kit)
        if not (rows := must_come_out(plan)):
            raise Refused(
                "nothing-to-take-out",
                _("Nothing needs to be removed from %(kit)s today.") % {"kit": kit.name},
            )
        return book.post(EntryKind.TAKE_OUT, _out_legs(plan, rows), kit=kit)
