"""Whether lists fit bags: learned from what closed, and undone with it."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gearroom.core.acts import Invalid
from kits.models import Closing, Item, Kit, ListSection, PackingListVersion, Seal
from kits.rules.planning.fit import Fits
from kits.services.ledger.undo import reversal
from kits.services.planning import fit
from kits.services.restocking import sealing
from kits.services.restocking.sealing import Closed
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh, world
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    return world()


def known(w: World, *, bag: int | None = 1000) -> Kit:
    """Volumes and masses of all that DAY-01 carries: 760 ml, 420 g."""
    for item, ml, grams in (
        (w.dressing, 100, 50), (w.shears, 70, 60), (w.plasters, 50, 20), (w.tablets, 5, 5),
    ):  # fmt: skip
        Item.objects.filter(pk=item.pk).update(volume_ml=ml, mass_g=grams)
    Kit.objects.filter(pk=w.day_01.pk).update(bag_volume_ml=bag)
    return fresh(w.day_01)


def seal(w: World, number: str, *, section: str = "", **said: Any) -> Seal:
    return sealing.reseal(
        act(w.guide),
        fresh(w.day_01),
        number,
        section=make.section(w.day_01, section) if section else None,
        closed=Closed(**said),
    )


def test_a_full_list_is_held_against_the_usual_share_of_a_bag(w: World) -> None:
    answer = fit.of_kit(known(w))
    assert (answer.whole.bulk.volume_ml, answer.carried.mass_g) == (760, 420)
    assert answer.whole.fits is Fits.TIGHT  # 760 of 700
    assert [(move.item, move.units) for move in answer.whole.move] == [(w.dressing, 6)]
    assert fit.of_kit(known(w, bag=1200)).whole.fits is Fits.EXPECTED
    assert fit.of_kit(known(w, bag=None)).whole.fits is Fits.NOT_KNOWN


def test_what_lies_beside_the_bag_is_carried_and_takes_no_room(w: World) -> None:
    kit = known(w)
    ListSection.objects.filter(version=w.version, key="pouch").update(outside=True)
    answer = fit.of_kit(kit)
    assert (answer.whole.bulk.volume_ml, answer.carried.mass_g) == (720, 420)
    assert [bag.outside for bag in answer.sections] == [False, True]


def test_a_bag_that_closed_fits_as_much_again_until_that_is_undone(w: World) -> None:
    known(w)
    done = seal(w, "1", closed=True, mass_g=1234)
    answer = fit.of_kit(fresh(w.day_01))
    assert (answer.whole.fits, answer.whole.move) == (Fits.CLOSED_BEFORE, [])
    assert present(answer.weighed).mass_g == 1234
    reversal.reverse(act(w.keeper), done.put_on_id)
    answer = fit.of_kit(fresh(w.day_01))
    assert (answer.whole.fits, answer.weighed) == (Fits.TIGHT, None)


def test_a_bag_that_did_not_close_will_not_until_it_does(w: World) -> None:
    known(w, bag=5000)
    seal(w, "1", closed=False)
    assert fit.of_kit(fresh(w.day_01)).whole.fits is Fits.WILL_NOT_CLOSE
    seal(w, "2", closed=True)
    assert fit.of_kit(fresh(w.day_01)).whole.fits is Fits.CLOSED_BEFORE


def test_a_pouch_is_learned_of_by_itself(w: World) -> None:
    known(w)
    seal(w, "1", section="pouch", closed=False)
    answer = fit.of_kit(fresh(w.day_01))
    assert [bag.fits for bag in answer.sections] == [Fits.NOT_KNOWN, Fits.WILL_NOT_CLOSE]
    assert answer.tightest.key == "pouch"


def test_what_is_inside_when_it_is_sealed_is_kept_as_far_as_volumes_are_known(w: World) -> None:
    known(w)
    Item.objects.filter(pk=w.tablets.pk).update(volume_ml=None)
    seal(w, "1", closed=True)
    row = Closing.objects.get()
    assert (row.volume_ml, row.known_share) == (720, 0.5)  # 8 of 16 units are tablets
    answer = fit.of_kit(fresh(w.day_01))
    assert (answer.whole.fits, answer.volume_unknown) == (Fits.NOT_KNOWN, [w.tablets])


def test_nobody_has_to_say(w: World) -> None:
    seal(w, "1")
    assert not Closing.objects.exists()
    with pytest.raises(Invalid):
        seal(w, "2", mass_g=0)


def test_a_version_is_held_against_several_bags_the_tightest_first_and_none(w: World) -> None:
    known(w, bag=5000)
    Kit.objects.filter(pk=w.day_02.pk).update(bag_volume_ml=500)
    answers = fit.of_version(w.version, [fresh(w.day_01), fresh(w.day_02)])
    assert [present(answer.kit).name for answer in answers] == ["DAY-02", "DAY-01"]
    (alone,) = fit.of_version(w.version)
    assert (alone.kit, alone.whole.fits, alone.carried.mass_g) == (None, Fits.NOT_KNOWN, 420)


def test_more_kits_take_no_more_queries(w: World) -> None:
    version = PackingListVersion.objects.get(pk=w.version.pk)
    kits = [fresh(w.day_01), fresh(w.day_02)]
    with CaptureQueriesContext(connection) as queries:
        fit.of_version(version, kits)
    assert len(queries) == 3
