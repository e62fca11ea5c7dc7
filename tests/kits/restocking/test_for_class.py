"""A training kit is restocked from the training box; what comes out of others may go there."""

import pytest

from kits.models import Disposal, Holding, Lot, PlaceKind
from kits.services.ledger import audit
from kits.services.ledger.book import room_place
from kits.services.ledger.undo import reversal
from kits.services.restocking import sorting
from kits.services.restocking.sorting import PutIn
from tests.kits import factories as make
from tests.kits.factories import act, fresh, section
from tests.kits.problems import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def test_it_takes_from_the_training_box_by_itself_out_of_date_or_not(w: make.World) -> None:
    box = room_place(w.store, PlaceKind.TRAINING)
    old = make.some(w.dressing, box, 20, "OLD", make.days(-500))
    kit = make.kit("TRAIN-1", w.version, w.store, training=True)
    shelves = Holding.objects.filter(place__kind=PlaceKind.SHELF).order_by("id")
    on_shelves = list(shelves.values())
    done = sorting.restock(act(w.keeper), kit)
    assert done.put_in and {row.lot for row in done.put_in if row.lot.item_id == w.dressing.pk} == {
        old
    }
    assert all(row.lot.item.for_class for row in done.put_in)
    reversal.reverse(act(w.keeper), done.entry.pk)
    assert make.units(old, box) == 20
    assert list(shelves.values()) == on_shelves
    assert list(audit.findings()) == []


def test_a_kit_that_people_rely_on_gets_nothing_of_the_training_box(w: make.World) -> None:
    box = room_place(w.store, PlaceKind.TRAINING)
    good = make.some(w.dressing, box, 20, "GOOD", make.days(500))
    plan = sorting.restock_list(w.day_02)
    assert box.pk not in plan.shelves
    assert not [row for row in plan.list.put_in if row.batch.id == good.pk]
    with refused("training-stock"):
        sorting.restock(act(w.keeper), w.day_02, extra=[PutIn(good, box, section(w.day_02), 1)])


@pytest.mark.parametrize("to_training", [False, True])
def test_what_comes_out_goes_into_the_training_box_if_asked(
    w: make.World, to_training: bool
) -> None:
    old = [make.some(item, w.shelf, 2, "OLD", make.days(3)) for item in (w.dressing, w.tablets)]
    extra = [PutIn(lot, w.shelf, section(w.day_02), 2) for lot in old]
    sorting.restock(act(w.keeper), w.day_02, as_listed=False, extra=extra)
    Lot.objects.filter(number="OLD").update(expiry=make.days(-1))
    done = sorting.restock(act(w.keeper), fresh(w.day_02), to_training=to_training)
    went = {leg.lot.item: leg.target.kind for leg in done.taken_out}
    assert went[w.dressing] == (PlaceKind.TRAINING if to_training else Disposal.BIN)
    assert went[w.tablets] == Disposal.PHARMACY
