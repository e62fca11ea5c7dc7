"""What is out of date is offered for training first, where there are training kits."""

import pytest

from kits.models import PlaceKind
from kits.services.ledger.book import room_place
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE

PAGE = "/stock/out-of-date/"
OFFER = "Put the selected items in the training box"


@pytest.fixture
def w() -> make.World:
    return make.world()


def test_without_training_kits_nothing_is_offered(w: make.World) -> None:
    make.some(w.dressing, w.shelf, 4, "OLD", make.days(-5))
    assert OFFER not in text_of(browser(w.keeper).get(PAGE))


def test_one_tap_puts_what_a_class_can_use_in_the_training_box(w: make.World) -> None:
    make.kit("TRAIN-1", w.version, w.store, training=True)
    old = make.some(w.dressing, w.shelf, 4, "OLD", make.days(-5))
    tablets = make.some(w.tablets, w.shelf, 2, "OLD", make.days(-5))
    client = browser(w.keeper)
    page = text_of(client.get(PAGE))
    assert OFFER in page
    assert page.index("Wound dressing") < page.index(OFFER) < page.index("Pain tablets")
    quarantine = room_place(w.store, PlaceKind.QUARANTINE)
    row = f"{quarantine.pk}:{old.pk}:4"

    post(client, PAGE, out=row, training="1")

    assert make.units(old, room_place(w.store, PlaceKind.TRAINING)) == 4
    assert OFFER not in text_of(client.get(PAGE))
    wrong = post(client, PAGE, out=f"{quarantine.pk}:{tablets.pk}:2", training="1")
    assert "never used in class" in text_of(wrong)


def test_a_batch_out_of_date_is_kept_for_training_first(w: make.World) -> None:
    old = make.some(w.dressing, w.shelf, 4, "OLD", make.days(-5))
    tablets = make.some(w.tablets, w.shelf, 2, "OLD", make.days(-5))
    client = browser(w.keeper)
    keep = "Keep for training"
    quarantine = room_place(w.store, PlaceKind.QUARANTINE)
    assert keep in text_of(client.get(f"/stock/at/{quarantine.pk}/{old.pk}/"))
    assert keep not in text_of(client.get(f"/stock/at/{w.shelf.pk}/{w.dressings.pk}/"))
    page = text_of(client.get(f"/stock/at/{quarantine.pk}/{tablets.pk}/"))
    assert keep not in page and "Training box" not in page
