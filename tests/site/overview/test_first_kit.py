"""The first kit on one page: by the example, by pasting, by makers' codes; and what comes of it."""

import re
from decimal import Decimal
from typing import Any

import pytest

from gearroom.core.models import Membership, Person, Room
from gearroom.core.rules.roles import Role
from kits.models import Holding, Item, ItemNeed, Kit, ListLine, Need, PackCode, PackingList
from kits.rules.ledger.facts import Criticality
from kits.services.ledger import hazards_covered
from kits.services.ledger.audit import findings
from kits.services.recalls import recalls
from kits.services.stock import receiving
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE

PATH = "/first-day/kit/"
NAMES = {"kit": "DAY-01", "list": "Day kit", "people": "10", "days": "1"}


@pytest.fixture
def room() -> Room:
    return make.room()


@pytest.fixture
def keeper(room: Room) -> Person:
    return make.person("Kim", Role.KEEPER, room)


def row(at: int, name: str, **said: str) -> dict[str, str]:
    return {f"{field}-{at}": text for field, text in {"name": name, **said}.items()}


def save(keeper: Person, *rows: dict[str, str], **more: str) -> Any:
    fields = {name: text for each in rows for name, text in each.items()}
    return post(browser(keeper), PATH, save="1", **{**NAMES, **fields, **more})


def shown(page: Any) -> dict[str, str]:
    """The inputs of the form, as a browser would send them."""
    return form_with(page, "save")


GLOVES = row(0, "gloves", there="4", carry="4", expiry="0331", matters="must-have", number="g1")
PINS = row(1, "safety pins", there="6", undated="1")
TAPE = row(2, "tape", there="1", carry="2", expiry="0328")


def test_a_kit_its_list_and_what_is_in_it_come_of_one_page(keeper: Person) -> None:
    answer = save(keeper, GLOVES, PINS, TAPE)

    assert answer["Location"] == "/first-day/kits/DAY-01/"
    kit = Kit.objects.get()
    assert kit.looked_inside_by == keeper and kit.contents_entered
    lines = {line.item.name: (line.carry, line.never_below) for line in ListLine.objects.all()}
    assert lines == {"gloves": (4, 4), "safety pins": (6, 0), "tape": (2, 0)}
    held = {
        h.lot.item.name: (h.units, h.lot.number, str(h.lot.expiry)) for h in Holding.objects.all()
    }
    assert held["gloves"] == (4, "G1", "2031-03-31")
    assert held["safety pins"] == (6, "", "None")
    assert not Item.objects.get(name="safety pins").needs_date
    assert list(findings()) == []


def test_the_result_says_how_it_stands_and_what_to_buy_and_what_goes_out_of_date(
    keeper: Person,
) -> None:
    save(keeper, GLOVES, TAPE, row(3, "eye wash", there="2", expiry=f"{make.days(40):%m%y}"))

    page = text_of(browser(keeper).get("/first-day/kits/DAY-01/"))

    assert "Ask first" in page and "1 × tape" in page
    assert "2 units go out of date by" in page and "eye wash. No price is on record." in page
    assert "Wall calendar" in page and "Open the kit" in page  # Kim works alone
    assert "never says that anything should be left out" in page


def test_what_goes_out_of_date_is_said_in_money_where_a_price_is_on_record(
    keeper: Person, room: Room
) -> None:
    save(keeper, row(0, "eye wash", there="2", expiry=f"{make.days(40):%m%y}"))
    receiving.receive(
        make.act(keeper), item=Item.objects.get(), shelf=make.shelf(room, "A1"), units=10,
        number="X", expiry=make.days(900), price=Decimal(25), currency="GBP",
    )  # fmt: skip
    page = text_of(browser(keeper).get("/first-day/kits/DAY-01/"))
    assert "Items worth 5.00 GBP go out of date by" in page


