"""A kit emptied for good, a line at a time, so that it can be retired."""

from collections.abc import Iterator
from typing import Any

import pytest

from gearroom.core.acts import Invalid, NotAllowed, Refused
from gearroom.core.models import Person
from kits.models import Disposal, Entry, Lot, Movement, PlaceKind, WithheldKind
from kits.rules.ledger.facts import Level
from kits.services.custody import custody
from kits.services.kits import holds, kits
from kits.services.ledger import audit
from kits.services.ledger.book import room_place
from kits.services.ledger.levels import LooseLevel
from kits.services.ledger.undo import reversal
from kits.services.recalls import recalls, status
from kits.services.restocking import emptying, sealing
from kits.services.restocking.emptying import Destination, EmptyLine
from tests.kits import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def line(
    w: make.World,
    way: Destination,
    lot: Lot | None = None,
    units: int = 1,
    key: str = "main",
    **more: Any,
) -> EmptyLine:
    lot = lot or w.dressings
    return EmptyLine(make.section(w.day_01, key), lot, units, way, **more)


def empty(
    w: make.World, *lines: EmptyLine, who: Person | None = None, **more: list[Any]
) -> emptying.EmptyResult:
    return emptying.empty(make.act(who or w.keeper), w.day_01, lines, **more)


def refused(w: make.World, *lines: EmptyLine) -> str:
    with pytest.raises((Refused, Invalid)) as problem:
        empty(w, *lines)
    return problem.value.code


def test_a_filled_kit_is_emptied_line_by_line_and_then_retired(w: make.World) -> None:
    with pytest.raises(Refused) as problem:
        kits.retire_kit(make.act(w.keeper), w.day_01)
    assert problem.value.code == "kit-not-empty"
    tablets = line(w, Destination.DISPOSE, w.lots["tablets"], 8, "pouch", reason="old list")
    for each, left in (
        (line(w, Destination.SHELF, units=2, shelf=w.upper), 13),
        (line(w, Destination.TRAINING, units=1), 12),
        (line(w, Destination.SOLD, units=2, reason="to the ski club"), 10),
        (line(w, Destination.GIVEN, units=1, reason="to the youth centre"), 9),
        (line(w, Destination.SHELF, w.lots["shears"], shelf=w.shelf), 8),
        (tablets, 0),
    ):
        assert empty(w, each).left == left
    went = {(m.lot.item.name, m.to_place.kind): m.units for m in moved()}
    dressing = w.dressing.name
    assert went == {
        (dressing, "shelf"): 2,
        (dressing, "training"): 1,
        (dressing, "sold"): 2,
        (dressing, "given"): 1,
        ("Shears", "shelf"): 1,
        ("Pain tablets", "pharmacy"): 8,
    }
    assert kits.retire_kit(make.act(w.keeper), w.day_01).retired_on is not None
    assert list(audit.findings()) == []


def moved() -> Iterator[Movement]:
    for entry in Entry.objects.filter(kind="empty"):
        yield from entry.movements.select_related("lot__item", "to_place")


def test_why_stays_on_record_and_it_breaks_the_seal(w: make.World) -> None:
    sealing.reseal(make.act(w.keeper), w.day_01, "0417")
    done = empty(w, line(w, Destination.SOLD, reason="to the ski club"))
    assert done.entry.reason == "to the ski club"
    assert done.entry.detail["lines"][0]["way"] == "sold"
    assert not w.day_01.seals.filter(broken=None).exists()


@pytest.mark.parametrize("way", [Destination.SOLD, Destination.GIVEN, Destination.DISPOSE])
def test_what_is_good_goes_to_others_or_into_the_bin_with_a_reason_alone(
    w: make.World, way: Destination
) -> None:
    assert refused(w, line(w, way)) == "invalid-request"
    assert not Entry.objects.filter(kind="empty").exists()


