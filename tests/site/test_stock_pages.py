"""The pages of stock: what is where, receiving by scanning, counting, throwing out, recalls."""

from __future__ import annotations

import re

import pytest
from django.core.cache import cache

from kits.models import Entry, EntryKind, Holding, Item, PackCode, PlaceKind, Recall, RecallPlace
from kits.services import catalogue, custody, disposing, ledger, recalls, shelves, stock
from kits.services.use import UseLine
from tests.kits import factories as make
from tests.site.browsing import browser, post, text_of

pytestmark = pytest.mark.django_db

GTIN = "09506000134352"
"""Of the range that GS1 keeps for examples."""


@pytest.fixture(autouse=True)
def _no_tries_yet():
    cache.clear()


@pytest.fixture
def world():
    return make.world()


@pytest.fixture
def coded(world):
    """The school, its dressings in packs of ten with a GTIN."""
    catalogue.put_pack_code(make.act(), world.dressing, gtin=GTIN, units_per_pack=10)
    return world


def code(number="D9", day="300531", gtin=GTIN):
    return f"01{gtin}17{day}10{number}"


def form_with(response, button):
    """The fields and address of the form that has a button, as a browser would send them."""
    page = response.content.decode()
    for form in re.findall(r"<form.*?</form>", page, re.S):
        if button in form:
            fields = {}
            for tag in re.findall(r"<(?:input|select)[^>]*>", form):
                name, value = (re.search(rf'\b{a}="([^"]*)"', tag) for a in ("name", "value"))
                if 'type="radio"' in tag and "checked" not in tag:
                    continue
                if name:
                    fields.setdefault(name[1], value[1] if value else "")
            return fields, re.search(r'action="([^"]*)"', form)
    raise AssertionError(f"no form has {button!r}")


# --------------------------------------------------------------------------------- what is where
def test_stock_names_each_thing_by_room_with_what_is_low_first(world):
    Item.objects.filter(pk=world.shears.pk).update(order_down_to=9)

    page = text_of(browser(world.keeper).get("/stock/"))

    assert page.index("Shears") < page.index("Pain tablets")
    assert "order when down to 9" in page
    assert re.search(r"Shears\s+Main store\s+5\s+Low", page)


def test_stock_is_searched_and_narrowed_to_what_is_low(world):
    client = browser(world.keeper)

    assert "Shears" not in text_of(client.get("/stock/?search=dress"))
    assert "Nothing is running low" in text_of(client.get("/stock/?low=1"))
    assert "No thing has this in its name" in text_of(client.get("/stock/?search=zzz"))


def test_a_thing_shows_its_batches_by_shelf_its_kits_and_its_movements(world):
    page = text_of(browser(world.keeper).get(f"/stock/{world.dressing.pk}/"))

    assert re.search(r"12\s+C2\s+Main store\s+D1", page)
    assert re.search(r"10\s+C3\s+Main store\s+D2", page)
    assert re.search(r"6\s+DAY-01 , Main\s+D1", page)
    assert "supplier → C2" in page


def test_another_rooms_stock_is_not_shown(world):
    page = text_of(browser(world.stranger).get(f"/stock/{world.dressing.pk}/"))

    assert "C2" not in page
    assert "DAY-01" not in page
    assert browser(world.stranger).get(
        f"/stock/at/{world.shelf.pk}/{world.dressings.pk}/"
    ).status_code == 404  # fmt: skip


def test_the_picture_of_expiry_says_in_a_table_what_it_draws(world):
    old = make.some(world.dressing, world.upper, 3, "OLD", make.days(-40))
    make.some(world.shears, world.shelf, 1)

    response = browser(world.keeper).get("/stock/expiry/")
    page = response.content.decode()

    assert page.count('<rect class="bar" x=') >= 3
    rows = dict(re.findall(r'<th scope="row">([^<]+)</th>.*?<td class="n">(\d+)</td></tr>', page))
    assert rows["out of date"] == "3"
    assert "without a date" in rows
    assert sum(map(int, rows.values())) == sum(Holding.objects.values_list("units", flat=True))
    assert old.number in text_of(response)