def test_what_a_row_leaves_open_is_asked_and_nothing_is_saved(keeper: Person) -> None:
    answer = save(
        keeper,
        row(0, "gloves", there="4", expiry="0331", matters="must-have"),
        row(1, "tape", there="1", expiry="03/04/27"),
        row(2, "", there="2"),
        row(3, "shears", there="one", kind="tool"),
    )

    said = text_of(answer)
    assert answer.status_code == 400 and not Item.objects.exists()
    assert "4 rows are not complete" in said
    assert "so that a recall finds it" in said and "can be read in more than one way" in said
    assert "Enter the name of the item." in said and "Enter whole numbers." in said
    assert re.search(
        r'type="radio"\s+name="expiry-1"\s+value="2027-04-03"', answer.content.decode()
    )


def test_the_summary_leads_to_each_field_that_is_asked_and_the_first_has_the_focus(
    keeper: Person,
) -> None:
    page = save(
        keeper,
        row(0, "tape"),
        row(1, "gloves", there="4", expiry="0331", matters="must-have"),
        row(2, "swab", there="2", expiry="03/04/27"),
        row(3, "", there="2"),
        row(4, "shears", there="1", carry="one", kind="tool"),
    ).content.decode()

    summary = re.search(r'<div class="problem".*?</div>', page, re.DOTALL)
    assert summary is not None
    assert re.findall(r'<a href="#(.*?)">(.*?)</a>', summary[0]) == [
        ("there-0", "tape"),
        ("number-1", "gloves"),
        ("expiry-2", "swab"),
        ("name-3", "Row 4"),
        ("carry-4", "shears"),
    ]
    focused = re.findall(r'<input id="([a-z]+-\d+)"[^>]*\sautofocus\s*>', page)
    assert focused == ["there-0"] and page.count("autofocus") == 1
    for id, row_of in (("there-0", 0), ("number-1", 1), ("carry-4", 4)):
        assert re.search(rf'<input id="{id}"[^>]*aria-describedby="asked-{row_of}"', page)


def test_the_batch_number_or_that_there_is_none_is_asked_beside_the_date(keeper: Person) -> None:
    page = browser(keeper).get(f"{PATH}?from=example").content.decode()
    rows = re.findall(r'<li class="typed-row.*?</li>', page, re.DOTALL)
    beside = {
        of.partition("<details>")[0] for of in rows if "must-have" in of.split("</summary>")[0]
    }
    assert beside and all("number-" in of and "unnumbered-" in of for of in beside)
    plaster = next(of for of in rows if 'value="plaster, wrapped"' in of).partition("<details>")
    assert "number-" not in plaster[0] and "unnumbered-" in plaster[2]

    gloves = row(0, "gloves", there="4", expiry="0331", matters="must-have", unnumbered="on")
    assert save(keeper, gloves).status_code == 302
    assert Holding.objects.get().lot.number == ""


@pytest.mark.parametrize("slip", ["31/02/27", "31.2.27", "310227"])
def test_a_day_that_does_not_exist_is_asked_for_again(keeper: Person, slip: str) -> None:
    answer = save(keeper, row(0, "tape", there="1", expiry=slip))
    assert answer.status_code == 400 and not Item.objects.exists()
    assert f"“{slip}” cannot be read as a date" in text_of(answer)
    assert 'type="radio"' not in answer.content.decode()


def test_the_result_repeats_the_dates_as_they_were_read(keeper: Person) -> None:
    save(keeper, GLOVES, TAPE)
    page = text_of(browser(keeper).get("/first-day/kits/DAY-01/"))
    assert "4 × gloves, good until 31 March 2031" in page
    assert "1 × tape, good until 31 March 2028" in page


def test_a_chosen_day_goes_before_what_was_typed(keeper: Person) -> None:
    client = browser(keeper)
    fields = {**NAMES, **row(0, "tape", there="1"), "expiry-0": ["03/04/27", "2027-04-03"]}
    post(client, PATH, save="1", **fields)
    assert str(Holding.objects.get().lot.expiry) == "2027-04-03"


def test_sent_twice_it_is_one_kit(keeper: Person) -> None:
    client = browser(keeper)
    form = {**NAMES, **GLOVES, "save": "1", "key": "3f0e0c0e-7a3b-4a53-8a8e-0a8d5f3f7a11"}
    for _ in range(2):
        assert client.post(PATH, form)["Location"] == "/first-day/kits/DAY-01/"
    assert Kit.objects.count() == Holding.objects.count() == 1


