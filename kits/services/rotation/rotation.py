"""Which batches of a room lie in which kit, so that what goes out of date soon lies where it will
be used: what to fill opened kits with first, and what to swap while they are open.

What somebody asks for is only worked out; nothing moves by it.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import TypeAlias

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.models import Room
from gearroom.core.rules.grouping import grouped, summed
from kits.models import Kit, Lot, Place, Seal
from kits.rules.ledger import Batch, KitState, Units, counted_lines, good_through, may_be_put_in
from kits.rules.ledger.facts import USED_UP
from kits.rules.ledger.weather import may_be_kept
from kits.rules.planning.demand import Rate
from kits.rules.restocking.picking import READY_FOR_DAYS
from kits.rules.rotation.moves import Fill, Swap, moves
from kits.rules.rotation.rotation import Rotation, rotate
from kits.rules.rotation.spots import DatedBatch, Spot, Stock
from kits.services.ledger import readiness
from kits.services.lookup import promises
from kits.services.planning.plans import Purchase, purchases
from kits.services.planning.records.rates import Records, records
from kits.services.rotation.rates_of_use import exposures, rates_of_items, use
from kits.services.stock.order_levels.stock_levels import on_shelves

MOST_KITS_IN_EMAIL = 60
"""Of rooms with more, the weekly email does not work it out: it takes too long for a mail."""
OnHand: TypeAlias = tuple[Sequence[Units], Mapping[int, Place]]
"""What the shelves of a room hold, and the shelves by id; see `on_shelves`."""


@dataclass(frozen=True)
class KitWork:
    """What to do to a kit while it is open. `only_for_this`: nothing else needs it opened."""

    kit: Kit
    only_for_this: bool
    fills: Sequence["FillRow"]
    swaps: Sequence["SwapRow"]


@dataclass(frozen=True)
class FillRow:
    """So many units of a batch to put into a section, from a shelf."""

    units: int
    lot: Lot
    shelf: Place
    section: Place


@dataclass(frozen=True)
class SwapRow:
    """So many units of one batch in a section for as many of another, which lies on `shelf`, or
    comes out of another kit first (None)."""

    units: int
    out: Lot
    into: Lot
    section: Place
    shelf: Place | None


@dataclass(frozen=True)
class RoomRotation:
    """What to do in a room, kit by kit in the order of the work, and what it saves within a year
    against filling opened kits first expired, first out: units, and money in a currency ("" where
    no price is on record). `unpriced`: so many items count at the middle price of the others.
    """

    room: Room
    today: date
    work: Sequence[KitWork]
    units_saved: float
    money_saved: Decimal
    currency: str
    unpriced: int


def of_room(actor: Actor, room: Room) -> RoomRotation:
    """The rotation of the kits that are at home in a room and stand there. Raises NotAllowed for
    whoever may not restock there."""
    actor.require("restock", room.pk)
    return _Room(room).rotation()


def of_kit(actor: Actor, kit: Kit) -> Sequence["SwapRow"]:
    """What to swap in a kit that is open anyway, with what lies on the shelves beside it; nothing
    of one that is out, elsewhere, or not to be rotated. Raises NotAllowed for whoever may not
    restock there."""
    actor.require("restock", kit.room_id)
    room = _Room(kit.room, only=kit)
    return [row for work in room.rotation().work for row in work.swaps]


def for_email(room: Room, at: datetime, known: Records, on_hand: OnHand) -> RoomRotation | None:
    """The rotation of a room for the weekly email of an instant, by what is known of past trips;
    None where the room has too many kits for it to be worked out for a mail."""
    found = _Room(room, at=at, most=MOST_KITS_IN_EMAIL, on_hand=on_hand)
    return found.rotation(known) if found.kits else None


class _Room:
    """A room's dated stock at an instant (None: now), as the rule wants it: of all its kits, or
    `only` of one that is open. With `most`, of none where there are more. `on_hand` where
    that is loaded already."""

    def __init__(
        self,
        room: Room,
        *,
        at: datetime | None = None,
        only: Kit | None = None,
        most: int | None = None,
        on_hand: OnHand | None = None,
    ) -> None:
        self.room, self.only = room, only
        self.today = clock.local_date(at or clock.now(), room.time_zone)
        kits = (
            Kit.objects.active()
            .filter(home_room=room, room=room, training=False)
            .filter(laid_up_since=None, lost_since=None)
            .exclude(checkouts__in_at=None, checkouts__out_at__isnull=False)
            .select_related("list_version", "room")
            .order_by("name")
        )
        among = {kit.pk: kit for kit in kits}
        self.kits = {} if most is not None and len(among) > most else among
        self.states = readiness.states(pk for pk in self.kits if only is None or pk == only.pk)
        held, self.shelves = _on_hand(room) if on_hand is None else on_hand
        self.held = [row for row in held if self._rotates(row.batch)]
        self.promised = promises.of_kits(self.kits, at)
        sealed = Seal.objects.unbroken().filter(kit__in=self.kits, section=None)
        self.sealed = set(sealed.values_list("kit", flat=True))

    def _rotates(self, batch: Batch) -> bool:
        """Whether batches of its kind are laid here and there: they are used up, dated, whole, and
        may go into a kit today."""
        thing = batch.thing
        good = good_through(batch)
        return (
            thing.kind in USED_UP
            and not thing.by_eye
            and batch.opened_on is None
            and good is not None
            and good >= self.today
            and may_be_put_in(batch, self.today) is None
        )

    def _inside(self, state: KitState) -> list[Units]:
        return [
            row
            for row in state.units
            if not row.training and row.place not in state.away and self._rotates(row.batch)
        ]

    def _may_hold(self, state: KitState, batch: Batch) -> bool:
        if not may_be_kept(state, batch.thing, self.today):
            return False
        signed = state.signed and (state.signed_until is None or state.signed_until >= self.today)
        return may_be_put_in(batch, self.today, list_signed=signed) is None

    def _opened(self) -> frozenset[int]:
        """Kits that are opened this month whatever is decided here: without a seal, or not ready
        for as long as a sealed kit is to last."""
        if self.only is not None:
            return frozenset(self.states)
        soon = self.today + timedelta(days=READY_FOR_DAYS)
        return frozenset(
            pk
            for pk, kit in self.kits.items()
            if pk not in self.sealed or kit.ready_until is None or kit.ready_until < soon
        )

    def rotation(self, known: Records | None = None) -> RoomRotation:
        known = records() if known is None else known
        inside = {pk: self._inside(state) for pk, state in self.states.items()}
        laid = [row for of_kit in inside.values() for row in of_kit]
        things = {row.batch.thing.id for row in laid}
        on_shelves = [row for row in self.held if self.only is None or row.batch.thing.id in things]
        rows = [*on_shelves, *laid]
        batches = {row.batch.id: row.batch for row in rows}
        items = sorted({batch.thing.id for batch in batches.values()})
        bought = purchases(items)
        prices, currency, unpriced = _prices(items, bought)
        rates = rates_of_items(items, known)
        days = exposures([*self.kits.values()], self.promised, known.trips, self.today)
        spots = [
            spot
            for pk, state in self.states.items()
            for spot in self._spots(state, inside[pk], items, rates, days[pk], batches)
        ]
        by_item = grouped((row.batch.thing.id, (row.batch.id, row.count)) for row in on_shelves)
        spots += [
            Spot(item, None, summed(by_item[item]), use=use(rates, item, sum(days.values())))
            for item in items
        ]
        dated = [
            DatedBatch(
                pk,
                batch.thing.id,
                ((good_through(batch) or self.today) - self.today).days,
                float(prices[batch.thing.id]),
            )
            for pk, batch in sorted(batches.items())
        ]
        opened = self._opened()
        found = rotate(Stock.of(dated, spots), opened, float(self.room.opening_pays_from))
        return RoomRotation(
            room=self.room,
            today=self.today,
            work=list(self._work(found, inside)),
            units_saved=found.units_saved,
            money_saved=Decimal(repr(found.money_saved)).quantize(Decimal("0.01")),
            currency=currency,
            unpriced=unpriced,
        )

    def _spots(
        self,
        state: KitState,
        inside: Sequence[Units],
        items: Sequence[int],
        rates: Mapping[int, tuple[Rate, tuple[float, ...]]],
        days: float,
        batches: Mapping[int, Batch],
    ) -> Iterator[Spot]:
        wants = summed((line.thing.id, line.target) for line in counted_lines(state))
        held = grouped((row.batch.thing.id, (row.batch.id, row.count)) for row in inside)
        month = self.today + timedelta(days=READY_FOR_DAYS)
        through = promises.ready_through(self.promised.get(state.id, ()), state.id, month)
        for item in items:
            if not wants[item] or not all(
                self._may_hold(state, batch) for batch in batches.values() if batch.thing.id == item
            ):
                continue
            yield Spot(
                item=item,
                kit=state.id,
                holds=summed(held[item]),
                wants=wants[item],
                lasts=max((through - self.today).days, 0),
                use=use(rates, item, days),
            )

    def _work(self, found: Rotation, inside: Mapping[int, Sequence[Units]]) -> Iterator[KitWork]:
        steps = moves(found)
        lots = Lot.objects.select_related("item").in_bulk(
            {batch for step in steps for batch in step.batches}
        )
        for step in steps:
            kit = self.kits[step.kit]
            sections = {place.section_key: place for place in kit.sections.all()}
            where = Counter[tuple[str, int]]()
            for row in inside[step.kit]:
                where[row.place, row.batch.id] += row.count
            asks = {line.thing.id: line.section for line in counted_lines(self.states[step.kit])}
            yield KitWork(
                kit=kit,
                only_for_this=step.kit in found.opened_for_it,
                fills=[
                    FillRow(units, lots[fill.batch], shelf, sections[asks[fill.item]])
                    for fill in step.fills
                    for shelf, units in self._on_shelves(fill)
                ],
                swaps=[
                    SwapRow(
                        units, lots[each.out], lots[each.into], sections[key], self._shelf(each)
                    )
                    for each in step.swaps
                    for key, units in _in_sections(where, each)
                ],
            )

    def _on_shelves(self, fill: Fill) -> Iterator[tuple[Place, int]]:
        """The shelves that a fill comes from, in shelf order. What comes out of another kit first
        lies on none yet."""
        left = fill.units
        for row in self.held:
            if row.batch.id == fill.batch and left:
                units = min(left, row.count)
                left -= units
                yield self.shelves[int(row.place)], units

    def _shelf(self, each: Swap) -> Place | None:
        on = [row for row in self.held if row.batch.id == each.into]
        most = max(on, key=lambda row: row.count, default=None)
        return None if most is None else self.shelves[int(most.place)]


def _on_hand(room: Room) -> OnHand:
    held, shelves = on_shelves([room.pk])
    return held.get(room.pk, []), shelves


def _in_sections(where: Counter[tuple[str, int]], each: Swap) -> Iterator[tuple[str, int]]:
    """The sections of a kit that hold the units to be swapped; each unit once."""
    left = each.units
    for key, batch in sorted(where):
        if batch == each.out and left and (units := min(left, where[key, batch])):
            where[key, batch] -= units
            left -= units
            yield key, units


def _prices(
    items: Sequence[int], bought: Mapping[int, Purchase]
) -> tuple[dict[int, Decimal], str, int]:
    """What a unit of each item counts for, in the currency most are bought in, and how many of them
    have no price in it: they count at the middle price of the others, or 1."""
    priced = {
        item: bought[item] for item in items if item in bought and bought[item].price is not None
    }
    currencies = Counter(purchase.currency for purchase in priced.values())
    currency = min(currencies, key=lambda each: (-currencies[each], each), default="")
    prices = {
        item: purchase.price
        for item, purchase in priced.items()
        if purchase.currency == currency and purchase.price is not None
    }
    middle = sorted(prices.values())[len(prices) // 2] if prices else Decimal(1)
    return (
        {item: prices.get(item, middle) for item in items},
        currency,
        len(items) - len(prices),
    )