def test_the_pages_of_stock_ask_as_much_for_many_things_as_for_few(
    world, django_assert_max_num_queries
):
    for number in range(12):
        thing = make.item(f"Thing {number:02}", order_down_to=2)
        make.some(thing, world.shelf, 2, f"L{number}", make.days(100 + number * 40))
    client = browser(world.keeper)
    for path, most in (("/stock/", 20), ("/stock/expiry/", 12), ("/stock/count/", 10)):
        with django_assert_max_num_queries(most):
            assert client.get(path).status_code == 200, path


# ------------------------------------------------------------------------------------- receiving
def test_a_scan_and_two_taps_receive_packs_onto_a_shelf(coded):
    client = browser(coded.keeper)

    answer = post(client, "/stock/receive/", text=code())
    assert "Wound dressing 10 × 12" in text_of(answer)
    assert "good until 31 May 2030" in text_of(answer)
    assert "10 in a pack" in text_of(answer)
    fields, _where = form_with(answer, 'name="shelf"')
    done = client.post("/stock/receive/", {**fields, "packs": "3", "shelf": coded.upper.pk})

    assert done["Location"] == "/stock/receive/"
    held = Holding.objects.get(lot__number="D9")
    assert (held.units, held.place) == (30, coded.upper)
    assert "30 × Wound dressing 10 × 12 are on record: C3." in text_of(client.get(done["Location"]))


def test_the_same_box_twice_asks_whether_there_is_more(coded):
    client = browser(coded.keeper)

    assert "More of the same lot?" not in text_of(post(client, "/stock/receive/", text=code()))
    assert "More of the same lot?" in text_of(post(client, "/stock/receive/", text=code()))


def test_a_pack_that_says_how_many_it_holds_counts_by_that(coded):
    client = browser(coded.keeper)

    answer = post(client, "/stock/receive/", text=f"(01){GTIN}(17)300531(10)D9(30)25")
    fields, _where = form_with(answer, 'name="shelf"')
    client.post("/stock/receive/", {**fields, "packs": "2", "shelf": coded.shelf.pk})

    assert Holding.objects.get(lot__number="D9").units == 50


def test_a_code_that_reads_in_two_ways_is_offered_in_each(coded):
    answer = post(browser(coded.keeper), "/stock/receive/", text=f"10AB1730053101{GTIN}")

    assert "Compare with what is printed on the pack" in text_of(answer)
    assert answer.content.decode().count('name="pack_code"') > 1


def test_an_unknown_code_opens_a_new_thing_with_what_is_known(world):
    client = browser(world.keeper)

    answer = post(client, "/stock/receive/", text=f"(01){GTIN}(17)300531(10)K7(30)12")
    assert "New here" in text_of(answer)
    fields, _where = form_with(answer, 'name="base_unit"')
    assert fields["holds"] == "12"
    said = {"name": "Finger splint", "base_unit": "splint", "kind": "consumable"}
    done = client.post("/stock/receive/new/", {**fields, **said, "needs_date": "1"})

    assert PackCode.objects.get(gtin=GTIN).item.name == "Finger splint"
    page = client.get(done["Location"])
    assert "More of the same lot?" not in text_of(page)
    fields, _where = form_with(page, 'name="shelf"')
    client.post("/stock/receive/", {**fields, "packs": "1", "shelf": world.shelf.pk})
    assert Holding.objects.get(lot__number="K7").units == 12


def test_an_unknown_code_may_be_of_a_thing_that_is_known(world):
    client = browser(world.keeper)
    answer = post(client, "/stock/receive/", text=code())

    fields, _where = form_with(answer, 'value="known"')
    done = client.post("/stock/receive/new/", {**fields, "item": world.dressing.pk, "holds": "20"})

    assert "20 in a pack" in text_of(client.get(done["Location"]))


def test_a_thing_is_chosen_and_its_date_typed_as_it_is_printed(world):
    client = browser(world.keeper)

    page = client.get(f"/stock/receive/?item={world.tablets.pk}")
    fields, _where = form_with(page, 'name="shelf"')
    said = {**fields, "number": "t9", "packs": "16", "shelf": world.shelf.pk}
    refused = client.post("/stock/receive/", {**said, "expiry_printed": "05/06/2030"})
    assert "can be read in more than one way" in text_of(refused)
    again, _where = form_with(refused, 'name="shelf"')
    assert again["number"] == "t9"
    client.post(
        "/stock/receive/",
        {**again, "packs": "16", "expiry_printed": "MAY 2030", "shelf": world.shelf.pk},
    )

    held = Holding.objects.get(lot__number="T9")
    assert (held.units, held.lot.expiry.isoformat()) == (16, "2030-05-31")