def test_the_example_has_22_lines_no_medicine_and_a_caution(keeper: Person) -> None:
    client = browser(keeper)
    assert "Use the example" in text_of(client.get(PATH))
    page = client.get(PATH + "?from=example")
    assert "never says that anything should be left out" in text_of(page)

    form = {**shown(page), **NAMES, "save": "1"}
    post(client, PATH, **form)

    lines = ListLine.objects.select_related("item")
    assert len(lines) == 23
    assert not any(line.item.kind == "medicine" for line in lines)
    assert {line.item.name for line in lines if line.criticality == Criticality.MUST_HAVE} == {
        "nitrile gloves, pair", "resuscitation face shield", "wound dressing, large",
        "foil blanket",
    }  # fmt: skip
    said = text_of(client.get("/first-day/kits/DAY-01/"))
    assert "Not set up yet" in said and "Count it" in said and "4 × nitrile gloves, pair" in said


def test_above_the_rows_it_says_while_nothing_is_a_must_have(keeper: Person) -> None:
    client = browser(keeper)
    says = "No item is marked as a must-have yet"
    page = text_of(post(client, PATH, paste="1", text="tweezers\nshears"))
    assert says in page and page.index(says) < page.index("Should be")
    assert says not in text_of(client.get(PATH + "?from=example"))
    assert says not in text_of(post(client, PATH, more="1", **NAMES, **GLOVES))


def test_the_next_kit_gets_a_free_name_on_the_same_list_or_a_new_one(keeper: Person) -> None:
    client = browser(keeper)
    form = {**shown(client.get(PATH + "?from=blank")), **TAPE, "save": "1"}
    assert (form["kit"], form["list"]) == ("KIT-01", "Group kit")
    assert post(client, PATH, **form)["Location"] == "/first-day/kits/KIT-01/"

    second = shown(client.get(PATH + "?from=blank"))
    assert (second["kit"], second["list"]) == ("KIT-02", "Group kit 2")

    lines: make.Lines = {"main": [(Item.objects.get(), 1, 0, Criticality.ROUTINE)]}
    make.kit_list("Another, first by name", lines)
    version = Kit.objects.get().list_version_id
    page = client.get("/first-day/kits/KIT-01/").content.decode()
    path = f"/add-kit/?list={Kit.objects.get().list_version.packing_list_id}&amp;name=KIT-02"
    assert "Another kit on the same list" in page and path in page
    add = form_with(client.get(path.replace("&amp;", "&")), "Add kit")
    assert (add["name"], add["version"]) == ("KIT-02", str(version))
    assert post(client, "/add-kit/", **add)["Location"] == "/kits/KIT-02/count/"
    assert Kit.objects.get(name="KIT-02").list_version_id == version


def test_whoever_is_alone_is_told_why_the_kit_cannot_be_taken_out_and_what_shows_it(
    keeper: Person,
) -> None:
    save(keeper, TAPE)
    client = browser(keeper)
    page = client.get("/first-day/kits/DAY-01/")
    assert "do not show how to take out a kit" in text_of(page)
    post(client, "/settings/alone/", **form_with(page, "Show everything"), shows_all="1")
    page = client.get("/first-day/kits/DAY-01/")
    assert "do not show how to take out a kit" not in text_of(page)
    assert "Take it out" in text_of(page)


def test_whoever_may_sign_signs_first_and_comes_back_to_what_is_next(keeper: Person) -> None:
    Membership.objects.create(person=keeper, role=Role.ADVISER.value)
    save(keeper, TAPE)
    here, client = "/first-day/kits/DAY-01/", browser(keeper)
    page = client.get(here).content.decode()
    assert re.findall(r'class="button go"\s+href="([^"?]*)', page) == ["/lists/1/1/"]

    of_list = client.get(f"/lists/1/1/?to={here}")
    signed = post(
        client, "/lists/1/1/sign/", to=form_with(of_list, "Sign")["to"], until="2027-05-31"
    )
    assert signed["Location"] == here
    assert "Read and sign the kit list" not in text_of(client.get(here))


