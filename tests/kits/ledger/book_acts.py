"""Any sequence of acts on the stock book of a small school."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, rule

from gearroom.core.acts import Problem, Refused
from kits.models import (
    AsFound,
    Entry,
    Holding,
    Kit,
    Lot,
    Movement,
    PlaceKind,
    Recall,
    RecallScope,
    WithheldKind,
)
from kits.rules.recalls.certainty import Outcome
from kits.services.custody import custody, passing_on, use
from kits.services.custody.use import UseLine
from kits.services.kits import holds
from kits.services.ledger.undo.reversal import reverse
from kits.services.recalls import closing, recalls
from kits.services.restocking import borrowing, building, sealing, sorting
from kits.services.restocking.borrowing import BorrowLine
from kits.services.stock import (
    corrections,
    counting,
    disposing,
    instruments,
    moving,
    receiving,
    reclassifying,
)
from kits.services.stock.counting import CountLine
from tests.kits import factories
from tests.kits.factories import World, act, days

whole = st.integers(min_value=1, max_value=9)
any_index = st.integers(min_value=0, max_value=10_000)


class BookActs(RuleBasedStateMachine):
    """Acts in any order on a small school; `world` is set by the test."""

    world: World

    def __init__(self) -> None:
        super().__init__()
        self.start = transaction.savepoint()

    def teardown(self) -> None:
        transaction.savepoint_rollback(self.start)

    # ------------------------------------------------------------------------------- choosing
    def kit(self, index: int) -> Kit:
        return factories.fresh([self.world.day_01, self.world.day_02][index % 2])

    def lot(self, index: int) -> Lot:
        lots = list(Lot.objects.select_related("item").order_by("pk"))
        return lots[index % len(lots)]

    def entry(self, index: int) -> int:
        ids = list(Entry.objects.order_by("pk").values_list("pk", flat=True))
        return ids[index % len(ids)]

    def held(self, index: int, **where: Any) -> Holding | None:
        rows = list(
            Holding.objects.filter(units__gt=0, **where)
            .select_related("lot__item", "place__room", "place__kit")
            .order_by("pk")
        )
        return rows[index % len(rows)] if rows else None

    def does(self, what: Callable[[], Any]) -> None:
        """An act may be refused; then nothing of it is there."""
        before = Movement.objects.count(), Entry.objects.count()
        try:
            with transaction.atomic():
                what()
        except Problem:
            assert (Movement.objects.count(), Entry.objects.count()) == before

    # ------------------------------------------------------------------------------------ acts
    @rule(units=whole, good_for=st.integers(-40, 500), medicine=st.booleans(), dated=st.booleans())
    def receive(self, units: int, good_for: int, medicine: bool, dated: bool) -> None:
        thing = self.world.tablets if medicine else self.world.dressing
        expiry = days(good_for) if dated else None
        self.does(
            lambda: receiving.receive(
                act(), item=thing, shelf=self.world.shelf, units=units, number="N1", expiry=expiry
            )
        )

    @rule(kit=any_index, emergency=st.booleans(), late=st.booleans())
    def take_out(self, kit: int, emergency: bool, late: bool) -> None:
        self.does(
            lambda: custody.check_out(
                act(),
                self.kit(kit),
                person=self.world.guide,
                short_reason="nothing else is here",
                emergency=emergency,
                already_gone=late,
            )
        )

    @rule(kit=any_index, as_found=st.sampled_from(AsFound), units=whole, index=any_index)
    def hand_back(self, kit: int, as_found: AsFound, units: int, index: int) -> None:
        used = [UseLine(self.world.dressing, units)] if index % 2 else []
        self.does(
            lambda: custody.check_in(
                act(), self.kit(kit), as_found=as_found, used=used, wet=index % 5 == 0
            )
        )

    @rule(kit=any_index)
    def pass_on(self, kit: int) -> None:
        self.does(lambda: passing_on.pass_on(act(), self.kit(kit), self.world.instructor))

    @rule(kit=any_index, units=whole, lot=any_index, named=st.booleans())
    def use_something(self, kit: int, units: int, lot: int, named: bool) -> None:
        which = self.lot(lot)
        line = UseLine(which.item, units, lot=which if named else None)
        self.does(lambda: use.log_use(act(), self.kit(kit), [line]))

    @rule(kit=any_index, lot=any_index, units=st.integers(0, 9), complete=st.booleans())
    def count_a_section(self, kit: int, lot: int, units: int, complete: bool) -> None:
        place = factories.section(self.kit(kit))
        found = [CountLine(place, units, lot=self.lot(lot))]
        self.does(lambda: counting.count(act(), [place], found, complete=complete))

    @rule(units=st.integers(0, 20), medicine=st.booleans())
    def count_a_thing_on_the_shelf(self, units: int, medicine: bool) -> None:
        thing = self.world.tablets if medicine else self.world.dressing
        found = [CountLine(self.world.shelf, units, item=thing)]
        self.does(lambda: counting.count(act(), [self.world.shelf], found, complete=False))

    @rule(kit=any_index)
    def restock(self, kit: int) -> None:
        self.does(lambda: sorting.restock(act(), self.kit(kit)))

    @rule(kit=any_index, lot=any_index, units=whole)
    def put_in(self, kit: int, lot: int, units: int) -> None:
        held = self.held(lot, place__kind=PlaceKind.SHELF)
        if held is not None:
            self.does(lambda: factories.put_in(self.kit(kit), held.lot, held.place, units))

    @rule(kit=any_index)
    def take_expired_out(self, kit: int) -> None:
        self.does(lambda: sorting.take_expired_out(act(), self.kit(kit)))

    @rule(kit=any_index, index=any_index, units=whole)
    def borrow(self, kit: int, index: int, units: int) -> None:
        giver, taker = self.kit(kit), self.kit(kit + 1)
        held = self.held(index, place__kit=giver)
        if held is not None:
            line = BorrowLine(held.lot, held.place, factories.section(taker), units)
            self.does(lambda: borrowing.borrow(act(), giver, taker, [line]))

    @rule(kit=any_index, number=st.integers(400, 405))
    def seal(self, kit: int, number: int) -> None:
        self.does(lambda: sealing.reseal(act(), self.kit(kit), f"0{number}"))

    @rule(kit=any_index)
    def look_inside(self, kit: int) -> None:
        self.does(lambda: sorting.look_inside(act(), self.kit(kit)))

    @rule(kit=any_index, what=st.sampled_from(["keep", "let go", "away", "wake", "lost", "found"]))
    def keep_back(self, kit: int, what: str) -> None:
        one, kind = self.kit(kit), WithheldKind.SOMETHING_WRONG
        acts: dict[str, Callable[[], Any]] = {
            "keep": lambda: holds.withhold(act(), one, kind, "a torn zip"),
            "let go": lambda: holds.release(act(), one, kind),
            "away": lambda: holds.lay_up(act(), one),
            "wake": lambda: holds.wake(act(), one),
            "lost": lambda: holds.mark_lost(act(), one),
            "found": lambda: holds.find_again(act(), one),
        }
        self.does(acts[what])

    @rule(index=any_index, units=whole)
    def move(self, index: int, units: int) -> None:
        held = self.held(index, place__kind=PlaceKind.SHELF, place__room=self.world.store)
        if held is not None:
            to = self.world.upper if held.place == self.world.shelf else self.world.shelf
            self.does(
                lambda: moving.move(act(), lot=held.lot, units=units, source=held.place, target=to)
            )

    @rule(index=any_index, units=whole)
    def throw_out(self, index: int, units: int) -> None:
        held = self.held(index)
        if held is not None:
            self.does(
                lambda: disposing.dispose(
                    act(reason="torn"), place=held.place, lot=held.lot, units=units
                )
            )

    @rule(kit=any_index)
    def build(self, kit: int) -> None:
        self.does(lambda: building.build(act(), self.kit(kit)))

    @rule(lot=any_index, shift=st.integers(-60, 60))
    def correct_a_date(self, lot: int, shift: int) -> None:
        one = self.lot(lot)
        wanted = one.expiry + timedelta(days=shift) if one.expiry else None
        self.does(lambda: corrections.correct(act(reason="misread"), one, expiry=wanted))

    @rule(lot=any_index)
    def recall(self, lot: int) -> None:
        one = self.lot(lot)
        scope = RecallScope.NUMBER if one.number else RecallScope.ALL
        self.does(lambda: recalls.start(act(), item=one.item, scope=scope, number=one.number))

    @rule(index=any_index, outcome=st.sampled_from(Outcome))
    def close_a_recall(self, index: int, outcome: Outcome) -> None:
        rows = list(Recall.objects.all())
        where = "the maker's letter" if outcome is Outcome.WITHDRAWN else ""
        if rows:
            row = rows[index % len(rows)]
            why = act(reason="told to")
            self.does(lambda: closing.close(why, row, outcome, published_at=where))

    @rule(index=any_index)
    def open_a_recall_again(self, index: int) -> None:
        rows = list(Recall.objects.all())
        if rows:
            self.does(lambda: closing.reopen(act(), rows[index % len(rows)]))

    @rule(index=any_index, units=whole)
    def open_a_pack(self, index: int, units: int) -> None:
        held = self.held(index)
        if held is not None:
            self.does(
                lambda: reclassifying.open_pack(act(), place=held.place, lot=held.lot, units=units)
            )

    @rule(index=any_index, passed=st.booleans())
    def check_an_instrument(self, index: int, passed: bool) -> None:
        self.does(
            lambda: instruments.check(act(), self.world.lots["gauge"], passed=passed, answer="yes")
        )

    @rule(units=whole)
    def send_to_the_hut(self, units: int) -> None:
        held = self.held(units, place__kind=PlaceKind.SHELF, place__room=self.world.store)
        if held is not None:
            self.does(
                lambda: moving.send(
                    act(), lot=held.lot, units=units, source=held.place, room=self.world.hut
                )
            )

    @rule(index=any_index, units=whole)
    def arrive_at_the_hut(self, index: int, units: int) -> None:
        held = self.held(index, place__kind=PlaceKind.TRANSIT)
        if held is not None:
            self.does(
                lambda: moving.arrive(act(), lot=held.lot, units=units, shelf=self.world.hut_shelf)
            )

    @rule(index=any_index)
    def put_right(self, index: int) -> None:
        entry = self.entry(index)
        try:
            with transaction.atomic():
                reverse(act(), entry)
        except Refused as refused:
            if refused.facts.get("together"):
                last = refused.facts["later"][-1]["entry"]
                self.does(lambda: reverse(act(), entry, together=True, through=last))
