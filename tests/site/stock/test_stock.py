"""The pages of stock: what is where, moved, thrown out, running low."""

import re

import pytest
from django.core.cache import cache
from pytest_django import DjangoAssertNumQueries

from kits.models import Entry, EntryKind, Holding, Item, ListLine
from kits.rules.planning.seasons import season_of
from kits.services.custody import use
from kits.services.ledger.undo import reversal
from kits.services.stock import disposing, receiving, shelves
from kits.services.text.planning import past_use_texts as texts
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


# --------------------------------------------------------------------------------- what is where
def test_stock_names_each_thing_by_room_with_what_is_low_first(world: make.World) -> None:
    Item.objects.filter(pk=world.shears.pk).update(order_down_to=9)

    page = text_of(browser(world.keeper).get("/stock/"))

    assert page.index("Shears") < page.index("Pain tablets")
    assert "order level 9" in page
    assert re.search(r"Shears\s+piece\s+Tools\s+–\s+5\s+Low", page)


def test_stock_is_searched_and_narrowed_to_what_is_low(world: make.World) -> None:
    client = browser(world.keeper)

    assert "Shears" not in text_of(client.get("/stock/?search=dress"))
    assert "Nothing is running low" in text_of(client.get("/stock/?low=1"))
    assert "No item matches" in text_of(client.get("/stock/?search=zzz"))


def test_the_table_is_put_in_order_by_a_column_and_keeps_its_filters(world: make.World) -> None:
    Item.objects.filter(pk=world.shears.pk).update(order_down_to=9)
    client = browser(world.keeper)

    page = client.get("/stock/?search=s&sort=expiry").content.decode()

    assert page.count('aria-sort="ascending"') == 1
    assert 'href="?search=s&amp;sort=-expiry"' in page
    assert page.index("Wound dressing") < page.index("Shears")  # what has no date is last
    down = text_of(client.get("/stock/?sort=-name"))
    assert down.index("Wound dressing") < down.index("Shears") < down.index("Pain tablets")
    assert client.get("/stock/?sort=nonsense&page=99&before=x&group=x").status_code == 200


def test_the_table_is_narrowed_by_room_group_date_supplier_and_what_was_never_used(
    world: make.World,
) -> None:
    make.some(world.dressing, world.upper, 3, "D9", make.days(3))
    receiving.receive(
        make.act(world.keeper), item=world.shears, shelf=world.shelf, units=1, supplier="Nail & Co"
    )
    client = browser(world.keeper)

    def names(query: str) -> list[str]:
        page = client.get(f"/stock/?{query}").content.decode()
        return re.findall(r'<th scope="row">\s*<a href="[^"]*">([^<]*)', page)

    assert "Pain tablets" in names("group=medicine")
    assert "Shears" not in names("group=medicine")
    assert names(f"before={make.days(5)}") == [world.dressing.name]
    assert names("supplier=Nail %26 Co".replace(" ", "+")) == ["Shears"]
    assert "Shears" in names("unused=1")
    assert names("room=main-store") == names("room=elsewhere") == names("")
    page = text_of(client.get(f"/stock/?before={make.days(5)}"))
    assert "Expires soon" in page
    assert "Show everything" in page


def test_an_item_says_how_long_it_lasts(world: make.World) -> None:
    page = text_of(browser(world.keeper).get("/stock/"))

    assert re.search(r"not used in the past year", page)
    assert "“How long it lasts” is how long the usable stock" in page
    assert "None left" not in page


def test_a_thing_shows_its_batches_by_shelf_its_kits_and_its_movements(world: make.World) -> None:
    page = text_of(browser(world.keeper).get(f"/stock/{world.dressing.pk}/"))

    assert re.search(r"12\s+C2\s+Main store\s+batch D1, good until", page)
    assert re.search(r"10\s+C3\s+Main store\s+batch D2", page)
    assert re.search(r"6\s+DAY-01 , Main\s+D1", page)
    assert "supplier → C2" in page


def test_another_rooms_stock_is_not_shown(world: make.World) -> None:
    page = text_of(browser(world.stranger).get(f"/stock/{world.dressing.pk}/"))

    assert "C2" not in page
    assert "DAY-01" not in page
    assert browser(world.stranger).get(
        f"/stock/at/{world.shelf.pk}/{world.dressings.pk}/"
    ).status_code == 404  # fmt: skip


