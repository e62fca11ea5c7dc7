"""What is said of a thing and of a batch: edited, corrected, checked on pages."""

import pytest
from django.core.cache import cache

from kits.models import Item, Lot
from kits.services.ledger import verdicts
from tests.kits import factories as make
from tests.present import present
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE


@pytest.fixture(autouse=True)
def _no_tries_yet() -> None:
    cache.clear()


@pytest.fixture
def world() -> make.World:
    return make.world()


def test_a_saved_form_without_a_change_changes_nothing(world: make.World) -> None:
    for item in (world.gauge, world.tablets, world.plasters):
        before = Item.objects.filter(pk=item.pk).values().get()
        client = browser(world.keeper)
        page = client.get(f"/stock/{item.pk}/edit/")

        fields = form_with(page, 'name="save"')
        answer = client.post(f"/stock/{item.pk}/edit/", {**fields, "save": "1"})

        assert answer.status_code == 302, text_of(answer)
        assert Item.objects.filter(pk=item.pk).values().get() == before


def test_the_order_level_and_the_coldest_are_set_by_hand(world: make.World) -> None:
    client, path = browser(world.keeper), f"/stock/{world.tablets.pk}/edit/"
    fields = form_with(client.get(path), 'name="save"')

    wrong = client.post(path, {**fields, "order_down_to": "few", "save": "1"})
    assert "“few” is not valid" in text_of(wrong)
    again = form_with(wrong, 'name="save"')
    said = {"order_down_to": "30", "min_temp_c": "-5", "caution": "One at a time."}
    client.post(path, {**again, **said, "save": "1"})

    item = Item.objects.get(pk=world.tablets.pk)
    assert (item.order_down_to, item.min_temp_c, item.caution) == (30, -5, "One at a time.")
    assert "Order level 30" in text_of(client.get(f"/stock/{item.pk}/"))


def test_an_edit_of_what_somebody_else_changed_meanwhile_is_not_written(world: make.World) -> None:
    client, path = browser(world.keeper), f"/stock/{world.shears.pk}/edit/"
    mine = form_with(client.get(path), 'name="save"')
    theirs = form_with(client.get(path), 'name="save"')
    client.post(path, {**theirs, "order_down_to": "4", "save": "1"})

    answer = client.post(path, {**mine, "order_down_to": "9", "save": "1"})

    assert answer.status_code == 412
    assert Item.objects.get(pk=world.shears.pk).order_down_to == 4


def test_codes_of_packs_and_what_will_do_instead_come_and_go(world: make.World) -> None:
    client, path = browser(world.keeper), f"/stock/{world.dressing.pk}/edit/"

    post(client, path, pack="1", gtin="9506000134352", holds="5")
    assert "GTIN 09506000134352: 5 in a pack" in text_of(client.get(path))
    post(client, path, unpack="09506000134352")
    assert not world.dressing.pack_codes.exists()
    post(client, path, instead="1", other=world.shears.pk, note="at a pinch")
    assert world.dressing.substitutes.get().instead == world.shears
    post(client, path, **{"not-instead": world.shears.pk})
    assert not world.dressing.substitutes.exists()


def test_a_thing_on_a_kit_list_is_not_retired(world: make.World) -> None:
    client = browser(world.keeper)

    answer = post(client, f"/stock/{world.dressing.pk}/edit/", retire="1")
    assert answer.status_code == 409
    assert "Day walk" in text_of(answer)
    post(client, f"/stock/{world.gauge.pk}/edit/", retire="1")
    assert Item.objects.get(pk=world.gauge.pk).retired_on is not None
    post(client, f"/stock/{world.gauge.pk}/edit/", **{"bring-back": "1"})
    assert Item.objects.get(pk=world.gauge.pk).retired_on is None


def test_a_guide_edits_nothing(world: make.World) -> None:
    client = browser(world.guide)

    assert "Edit item" not in text_of(client.get(f"/stock/{world.shears.pk}/"))
    assert client.get(f"/stock/{world.shears.pk}/edit/").status_code == 403


def test_a_wrong_date_is_put_right_and_the_kit_judged_again(world: make.World) -> None:
    client = browser(world.keeper)
    path = f"/stock/at/{world.shelf.pk}/{world.dressings.pk}/"
    fields = form_with(client.get(path), 'name="correct"')
    assert fields["number"] == "D1"

    said = {"printed": make.days(-3).isoformat(), "correct": "1"}
    assert "Enter how you know" in text_of(client.post(path, {**fields, **said, "reason": ""}))
    client.post(path, {**fields, **said, "key": "", "reason": "read off the pack"})

    assert Lot.objects.get(pk=world.dressings.pk).expiry == make.days(-3)
    assert not verdicts.verdict(make.fresh(world.day_01), make.today()).may_go


def test_an_instrument_on_a_shelf_is_checked_there(world: make.World) -> None:
    path = f"/stock/at/{world.shelf.pk}/{world.lots['gauge'].pk}/"
    client = browser(world.guide)
    assert "Is the needle in the green?" in text_of(client.get(path))

    post(client, path, check="failed", answer="glass cracked")
    assert "On hold" in text_of(client.get(f"/stock/{world.gauge.pk}/"))
    post(client, path, check="passed")

    assert present(world.lots["gauge"].checks.last()).passed is True
