"""Sorting by its page: as listed, with exceptions, with the batch in the hand, and the seal."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from pytest_django import Settings

from kits.models import Entry, Holding, Lot, Place, Seal
from kits.services.custody import custody
from kits.services.custody.use import UseLine
from kits.services.ledger import audit
from kits.services.restocking import sealing
from kits.services.stock import disposing
from tests.kits import again, factories as make
from tests.labels.scan import scanned
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of

pytestmark = PAGES_ON_SQLITE

SORT = "/kits/DAY-01/sort/"


@pytest.fixture
@again.kept
def school() -> scanned.Labelled:
    """Three dressings were used; the shelves hold D1, which goes first, and D2."""
    made = scanned.labelled()
    custody.check_in(make.act(), made.world.day_01, used=[UseLine(made.world.dressing, 3)])
    made.second = scanned.label(made.world.lots["d2"], made.world)
    return made


def held(school: scanned.Labelled, lot: str) -> int:
    return make.units(school.world.lots[lot], make.section(school.world.day_01))


def chosen_in(page: Any) -> list[Any]:
    return re.findall(r'name="chosen" value="(\d+)"', page.content.decode())


def test_a_batch_that_is_scanned_goes_in_instead_of_the_listed_one(
    school: scanned.Labelled,
) -> None:
    client = browser(school.world.guide)
    assert "batch D1" in text_of(client.get(SORT))

    page = post(client, SORT, read="1", batch=scanned.shown(school.second))
    assert re.search(r"Shelf C3 3 × Wound dressing .{0,40}batch D2 Scanned", text_of(page))
    assert held(school, "d2") == 0
    post(client, SORT, chosen=chosen_in(page))

    assert (held(school, "d1"), held(school, "d2")) == (3, 3)
    assert list(audit.findings()) == []


def test_where_the_shelf_holds_too_few_of_it_the_listed_one_makes_up_the_rest(
    school: scanned.Labelled,
) -> None:
    world, client = school.world, browser(school.world.guide)
    few = make.some(world.dressing, world.upper, 1, "D3", make.days(900))

    page = post(client, SORT, read="1", batch=scanned.label(few, world).code)
    post(client, SORT, chosen=chosen_in(page))

    assert (held(school, "d1"), make.units(few, make.section(world.day_01))) == (5, 1)


def test_a_scanned_batch_can_still_be_left_out(school: scanned.Labelled) -> None:
    client = browser(school.world.guide)

    page = post(client, SORT, read="1", batch=school.second.code)
    fields = {"chosen": chosen_in(page), "left-out": f"main:{school.world.dressing.pk}"}
    post(client, SORT, **fields)

    assert (held(school, "d1"), held(school, "d2")) == (3, 0)


def test_what_goes_in_is_listed_by_shelf_as_one_walks_the_room(school: scanned.Labelled) -> None:
    world = school.world
    for name, thing in (("C10", world.tablets), ("c1", world.dressing)):
        make.some(thing, make.shelf(world.store, name), 3, "NEAR", make.days(200))
    Place.objects.shelves().filter(room=world.store).update(position=1)

    page = text_of(browser(world.guide).get("/kits/DAY-02/sort/"))

    put_in = page.split("Put in")[1]
    assert re.findall(r"Shelf (\w+)", put_in) == ["c1", "C2", "C10"]
    assert "Top up loose items" in put_in.split("Shelf C10")[1]


def test_a_photo_of_its_label_does_too(school: scanned.Labelled, settings: Settings) -> None:
    settings.PUBLIC_URL = scanned.ADDRESS
    picture = SimpleUploadedFile("label.png", scanned.png_of(school.second))

    page = post(browser(school.world.guide), SORT, read="1", image=picture)

    assert chosen_in(page) == [str(school.world.lots["d2"].pk)]


def gone_out_of_date(world: Any) -> Lot:
    lot = make.some(world.dressing, world.shelf, 4, "OLD", make.days(3))
    Lot.objects.filter(pk=lot.pk).update(expiry=make.days(-3))
    return lot


@pytest.mark.parametrize(
    ("batch", "status", "told"),
    [
        (lambda s: gone_out_of_date(s.world), 409, "went out of date"),
        (lambda s: s.world.lots["tablets"], 422, "is not on the restock list"),
        (
            lambda s: make.batch(s.world.dressing, "NONE", make.days(90)),
            409,
            "No units of this batch are on record",
        ),
    ],
)
def test_a_batch_that_may_not_go_in_is_told_at_once(
    school: scanned.Labelled,
    batch: Callable[[Any], Lot] | Callable[[Any], Any],
    status: int,
    told: str,
) -> None:
    client = browser(school.world.guide)
    before = post(client, SORT, read="1", batch=school.second.code)
    label = scanned.label(batch(school), school.world)

    page = post(client, SORT, read="1", batch=label.code, chosen=chosen_in(before))

    assert page.status_code == status
    assert told in text_of(page)
    assert chosen_in(page) == chosen_in(before)
    assert Entry.objects.filter(kind="restock", kit=school.world.day_01).count() == 1  # the first


def test_the_next_seal_is_offered_off_the_strip_and_the_tag_to_print(
    school: scanned.Labelled,
) -> None:
    sealing.reseal(make.act(), school.world.day_02, "0417", anyway=True)
    client = browser(school.world.guide)
    post(client, SORT)

    page = client.get(SORT).content.decode()
    offered = present(re.search(r'name="seal" value="([^"]*)"', page))[1]
    answer = post(client, "/kits/DAY-01/seal/", seal=offered)

    assert Seal.objects.get(broken=None, kit=school.world.day_01).number == "0418"
    after = client.get(answer["Location"]).content.decode()
    assert 'href="/kits/DAY-01/tag/"' in after
    assert "first expiry" in after
    assert "Fit until" not in after


def test_what_is_on_no_shelf_can_be_entered_as_put_in(school: scanned.Labelled) -> None:
    world = school.world
    for row in Holding.objects.filter(place__kind="shelf", units__gt=0):
        disposing.dispose(
            make.act(world.keeper, reason="Sold"), lot=row.lot, units=row.units, place=row.place
        )
    page = browser(school.world.guide).get(SORT)
    assert "Not in stock here" in text_of(page)
    assert 'href="/kits/DAY-01/count/"' in page.content.decode()