def test_what_arrives_out_of_date_goes_to_quarantine_and_says_so(coded):
    client = browser(coded.keeper)
    answer = post(client, "/stock/receive/", text=code(day="200531"))
    fields, _where = form_with(answer, 'name="shelf"')

    client.post("/stock/receive/", {**fields, "packs": "1", "shelf": coded.shelf.pk})

    assert Holding.objects.get(lot__number="D9").place.kind == PlaceKind.QUARANTINE
    assert "complain to the supplier" in text_of(client.get("/stock/receive/"))


def test_a_shelf_scanned_after_a_pack_keeps_the_pack_and_comes_first(coded):
    from tests.labels import scanned

    label = scanned.label(coded.upper)
    client = browser(coded.keeper)
    first, _where = form_with(post(client, "/stock/receive/", text=code()), 'id="text"')

    answer = client.post("/stock/receive/", {**first, "text": label.code})

    shelves_offered = re.findall(r'name="shelf" value="(\d+)"', answer.content.decode())
    assert shelves_offered[0] == str(coded.upper.pk)
    assert "D9" in text_of(answer)


def test_a_guide_receives_nothing(world):
    answer = browser(world.guide).get("/stock/receive/")

    assert answer.status_code == 403
    assert "Ask a keeper" in text_of(answer)


# -------------------------------------------------------------------------------------- counting
def test_the_sheet_does_not_tell_what_the_book_has(world):
    for path in (f"/stock/count/{world.shelf.pk}/", f"/stock/count/{world.shelf.pk}/paper/"):
        page = browser(world.guide).get(path)
        assert "D1" in text_of(page)
        assert not re.search(r"\b40\b", text_of(page)), path
        assert 'value="12"' not in page.content.decode()


def counted(client, world, **found):
    """The sheet of shelf C2, filled in and compared."""
    fields, _where = form_with(client.get(f"/stock/count/{world.shelf.pk}/"), "began")
    said = {f"lot-{world.lots[name].pk}": str(n) for name, n in found.items()}
    return client.post(f"/stock/count/{world.shelf.pk}/", {**fields, **said})


def test_a_difference_is_explained_before_it_is_written(world):
    client, path = browser(world.guide), f"/stock/count/{world.shelf.pk}/"
    answer = counted(client, world, d1=10, shears=5, tablets=40, gauge=1)
    assert "1 difference. Nothing is written yet." in text_of(answer)
    assert "Counted 10 , the book has 12 ." in text_of(answer)
    assert not Entry.objects.filter(kind=EntryKind.COUNT).exists()
    fields, _where = form_with(answer, 'name="write"')

    refused = client.post(path, {**fields, "write": "1"})
    assert "Say of each difference why" in text_of(refused)
    why = {f"why-lot-{world.dressings.pk}": "used", f"note-lot-{world.dressings.pk}": "by Gil"}
    fields, _where = form_with(refused, 'name="write"')
    client.post(path, {**fields, **why, "write": "1"})

    entry = Entry.objects.get(kind=EntryKind.COUNT)
    assert make.units(world.dressings, world.shelf) == 10
    assert entry.detail["explained"] == {
        str(world.dressings.pk): "Used, and nobody wrote it down: by Gil"
    }
    assert entry.detail["complete"] is True


def test_what_is_left_empty_stays_as_the_book_has_it(world):
    client = browser(world.guide)
    answer = counted(client, world, d1=12)
    assert "3 batches were not counted" in text_of(answer)
    fields, _where = form_with(answer, 'name="write"')

    client.post(f"/stock/count/{world.shelf.pk}/", {**fields, "write": "1"})

    assert make.units(world.lots["tablets"], world.shelf) == 40
    assert Entry.objects.get(kind=EntryKind.COUNT).detail["complete"] is False


