"""A training kit by its pages: out to a class and back by one tap each, labelled wherever it is."""

import pytest

from kits.models import Checkout, Kit, Lot, Movement, Place, PlaceKind, WithheldKind
from kits.services.kits import holds
from kits.services.restocking import sorting
from kits.services.restocking.sorting import PutIn
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE

MARK = "Training: not for emergencies"


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def kit(w: make.World) -> Kit:
    made = make.kit("TRAIN-1", w.version, w.store, training=True)
    extra = [PutIn(w.lots["d2"], w.upper, make.section(made), 3)]
    sorting.restock(make.act(w.keeper), made, as_listed=False, extra=extra)
    return made


@pytest.mark.parametrize("page", ["/kits/TRAIN-1/", "/scan/?text=TRAIN-1"])
def test_one_tap_takes_it_out_and_one_brings_it_back(w: make.World, kit: Kit, page: str) -> None:
    client = browser(w.guide)
    out = client.get(page)
    assert MARK in text_of(out)
    assert "Reason" not in text_of(out)

    answer = post(client, "/scan/", **form_with(out, "Take it out for a class"))
    assert "TRAIN-1 is out with" in text_of(answer)
    assert "For classes only, not for emergencies." in text_of(answer)
    assert MARK in text_of(answer)

    back = client.get(page)
    assert "Sort later" not in text_of(back).split("Handed back earlier")[0]
    answer = post(client, "/scan/", **form_with(back, "Nothing used up"))
    assert "TRAIN-1 is back" in text_of(answer)
    assert "Sort now" not in text_of(answer)
    assert not Checkout.objects.open().exists()


@pytest.mark.parametrize("page", ["/kits/TRAIN-1/", "/scan/?text=TRAIN-1"])
@pytest.mark.parametrize("how", ["storage", "hold"])
def test_one_that_is_on_hold_or_in_storage_is_not_offered_for_a_class(
    w: make.World, kit: Kit, page: str, how: str
) -> None:
    if how == "storage":
        holds.lay_up(make.act(w.keeper), kit)
    else:
        holds.withhold(make.act(w.keeper), kit, WithheldKind.SOMETHING_WRONG, "100 % torn")
    shown = text_of(browser(w.guide).get(page))
    assert "Take it out for a class" not in shown
    assert f"in {how}" in shown or "Somebody reported that something is wrong" in shown


def test_a_restock_of_another_kit_offers_what_comes_out_for_training(
    w: make.World, kit: Kit
) -> None:
    old = make.some(w.dressing, w.shelf, 2, "OLD", make.days(3))
    make.put_in(w.day_02, old, w.shelf, 2)
    Lot.objects.filter(pk=old.pk).update(expiry=make.days(-1))
    client = browser(w.keeper)
    page = client.get("/kits/DAY-02/sort/")
    assert "or training box" in text_of(page)
    sent = form_with(page, "All put in as listed")
    post(client, "/kits/DAY-02/sort/", **sent, training="1")
    box = Place.objects.get(room=w.store, kind=PlaceKind.TRAINING)
    assert make.units(old, box) == 2
    page = client.get("/kits/TRAIN-1/sort/")
    assert "out of the training box first" in text_of(page)
    assert "training" in text_of(page) and "OLD" in text_of(page)
    post(client, "/kits/TRAIN-1/sort/", **form_with(page, "All put in as listed"))
    assert make.units(old, box) == 0


def test_what_was_used_up_is_asked_as_used_in_class(w: make.World, kit: Kit) -> None:
    client = browser(w.guide)
    post(client, "/scan/", **form_with(client.get("/kits/TRAIN-1/"), "Take it out for a class"))
    assert "Used in class" in text_of(client.get("/kits/TRAIN-1/"))
    page = client.get("/kits/TRAIN-1/hand-back/?opened=1&sharps=no")
    assert "Went with the casualty" not in text_of(page)
    assert "Needed but not in the kit" not in text_of(page)

    post(
        client,
        "/kits/TRAIN-1/hand-back/",
        sharps="no",
        opened="1",
        **{f"used-{w.dressing.pk}": "2"},
    )

    used = Movement.objects.filter(entry__kind="use")
    assert list(used.values_list("to_place__kind", "units")) == [(PlaceKind.CLASS, 2)]
    kit.refresh_from_db()
    assert kit.to_sort_since is None


def test_in_an_emergency_it_says_that_it_is_for_training(w: make.World, kit: Kit) -> None:
    client = browser(w.guide)
    page = client.get("/kits/TRAIN-1/")
    assert "This is a training kit, not for emergencies" in text_of(page)
    answer = post(client, "/scan/", **form_with(page, "Emergency: take it now"))
    assert "This is a training kit, not for emergencies" in text_of(answer)
    assert "Opened" in text_of(client.get("/kits/TRAIN-1/"))


def test_the_list_of_kits_labels_training_kits_and_no_others(w: make.World, kit: Kit) -> None:
    assert text_of(browser(w.keeper).get("/kits/")).count(MARK) == 1
