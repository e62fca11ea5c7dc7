"""Somebody on record twice becomes one on the people's page, which asks before."""

import pytest

from gearroom.core.models import Person
from gearroom.core.services.people import people
from kits.models import Checkout
from kits.services.custody import custody
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture
def world() -> make.World:
    return make.world()


@pytest.fixture
def twice(world: make.World) -> Person:
    """Gil, added at the hatch once more without a tag, with a kit."""
    again = people.add_holder(make.act(world.guide), name="Gil", phone="0700 900 321")
    custody.check_out(make.act(world.guide), world.day_01, person=again)
    return again


def test_it_asks_first_and_says_what_moves(world: make.World, twice: Person) -> None:
    client = browser(world.keeper)
    assert "Merge with another record" in text_of(client.get(f"/people/{twice.pk}/"))
    assert "View what will move" in text_of(client.get(f"/people/{twice.pk}/merge/"))

    page = client.get(f"/people/{twice.pk}/merge/?into={world.guide.pk}")

    assert "kits they have now: DAY-01" in text_of(page)
    assert Checkout.objects.get().person == twice
    fields = form_with(page, "Same person: merge")
    answer = client.post(f"/people/{twice.pk}/merge/", fields)
    assert answer["Location"] == f"/people/{world.guide.pk}/"
    assert Checkout.objects.get().person == world.guide
    assert Person.objects.get(pk=twice.pk).merged_into == world.guide
    assert "The two records of Gil have been merged into one" in text_of(
        client.get(answer["Location"])
    )


def test_what_cannot_be_one_is_said_and_nothing_moves(world: make.World, twice: Person) -> None:
    made = make.person("Gil Two", at=world.store)
    answer = post(browser(world.keeper), f"/people/{made.pk}/merge/", into=world.guide.pk)
    assert (answer.status_code, "have a login" in text_of(answer)) == (409, True)


def test_a_guide_merges_nobody(world: make.World, twice: Person) -> None:
    client = browser(world.guide)
    assert client.get(f"/people/{twice.pk}/merge/").status_code == 403
    assert post(client, f"/people/{twice.pk}/merge/", into=world.guide.pk).status_code == 403