def test_something_else_found_on_the_shelf_becomes_a_batch_of_it(world):
    client, path = browser(world.guide), f"/stock/count/{world.shelf.pk}/"
    fields, _where = form_with(client.get(path), "began")
    said = {"thing-0": "Wound dressing 10 × 12", "number-0": "D7", "printed-0": "2031-02"}
    answer = client.post(path, {**fields, **said, "units-0": "4"})
    assert not world.dressing.lots.filter(number="D7").exists()
    fields, _where = form_with(answer, 'name="write"')

    client.post(path, {**fields, "why-else-0": "arrived", "write": "1"})

    lot = world.dressing.lots.get(number="D7")
    assert lot.expiry.isoformat() == "2031-02-28"
    assert make.units(lot, world.shelf) == 4


def test_what_moved_while_somebody_counted_is_pointed_out(world):
    client, path = browser(world.guide), f"/stock/count/{world.shelf.pk}/"
    fields, _where = form_with(client.get(path), "began")
    stock.move(make.act(), lot=world.dressings, units=2, source=world.shelf, target=world.upper)

    answer = client.post(path, {**fields, f"lot-{world.dressings.pk}": "12"})

    assert "moved in the book while you counted" in text_of(answer)


def test_an_empty_sheet_is_no_count(world):
    answer = counted(browser(world.guide), world)

    assert answer.status_code == 400
    assert "Nothing is counted yet" in text_of(answer)


# ---------------------------------------------------------------------- moving and throwing out
def test_only_the_right_bins_are_offered(world):
    client = browser(world.keeper)
    path = f"/stock/at/{world.shelf.pk}/{world.lots['tablets'].pk}/"

    page = client.get(path).content.decode()
    assert re.findall(r'name="dispose" value="(\w+)"', page) == ["pharmacy", "returned"]
    refused = post(client, path, units="4", dispose="bin", reason="wet")
    assert refused.status_code == 409
    assert "does not go to “bin”" in text_of(refused)


def test_what_is_still_good_is_thrown_out_with_a_reason_alone(world):
    client = browser(world.keeper)
    path = f"/stock/at/{world.shelf.pk}/{world.dressings.pk}/"

    assert "say why" in text_of(post(client, path, units="2", dispose="bin"))
    post(client, path, units="2", dispose="bin", reason="got wet")

    assert make.units(world.dressings, world.shelf) == 10
    assert Entry.objects.get(kind=EntryKind.DISPOSE).reason == "got wet"


def test_all_that_is_out_of_date_goes_in_one_act_each_into_its_bin(world):
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


def test_what_is_unticked_stays(world):
    make.some(world.dressing, world.shelf, 3, "OLD", make.days(-2))

    answer = post(browser(world.keeper), "/stock/out-of-date/")

    assert "Choose what is thrown out" in text_of(answer)
    assert disposing.out_of_date(world.store)[0].units == 3


def test_a_batch_moves_to_another_shelf_in_one_tap(world):
    path = f"/stock/at/{world.shelf.pk}/{world.dressings.pk}/"

    post(browser(world.keeper), path, units="5", move=world.upper.pk)

    assert make.units(world.dressings, world.upper) == 5


def test_what_is_sent_to_another_room_waits_there_until_it_arrives(world):
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
    fields, _where = form_with(page, "It arrived")
    both.post("/stock/arrive/", {**fields, "shelf": world.hut_shelf.pk})

    assert make.units(world.dressings, world.hut_shelf) == 4
    assert "On the way here" not in text_of(both.get("/stock/"))


# --------------------------------------------------------------------------------------- recalls
def test_a_recall_runs_from_its_record_to_its_end(world):
    custody.check_out(make.act(), world.day_01, person=world.guide)
    client = browser(world.keeper)
    said = {"item": world.dressing.name, "scope": "number", "number": "d1", "reference": "FSN 7"}

    answer = post(client, "/stock/recalls/", **said)
    recall = Recall.objects.get()
    assert answer["Location"] == f"/stock/recalls/{recall.pk}/"
    page = client.get(answer["Location"])
    words = text_of(page)
    assert words.index("Certainly") < words.index("DAY-01") < words.index("Maybe")
    assert "Gil has it" in words
    assert "12 Quarantine" in words or "12 quarantine" in words
    row = RecallPlace.objects.get(place__kit=world.day_01)

    post(client, f"/stock/recalls/{recall.pk}/told/", row=row.pk)
    assert "Told" in text_of(client.get(answer["Location"]))
    mine = browser(world.guide)
    assert "DAY-01" in text_of(mine.get(answer["Location"]))
    post(mine, f"/stock/recalls/{recall.pk}/answer/", row=row.pk, answer="will-look")
    assert "1 place has not answered" in text_of(client.get(answer["Location"]))
    post(mine, f"/stock/recalls/{recall.pk}/answer/", row=row.pk, answer="taken-out", removed=6)

    assert "Every place in your view has answered" in text_of(client.get(answer["Location"]))
    assert make.units(world.dressings, make.section(world.day_01)) == 0
    post(client, f"/stock/recalls/{recall.pk}/close/")
    assert Recall.objects.get().closed is not None
    assert "Closed" in text_of(client.get("/stock/recalls/"))


