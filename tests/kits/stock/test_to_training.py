"""What is out of date goes to training first, as far as a class can use it."""

import pytest

from gearroom.core.acts import NotAllowed
from kits.models import Disposal, Item, PlaceKind
from kits.services.ledger import audit
from kits.services.ledger.book import room_place
from kits.services.ledger.undo import reversal
from kits.services.restocking import sorting
from kits.services.restocking.sorting import PutIn
from kits.services.stock import disposing, moving
from kits.services.stock.disposing import Outgoing
from tests.kits import factories as make
from tests.kits.factories import act
from tests.kits.problems import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def test_all_of_it_goes_by_one_act_and_comes_back_by_one_undo(w: make.World) -> None:
    old = make.some(w.dressing, w.shelf, 4, "OLD", make.days(-5))
    rows = [row for row in disposing.out_of_date(w.store) if row.for_class]
    entry = disposing.to_training(act(w.keeper), w.store, rows)
    box = room_place(w.store, PlaceKind.TRAINING)
    assert make.units(old, box) == 4
    assert disposing.out_of_date(w.store) == []
    with refused("not-enough"):  # pressed twice
        disposing.to_training(act(w.keeper), w.store, rows)
    reversal.reverse(act(w.keeper), entry.pk)
    assert make.units(old, room_place(w.store, PlaceKind.QUARANTINE)) == 4
    assert [row.units for row in disposing.out_of_date(w.store)] == [4]
    assert list(audit.findings()) == []


def test_no_medicine_and_nothing_sharp_goes(w: make.World) -> None:
    Item.objects.filter(pk=w.dressing.pk).update(disposal=Disposal.SHARPS)
    w.dressing.refresh_from_db()
    box = room_place(w.store, PlaceKind.TRAINING)
    away = room_place(w.store, PlaceKind.QUARANTINE)
    for item in (w.tablets, w.dressing):
        old = make.some(item, w.shelf, 4, "OLD", make.days(-5))
        assert not Outgoing(away, old, 4).for_class
        with refused("not-for-class"):
            moving.move(act(w.keeper), lot=old, units=1, source=away, target=box)


def test_somebody_of_another_room_puts_nothing_there(w: make.World) -> None:
    old = make.some(w.dressing, w.shelf, 4, "OLD", make.days(-5))
    with pytest.raises(NotAllowed):
        disposing.to_training(act(w.keeper), w.hut, [Outgoing(w.shelf, old, 4)])


def test_it_goes_from_the_training_box_into_a_training_kit_only(w: make.World) -> None:
    box = room_place(w.store, PlaceKind.TRAINING)
    old = make.some(w.dressing, box, 4, "OLD", make.days(-5))
    kit = make.kit("TRAIN-1", w.version, w.store, training=True)
    sorting.restock(
        act(w.keeper), kit, as_listed=False, extra=[PutIn(old, box, make.section(kit), 3)]
    )
    assert make.units(old, make.section(kit)) == 3
    assert sorting.must_come_out(sorting.restock_list(make.fresh(kit))) == []
    with refused("training-stock"):
        extra = [PutIn(old, box, make.section(w.day_01), 1)]
        sorting.restock(act(w.keeper), w.day_01, as_listed=False, extra=extra)
    assert list(audit.findings()) == []