def test_a_recalled_batch_is_handed_to_nobody_and_lands_in_quarantine_not_on_the_shelf(
    w: make.World,
) -> None:
    recall = recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="D1")
    for way in (Destination.SOLD, Destination.GIVEN):
        assert refused(w, line(w, way, reason="to the ski club")) == "recalled"
    for way in (Destination.SHELF, Destination.TRAINING):
        done = empty(w, line(w, way, shelf=w.shelf))
        assert done.went[0][1].kind == PlaceKind.QUARANTINE
    empty(w, line(w, Destination.DISPOSE, units=4, disposal=Disposal.RETURNED))
    assert [(g.how, g.units) for g in status.of(recall).gone] == [("returned", 4)]


def test_a_recall_knows_what_was_sold_or_given_away_before(w: make.World) -> None:
    empty(w, line(w, Destination.SOLD, units=2, reason="to the ski club"))
    empty(w, line(w, Destination.GIVEN, units=1, reason="to the youth centre"))
    recall = recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="D1")
    gone = {(g.how, g.certainty, g.units) for g in status.of(recall).gone}
    assert gone == {("sold", "certain", 2), ("given", "certain", 1)}


def test_training_stock_never_comes_back_onto_a_shelf(w: make.World) -> None:
    kits.edit_kit(make.act(w.keeper), w.day_01, training=True)
    assert refused(w, line(w, Destination.SHELF, shelf=w.shelf)) == "training-never-back"
    empty(w, line(w, Destination.TRAINING))
    assert make.units(w.dressings, room_place(w.store, PlaceKind.TRAINING)) == 1


def test_it_refuses_what_cannot_be(w: make.World) -> None:
    assert refused(w) == "invalid-request"
    assert refused(w, line(w, Destination.SHELF)) == "invalid-request"
    assert refused(w, line(w, Destination.SHELF, shelf=w.hut_shelf)) == "invalid-request"
    assert refused(w, line(w, Destination.TRAINING, units=7)) == "not-enough"
    assert refused(w, line(w, Destination.TRAINING, units=0)) == "invalid-request"
    other = EmptyLine(make.section(w.day_02), w.dressings, 1, Destination.TRAINING)
    assert refused(w, other) == "invalid-request"
    tablets = line(w, Destination.DISPOSE, w.lots["tablets"], 1, "pouch", disposal=Disposal.BIN)
    assert refused(w, tablets) == "wrong-bin"
    with pytest.raises(NotAllowed):
        empty(w, line(w, Destination.TRAINING), who=w.guide)
    assert not Entry.objects.filter(kind="empty").exists()


def test_a_kit_that_is_out_or_kept_as_it_came_back_is_left_alone(w: make.World) -> None:
    holds.withhold(make.act(w.keeper), w.day_01, WithheldKind.KEEP_AS_IT_CAME_BACK)
    assert refused(w, line(w, Destination.TRAINING)) == "keep-as-it-came-back"
    holds.release(make.act(w.keeper), w.day_01, WithheldKind.KEEP_AS_IT_CAME_BACK)
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide)
    assert refused(w, line(w, Destination.TRAINING)) == "kit-is-out"


def test_it_is_taken_back_like_any_act(w: make.World) -> None:
    before = make.fresh(w.day_01).ready_until
    done = empty(w, line(w, Destination.SOLD, units=2, reason="to the ski club"))
    assert make.fresh(w.day_01).ready_until != before or before is None
    reversal.reverse(make.act(w.keeper), done.entry.pk)
    assert make.units(w.dressings, make.section(w.day_01)) == 6
    assert make.fresh(w.day_01).ready_until == before
    assert list(audit.findings()) == []


def test_what_is_judged_by_eye_is_said_to_be_out(w: make.World) -> None:
    seen = LooseLevel(make.section(w.day_01), w.plasters, Level.EMPTY)
    done = empty(w, levels=[seen])
    assert [fact.level for fact in done.entry.levels.all()] == ["empty"]