def test_a_form_with_much_to_type_asks_before_it_is_left(keeper: Person) -> None:
    client = browser(keeper)
    save(keeper, TAPE)
    for path in (PATH + "?from=example", "/kits/DAY-01/count/"):
        html = client.get(path).content.decode()
        assert "data-asks" in html and "unsaved.js" in html and "data-typed" not in html
    assert "data-typed" in post(client, PATH, paste="1", text="tape").content.decode()


def test_pasted_lines_are_rows(keeper: Person) -> None:
    page = post(browser(keeper), PATH, paste="1", text="2 x eye wash\nTriangular bandage - 3\n\n")
    form = shown(page)
    assert (form["name-0"], form["carry-0"]) == ("eye wash", "2")
    assert (form["name-1"], form["carry-1"]) == ("Triangular bandage", "3")


def test_a_makers_code_fills_a_row_and_is_kept_with_its_item(keeper: Person) -> None:
    client = browser(keeper)
    code = "(01)04006381333931(17)310300(10)L77"
    page = post(client, PATH, read="1", batch=code, **NAMES, **row(0, ""))
    page = post(client, PATH, read="1", **{**shown(page), "batch": code})
    form = shown(page)
    assert (form["there-0"], form["expiry-0"], form["number-0"]) == ("2", "2031-03-31", "L77")

    post(client, PATH, **{**form, "name-0": "gauze", "pack-0": "5", "save": "1"})
    code_kept = PackCode.objects.get()
    assert (code_kept.gtin, code_kept.units_per_pack) == ("04006381333931", 5)
    assert Holding.objects.get().units == 2

    page = post(client, PATH, read="1", batch=code, **NAMES, **row(0, "Gauze", carry="5"))
    assert (shown(page)["name-0"], shown(page)["there-0"]) == ("Gauze", "5")


def test_what_is_no_code_is_said_and_the_rows_stay(keeper: Person) -> None:
    for typed in ("", "hello"):
        page = post(browser(keeper), PATH, read="1", batch=typed, **NAMES, **TAPE)
        assert page.status_code == 422 and shown(page)["name-0"] == "tape"


def test_nothing_typed_is_no_kit(keeper: Person) -> None:
    answer = save(keeper)
    assert "Enter at least one item." in text_of(answer)
    assert not PackingList.objects.exists()


def test_a_list_of_that_name_is_not_changed_by_it(keeper: Person) -> None:
    save(keeper, GLOVES)
    answer = save(keeper, TAPE, kit="DAY-02")
    assert "There is already a kit list called" in text_of(answer)
    assert Kit.objects.count() == 1


def test_the_list_is_made_for_the_hazards_that_were_ticked_and_says_what_it_lacks(
    keeper: Person,
) -> None:
    need = Need.objects.get(key="severe-bleeding")
    ItemNeed.objects.create(item=make.item("Pressure dressing"), need=need)
    ticked = {**NAMES, "hazard": ["hill", "sharp-tools"]}
    asked = post(browser(keeper), PATH, save="1", **ticked, **row(0, "tape", there="many"))
    assert asked.content.decode().count(" checked") >= 2  # what was ticked stays

    answer = post(browser(keeper), PATH, save="1", **ticked, **TAPE)

    version = PackingList.objects.get().versions.get()
    assert version.hazards == ["hill", "sharp-tools"]
    page = text_of(browser(keeper).get(answer["Location"]))
    assert "the list does not suit a trip with this hazard" in page
    serves = hazards_covered.served([version])[version.pk]
    assert serves.hazards == {"hill"} and set(serves.gaps) == {"sharp-tools"}


def test_a_hazard_that_is_none_of_ours_makes_no_kit(keeper: Person) -> None:
    answer = post(browser(keeper), PATH, save="1", **{**NAMES, "hazard": ["dragons"]}, **TAPE)

    assert answer.status_code == 400
    assert not PackingList.objects.exists()


def test_a_recall_says_maybe_of_units_without_a_batch_number(keeper: Person) -> None:
    save(keeper, TAPE)
    recall = recalls.start(make.act(keeper), item=Item.objects.get(), scope="number", number="R9")
    (place,) = recall.places.all()
    assert (place.units_min, place.units_max) == (0, 1)


def test_a_guide_may_not(room: Room) -> None:
    assert browser(make.person("Gil", Role.GUIDE, room)).get(PATH).status_code == 403
