"""Checking a kit: one tap where all is as on record, else the lines that differ; it is no count."""

import pytest
from pytest_django import DjangoAssertNumQueries

from kits.models import Entry, EntryKind, Holding, Item, Kit, LevelFact, Seal
from kits.services.ledger.undo import reversal
from kits.services.restocking import sealing
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE
PATH = "/kits/DAY-01/checked/"
TOP, BELOW = "Everything matches the record", "Save what is different"


@pytest.fixture
def world() -> make.World:
    return make.world()


def inside(world: make.World) -> dict[str, int]:
    """How many of each item are on record in the kit."""
    rows = Holding.objects.filter(place__kit=world.day_01, units__gt=0)
    return dict(rows.values_list("lot__item__name", "units"))


def kinds() -> list[str]:
    return [str(entry.kind) for entry in Entry.objects.order_by("pk")]


def there(world: make.World, item: Item) -> str:
    """The name of the input for an item in the main section."""
    return f"there-{make.section(world.day_01).pk}-{item.pk}"


def test_one_tap_records_a_look_inside_and_counts_nothing(world: make.World) -> None:
    sealing.reseal(make.act(world.keeper), world.day_01, "417")
    client, before, acts = browser(world.keeper), inside(world), kinds()
    page = client.get(PATH)
    assert "Seal 417 will be recorded as broken" in text_of(page)

    key = form_with(page, TOP)
    for _press in range(2):
        post(client, PATH, **key, all="1")

    assert kinds() == [*acts, EntryKind.LOOK_INSIDE]
    assert inside(world) == before
    kit = make.fresh(world.day_01)
    assert (kit.looked_inside_on, kit.looked_inside_by) == (make.today(), world.keeper)
    assert not Seal.objects.unbroken().filter(kit=kit).exists()


def test_only_what_differs_is_counted_and_the_rest_was_looked_at(world: make.World) -> None:
    client, before, acts = browser(world.keeper), inside(world), kinds()
    fields = form_with(client.get(PATH), BELOW)

    answer = post(
        client,
        PATH,
        **{
            **fields,
            there(world, world.dressing): "4",
            there(world, world.plasters): "low",
        },
    )

    assert answer.status_code == 302
    assert "2 items differed from the record, which now shows what you entered" in text_of(
        client.get(answer["Location"])
    )
    assert kinds() == [*acts, EntryKind.COUNT, EntryKind.LOOK_INSIDE]
    assert inside(world) == {**before, world.dressing.name: 4}
    count = Entry.objects.filter(kind=EntryKind.COUNT).latest("pk")
    assert not count.detail["complete"] and not count.detail["looked_inside"]
    assert count.detail["counted"] == {}  # nobody read a batch
    assert all(movement.lot_assumed for movement in count.movements.all())
    assert LevelFact.objects.latest("pk").level == "low"


def test_an_undo_takes_back_the_look_and_what_differed(world: make.World) -> None:
    client, before, acts = browser(world.keeper), inside(world), kinds()
    fields = form_with(client.get(PATH), BELOW)
    post(client, PATH, **{**fields, there(world, world.dressing): "4"})

    reversal.reverse(make.act(world.keeper), Entry.objects.latest("pk").pk)

    assert inside(world) == before
    assert Entry.objects.filter(reversed_by=None, reverses=None).count() == len(acts)


def test_a_record_that_changed_meanwhile_is_compared_again_and_what_was_typed_stays(
    world: make.World,
) -> None:
    client = browser(world.keeper)
    stale = form_with(client.get(PATH), BELOW)
    post(client, PATH, **form_with(client.get(PATH), TOP), all="1")
    acts = kinds()

    answer = post(client, PATH, **{**stale, there(world, world.dressing): "4"})

    assert answer.status_code == 400
    assert "The record of DAY-01 has changed" in text_of(answer)
    assert form_with(answer, BELOW)[there(world, world.dressing)] == "4"
    assert kinds() == acts


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({}, "You have not entered any difference."),
        ({"dressing": "some"}, "“some” is not valid"),
        ({"gauge": "2"}, "Count each Pressure gauge by its serial number."),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_recorded(
    world: make.World, typed: dict[str, str], says: str
) -> None:
    make.put_in(world.day_01, world.lots["gauge"], world.shelf, 1)
    client = browser(world.keeper)
    fields, acts = form_with(client.get(PATH), BELOW), kinds()

    more = {there(world, getattr(world, name)): text for name, text in typed.items()}
    answer = post(client, PATH, **{**fields, **more})

    assert says in text_of(answer)
    assert kinds() == acts


def test_what_is_short_on_record_is_said_before_the_tap(world: make.World) -> None:
    client = browser(world.keeper)
    assert "The record already shows less" not in text_of(client.get(PATH))
    post(client, PATH, **{**form_with(client.get(PATH), BELOW), there(world, world.dressing): "1"})

    assert "Wound dressing 10 × 12: 1 of 6" in text_of(client.get(PATH))


def test_a_kit_whose_contents_nobody_entered_is_counted_first(world: make.World) -> None:
    Kit.objects.filter(pk=world.day_02.pk).update(contents_entered=False)
    page = browser(world.keeper).get("/kits/DAY-02/checked/")
    assert "there is nothing to compare it with" in text_of(page)
    assert TOP not in text_of(page)


def test_the_page_asks_as_much_for_many_lines_as_for_few(
    world: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    client = browser(world.keeper)
    client.get(PATH)
    with django_assert_max_num_queries(45):
        client.get(PATH)
