"""The stock book under any sequence of acts: it balances, and what was known stays known."""

from datetime import datetime
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import invariant, rule, run_state_machine_as_test

from gearroom.core import clock
from kits.models import (
    Entry,
    EntryKind,
    Kit,
    Movement,
    PlaceKind,
)
from kits.rules.ledger.expiry import why_not
from kits.rules.ledger.reasons import ReasonCode
from kits.services.kits import history, record
from kits.services.ledger import audit, readiness
from tests.kits import factories
from tests.kits.ledger.book_acts import BookActs, any_index
from tests.present import present

pytestmark = pytest.mark.django_db

# Opening a pack moves units that are in the kit already to a batch of their own, in the same pouch.
BRINGS_UNFIT_IN = {
    EntryKind.COUNT,
    EntryKind.REVERSE,
    EntryKind.USE,
    EntryKind.CORRECT_LOT,
    EntryKind.OPEN,
}
# An instrument may go in before its check is answered or when it is due: it is checked in the kit.
MAY_GO_IN = {None, ReasonCode.CHECK_NOT_ANSWERED, ReasonCode.CHECK_DUE}


class BookMachine(BookActs):
    """Acts in any order, and what holds after each."""

    def __init__(self) -> None:
        super().__init__()
        self.known: list[tuple[Kit, datetime, Any]] = []
        self.seen = Entry.objects.order_by("-id").values_list("pk", flat=True).first() or 0

    @rule(kit=any_index)
    def ask_what_is_inside(self, kit: int) -> None:
        one, now = self.kit(kit), clock.now()
        self.known.append((one, now, _inside(one, now)))

    # ------------------------------------------------------------------------- what must hold
    @invariant()
    def it_balances(self) -> None:
        assert list(audit.findings()) == []

    @invariant()
    def nothing_unfit_was_put_into_a_kit(self) -> None:
        new = (
            Movement.objects.filter(entry__gt=self.seen, to_place__kind=PlaceKind.SECTION)
            .exclude(entry__kind__in=BRINGS_UNFIT_IN)
            .select_related("lot__item", "to_place__kit__home_room")
        )
        lots = {m.lot_id: m.lot for m in new}
        known = readiness.batches(lots.values())
        for movement in new:
            today = readiness.today_of(present(movement.to_place.kit))
            assert why_not(known[movement.lot_id], today) in MAY_GO_IN
        self.seen = Entry.objects.order_by("-id").values_list("pk", flat=True).first() or 0

    @invariant()
    def what_was_known_stays_known(self) -> None:
        for kit, instant, answer in self.known[-3:]:
            assert _inside(kit, instant) == answer


def _inside(kit: Kit, instant: datetime) -> Any:
    found = history.contents(kit, on=instant, known_by=instant)
    lines = [(c.section.pk, c.lot.pk, c.number, c.expiry, c.units) for c in found.lines]
    then = record.record(kit, known_by=instant)
    return lines, found.seal, found.holder, then.version.pk, then.recalled, list(then.withheld)


def _run(examples: int, steps: int) -> None:
    BookMachine.world = factories.world()
    run_state_machine_as_test(
        BookMachine,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


def test_the_book_holds_under_any_acts() -> None:
    _run(examples=8, steps=14)


@pytest.mark.long
def test_the_book_holds_under_many_more_acts() -> None:
    _run(examples=300, steps=40)