def test_the_picture_of_expiry_says_in_a_table_what_it_draws(world: make.World) -> None:
    old = make.some(world.dressing, world.upper, 3, "OLD", make.days(-40))
    make.some(world.shears, world.shelf, 1)

    response = browser(world.keeper).get("/stock/expiry/")
    page = response.content.decode()

    assert page.count('<rect class="bar" x=') >= 3
    row = r'<th scope="row">\s*([^<]+?)\s*</th>.*?<td class="n">\s*(\d+)\s*</td>\s*</tr>'
    rows = dict(re.findall(row, page, re.DOTALL))
    assert rows["out of date"] == "3"
    assert "without an expiry date" in rows
    assert sum(map(int, rows.values())) == sum(Holding.objects.values_list("units", flat=True))
    assert old.number in text_of(response)


def test_the_pages_of_stock_ask_as_much_for_many_things_as_for_few(
    world: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(12):
        thing = make.item(f"Thing {number:02}", order_down_to=2)
        make.some(thing, world.shelf, 2, f"L{number}", make.days(100 + number * 40))
    client = browser(world.keeper)
    pins = {"": 26, "expiry/": 12, "count/": 10, "out-of-date/": 10, "recalls/": 9}
    for path, most in ((f"/stock/{page}", most) for page, most in pins.items()):
        with django_assert_max_num_queries(most):
            assert client.get(path).status_code == 200, path


# ---------------------------------------------------------------------- moving and throwing out
def test_only_the_right_bins_are_offered(world: make.World) -> None:
    client = browser(world.keeper)
    path = f"/stock/at/{world.shelf.pk}/{world.lots['tablets'].pk}/"

    page = client.get(path).content.decode()
    assert re.findall(r'name="dispose" value="(\w+)"', page) == ["pharmacy", "returned"]
    refused = post(client, path, units="4", dispose="bin", reason="wet")
    assert refused.status_code == 409
    assert "“bin” is not the right way" in text_of(refused)


def test_what_is_still_good_is_thrown_out_with_a_reason_alone(world: make.World) -> None:
    client = browser(world.keeper)
    path = f"/stock/at/{world.shelf.pk}/{world.dressings.pk}/"

    assert "enter the reason" in text_of(post(client, path, units="2", dispose="bin"))
    post(client, path, units="2", dispose="bin", reason="got wet")

    assert make.units(world.dressings, world.shelf) == 10
    assert Entry.objects.get(kind=EntryKind.DISPOSE).reason == "got wet"


def test_all_that_is_out_of_date_goes_in_one_act_each_into_its_bin(world: make.World) -> None:
    bandage = make.some(world.dressing, world.shelf, 3, "OLD", make.days(-2))
    pills = make.some(world.tablets, world.upper, 8, "OLD-T", make.days(-9))
    client = browser(world.keeper)
    page = client.get("/stock/out-of-date/")
    ticked = re.findall(r'name="out" value="([^"]+)" checked', page.content.decode())
    assert len(ticked) == 2
    words = text_of(page)
    assert words.index("Bin") < words.index("OLD") < words.index("Pharmacy") < words.index("OLD-T")

    client.post("/stock/out-of-date/", {"out": ticked})

    entry = Entry.objects.get(kind=EntryKind.DISPOSE)
    gone = {m.lot: m.to_place.kind for m in entry.movements.select_related("lot", "to_place")}
    assert gone == {bandage: "bin", pills: "pharmacy"}
    assert "Nothing on the shelves" in text_of(client.get("/stock/out-of-date/"))


def test_what_is_unticked_stays(world: make.World) -> None:
    make.some(world.dressing, world.shelf, 3, "OLD", make.days(-2))

    answer = post(browser(world.keeper), "/stock/out-of-date/")

    assert "Choose what to dispose of" in text_of(answer)
    assert disposing.out_of_date(world.store)[0].units == 3


def test_a_batch_moves_to_another_shelf_in_one_tap(world: make.World) -> None:
    path = f"/stock/at/{world.shelf.pk}/{world.dressings.pk}/"

    post(browser(world.keeper), path, units="5", move=world.upper.pk)

    assert make.units(world.dressings, world.upper) == 5


def test_what_is_sent_to_another_room_waits_there_until_it_arrives(world: make.World) -> None:
    keepers = browser(world.keeper)
    for_both = make.person("Bo", make.Role.KEEPER)
    both = browser(for_both)

    path = f"/stock/at/{world.shelf.pk}/{world.dressings.pk}/"
    assert "Send to another" not in text_of(keepers.get(path))
    assert "Send to another" in text_of(both.get(path))
    post(both, path, units="4", send=world.hut.slug)
    page = both.get("/stock/")
    assert "On the way here" in text_of(page)
    assert "On the way here" not in text_of(keepers.get("/stock/"))
    fields = form_with(page, "Mark as arrived")
    both.post("/stock/arrive/", {**fields, "shelf": world.hut_shelf.pk})

    assert make.units(world.dressings, world.hut_shelf) == 4
    assert "On the way here" not in text_of(both.get("/stock/"))


# ------------------------------------------------------------------------------------- the board
def test_the_board_names_what_is_running_low_and_leads_to_what_to_order(world: make.World) -> None:
    client = browser(world.keeper)
    assert "Running low" not in text_of(client.get("/"))

    Item.objects.filter(pk__in=[world.shears.pk, world.gauge.pk]).update(order_down_to=9)
    # no kit of the room carries a gauge
    assert "Running low Order Shears View what to order" in text_of(client.get("/"))
    section = ListLine.objects.filter(item=world.shears)[0].section
    ListLine.objects.create(section=section, item=world.gauge, carry=1, never_below=1)
    page = client.get("/")

    # one gauge of nine is emptier than five shears
    assert "Running low Order Pressure gauge, Shears View what to order" in text_of(page)
    low = client.get(
        present(re.search(r'href="([^"]+)">View what to order', page.content.decode()))[1]
    )
    assert "Shears" in text_of(low)
    assert "Pain tablets" not in text_of(low)


# ----------------------------------------------------------------------------------- empty states
def test_an_empty_room_says_what_to_do_first(db: None) -> None:
    room = make.room("New store")
    client = browser(make.person("Nia", make.Role.KEEPER, room))

    assert "Receive a delivery first" in text_of(client.get("/stock/"))
    assert "There are no items on record here yet" in text_of(client.get("/stock/receive/"))
    assert "There are no shelves yet" in text_of(client.get("/stock/count/"))  # alone: no room
    assert "Receive a delivery first" in text_of(client.get("/stock/expiry/"))
    assert "There are no open recalls" in text_of(client.get("/stock/recalls/"))


def test_a_closed_shelf_is_offered_nowhere(world: make.World) -> None:
    empty = shelves.add_shelf(make.act(), world.store, "Z9")
    client = browser(world.keeper)
    assert "Z9" in text_of(client.get("/stock/count/"))

    shelves.close_shelf(make.act(), empty)

    assert "Z9" not in text_of(client.get("/stock/count/"))
    assert "Z9" not in text_of(client.get(f"/stock/receive/?item={world.shears.pk}"))


def test_an_old_story_of_a_thing_is_folded_behind_its_newest_acts(world: make.World) -> None:
    for number in range(9):
        receiving.receive(
            make.act(world.keeper),
            item=world.shears,
            units=number + 1,
            number="S",
            expiry=None,
            shelf=world.shelf,
        )

    page = text_of(browser(world.keeper).get(f"/stock/{world.shears.pk}/"))

    newest, older = page.split("Earlier records")
    assert "9 × S" in newest
    assert "1 × S" in older


def test_a_thing_shows_what_was_used_of_it_season_by_season(world: make.World) -> None:
    page = f"/stock/{world.dressing.pk}/"
    assert "Used, season by season" not in text_of(browser(world.keeper).get(page))
    use.log_use(make.act(world.keeper), world.day_01, [use.UseLine(world.dressing, 2)])
    undone = use.log_use(make.act(world.keeper), world.day_01, [use.UseLine(world.dressing, 3)])
    reversal.reverse(make.act(world.keeper), undone.entry.pk)
    answer = browser(world.keeper).get(page)
    words, season = text_of(answer), texts.season_name(season_of(make.days(0)), over=False)
    assert "Used, season by season" in words and "Show as a table" in words
    assert f"{season}: 2 used, 0 needed but not in the kit." in answer.content.decode()
    assert 'class="within"' in answer.content.decode()
    assert "Used, season by season" not in text_of(browser(world.stranger).get(page))
