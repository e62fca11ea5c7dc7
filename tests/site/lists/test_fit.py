"""Whether a list fits the bags that it goes into, on the pages."""

from kits.models import Closing, Item, Kit, PackingListVersion
from kits.services.lists import drafts
from kits.services.restocking import sealing
from kits.services.restocking.sealing import Closed
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, post, text_of
from tests.site.lists.draft_forms import at, edited, form_of

pytestmark = PAGES_ON_SQLITE


def sealed(world: make.World, *, closed: bool) -> None:
    sealing.reseal(
        make.act(world.guide),
        make.fresh(world.day_01),
        "0417",
        closed=Closed(closed=closed, mass_g=1234),
    )


def test_a_bag_that_did_not_close_is_said_on_the_list_the_draft_and_the_plan(
    world: make.World,
) -> None:
    Item.objects.filter(pk=world.dressing.pk).update(volume_ml=100, mass_g=50)
    sealed(world, closed=False)
    drafts.new_draft(make.act(world.keeper), world.version.packing_list)
    client = browser(world.keeper)
    for page in ("/lists/1/1/", "/lists/1/2/edit/", "/lists/1/1/plan/", "/kits/DAY-01/plan/"):
        said = text_of(client.get(page))
        assert "DAY-01: The contents will not fit: this much did not fit before." in said
        assert "Weighed on" in said
        assert "with the bag: 1,234 g." in said
        assert "weighs 300 g or more" in said
        assert "Weight not on record: Pain tablets, Plasters, Shears." in said
    assert "The contents will not fit" in text_of(client.get("/kits/DAY-01/sort/"))


def test_what_is_too_much_for_a_bag_names_what_to_move(world: make.World) -> None:
    Item.objects.filter(pk__in=[world.dressing.pk]).update(volume_ml=200)
    Item.objects.exclude(pk=world.dressing.pk).update(volume_ml=1)
    Kit.objects.filter(pk=world.day_01.pk).update(bag_volume_ml=1000)
    said = text_of(browser(world.guide).get("/lists/1/1/"))
    assert (
        "The contents may not fit: they take up 1,210 ml, and there is probably room for "
        "about 700 ml." in said
    )
    assert "Move these elsewhere, or choose smaller ones: 6 × Wound dressing 10 × 12." in said


def test_whether_it_closed_is_one_tap_when_sealing_and_may_be_left_out(world: make.World) -> None:
    client = browser(world.guide)
    assert "it did not close" in text_of(client.get("/kits/DAY-01/sort/"))
    post(client, "/kits/DAY-01/seal/", seal="1")
    assert not Closing.objects.exists()
    post(client, "/kits/DAY-01/seal/", seal="2", closed="yes", mass_g="900")
    row = Closing.objects.get()
    assert (row.closed, row.mass_g) == (True, 900)
    assert post(client, "/kits/DAY-01/seal/", seal="3", closed="perhaps").status_code == 400
    assert post(client, "/kits/DAY-01/seal/", seal="3", mass_g="0").status_code == 400


def test_a_section_is_carried_outside_the_bag(world: make.World) -> None:
    drafts.new_draft(make.act(world.keeper), world.version.packing_list)
    client = browser(world.keeper)
    draft = PackingListVersion.objects.get(number=2)
    edited(client, draft, **{"outside-pouch": "1"})
    assert "outside the bag" in text_of(client.get("/lists/1/2/"))
    assert form_of(client.get(at(draft)))["outside-pouch"] == ["1"]