def test_a_kit_that_maybe_holds_it_stands_apart(world):
    make.put_in(world.day_02, world.dressings, world.shelf, 3)
    custody.check_in(make.act(), world.day_01, used=[UseLine(world.dressing, 2)])
    make.put_in(world.day_01, world.lots["d2"], world.upper, 2)
    custody.check_in(make.act(), world.day_01, used=[UseLine(world.dressing, 4)])
    recall = recalls.start(make.act(), item=world.dressing, scope="number", number="D1")

    page = text_of(browser(world.keeper).get(f"/stock/recalls/{recall.pk}/"))

    rows = RecallPlace.objects.filter(recall=recall)
    for row in rows:
        part = page[page.index("Certainly") : page.index("Maybe")]
        apart = page[page.index("Maybe") :]
        name = row.place.kit.name if row.place.kit else row.place.name
        assert name in (part if row.certainty == "certain" else apart)
    assert {row.certainty for row in rows} == {"certain", "maybe"}


def test_a_recall_shows_a_stranger_none_of_our_places(world):
    recall = recalls.start(make.act(), item=world.dressing, scope="all")

    page = text_of(browser(world.stranger).get(f"/stock/recalls/{recall.pk}/"))

    assert "DAY-01" not in page
    assert "Close the recall" not in page


def test_a_recall_without_its_number_says_what_is_wanted(world):
    answer = post(
        browser(world.keeper), "/stock/recalls/", item=world.dressing.name, scope="number"
    )

    assert answer.status_code == 400
    assert "Give the maker&#x27;s lot number" in answer.content.decode()
    assert 'name="item"' in answer.content.decode()


# ------------------------------------------------------------------------------------- the board
def test_the_board_names_what_is_running_low_and_leads_to_what_to_order(world):
    client = browser(world.keeper)
    assert "Running low" not in text_of(client.get("/"))

    Item.objects.filter(pk__in=[world.shears.pk, world.gauge.pk]).update(order_down_to=9)
    page = client.get("/")

    # one gauge of nine is emptier than five shears
    assert "Running low Order Pressure gauge, Shears See what to order" in text_of(page)
    low = client.get(re.search(r'href="([^"]+)">See what to order', page.content.decode())[1])
    assert "Shears" in text_of(low)
    assert "Pain tablets" not in text_of(low)


# ----------------------------------------------------------------------------------- empty states
def test_an_empty_room_says_what_to_do_first(db):
    room = make.room("New store")
    client = browser(make.person("Nia", make.Role.KEEPER, room))

    assert "Receive what arrived first" in text_of(client.get("/stock/"))
    assert "No thing is known here yet" in text_of(client.get("/stock/receive/"))
    assert "There is no shelf in New store yet" in text_of(client.get("/stock/count/"))
    assert "Receive what arrived first" in text_of(client.get("/stock/expiry/"))
    assert "No recall is open" in text_of(client.get("/stock/recalls/"))


def test_a_closed_shelf_is_offered_nowhere(world):
    empty = shelves.add_shelf(make.act(), world.store, "Z9")
    client = browser(world.keeper)
    assert "Z9" in text_of(client.get("/stock/count/"))

    shelves.close_shelf(make.act(), empty)

    assert "Z9" not in text_of(client.get("/stock/count/"))
    assert "Z9" not in text_of(client.get(f"/stock/receive/?item={world.shears.pk}"))
    assert ledger.outer(PlaceKind.BIN).name  # bins are no shelves
