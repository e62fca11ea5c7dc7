"""Several batches at once: ticked in the table, then moved, sent, thrown out or labelled."""

import re
import uuid
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from gearroom.core.rules.roles import Role
from kits.models import Entry, EntryKind, Holding, Label
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE

TABLE, CHOSEN = "/stock/batches/", "/stock/chosen/"


@pytest.fixture
def world() -> make.World:
    return make.world()


def _ticks(client: Any, query: str = "") -> list[str]:
    page = client.get(f"{TABLE}{query}").content.decode()
    return re.findall(r'name="on"\s+value="([^"]+)"', page)


def _on(world: make.World) -> dict[str, int]:
    rows = Holding.objects.on_hand().filter(place__in=[world.shelf, world.upper])
    return {
        f"{name}": sum(each.units for each in rows if each.place == place)
        for name, place in (("C2", world.shelf), ("C3", world.upper))
    }


def test_the_table_lists_batches_by_date_and_is_narrowed(world: make.World) -> None:
    client = browser(world.keeper)
    page = text_of(client.get(TABLE))

    assert page.index("D1") < page.index("Shears")
    assert len(_ticks(client, "?search=D2")) == 1
    assert len(_ticks(client, f"?before={make.days(-1)}")) == 0
    assert "No batch here matches" in text_of(client.get(f"{TABLE}?search=zzz"))
    assert "checked" in client.get(f"{TABLE}?tick=all").content.decode().split("<table")[1]
    assert client.get(f"{TABLE}?sort=-units&page=9&before=x&room=x").status_code == 200


def test_all_that_is_ticked_moves_in_one_act_and_is_undone_in_one(world: make.World) -> None:
    client = browser(world.keeper)
    before, ticks = _on(world), _ticks(client)
    of_c2 = [tick for tick in ticks if tick.startswith(f"{world.shelf.pk}:")]

    page = client.get(CHOSEN, {"on": of_c2, "room": "main-store"})
    assert "Move all of it to a shelf" in text_of(page)
    key = uuid.uuid4()
    for _pressed_twice in range(2):
        answer = post(client, CHOSEN, key, on=of_c2, do="move", shelf=world.upper.pk)
        assert answer.status_code == 302

    assert _on(world) == {"C2": 0, "C3": sum(before.values())}
    entry = Entry.objects.get(kind=EntryKind.MOVE)
    assert entry.movements.count() == len(of_c2)
    post(client, f"/undo/{entry.pk}/")
    assert _on(world) == before


def test_one_that_may_not_be_moved_keeps_all_where_they_are(world: make.World) -> None:
    old = make.some(world.dressing, world.shelf, 3, "OLD", make.days(-2))
    client = browser(world.keeper)
    before, ticks = _on(world), _ticks(client)
    assert any(f":{old.pk}:" in tick for tick in ticks)  # in quarantine, out of date

    answer = post(client, CHOSEN, on=ticks, do="move", shelf=world.upper.pk)

    assert answer.status_code == 409 or answer.status_code == 422
    assert "Wound dressing" in text_of(answer)
    assert _on(world) == before
    assert not Entry.objects.filter(kind=EntryKind.MOVE).exists()


def test_what_was_taken_meanwhile_stops_all(world: make.World) -> None:
    client = browser(world.keeper)
    ticks = [f"{world.shelf.pk}:{world.dressings.pk}:9999"]

    answer = post(client, CHOSEN, on=ticks, do="move", shelf=world.upper.pk)

    assert answer.status_code == 409
    assert not Entry.objects.filter(kind=EntryKind.MOVE).exists()


def test_several_are_sent_to_another_room_in_one_act(world: make.World) -> None:
    boss = make.person("Cleo", Role.KEEPER)
    client = browser(boss)
    ticks = [t for t in _ticks(client, "?room=main-store") if t.startswith(f"{world.shelf.pk}:")]

    answer = post(client, CHOSEN, on=ticks, room="main-store", do="send", to_room=world.hut.slug)

    assert answer.status_code == 302, text_of(answer)
    entry = Entry.objects.get(kind=EntryKind.MOVE)
    assert entry.detail["sent_to"] == world.hut.pk
    assert {each.to_place.room_id for each in entry.movements.all() if each.to_place} == {
        world.hut.pk
    }


def test_good_ones_are_thrown_out_with_a_reason_each_in_its_own_way(world: make.World) -> None:
    client = browser(world.keeper)
    ticks = _ticks(client)

    assert "reason" in text_of(post(client, CHOSEN, on=ticks, do="dispose"))
    assert not Entry.objects.filter(kind=EntryKind.DISPOSE).exists()
    post(client, CHOSEN, on=ticks, do="dispose", reason="flooded")

    entry = Entry.objects.get(kind=EntryKind.DISPOSE)
    assert entry.reason == "flooded"
    assert {"bin", "pharmacy"} <= {each.to_place.kind for each in entry.movements.all()}


def test_labels_are_made_once_for_each_batch_and_lead_to_the_printer(world: make.World) -> None:
    client = browser(world.keeper)
    ticks = _ticks(client)

    first = post(client, CHOSEN, on=ticks, do="labels")["Location"]
    again = post(client, CHOSEN, on=ticks, do="labels")["Location"]

    assert first == again
    assert first.startswith("/labels/print/?codes=")
    assert Label.objects.count() == len({tick.split(":")[1] for tick in ticks})


def test_nothing_ticked_something_foreign_and_another_room_are_refused(world: make.World) -> None:
    client = browser(world.keeper)
    ticks = _ticks(client)

    assert "Nothing is selected" in text_of(client.get(CHOSEN))
    assert "at least one batch" in text_of(post(client, CHOSEN, do="move", shelf=world.upper.pk))
    assert post(client, CHOSEN, on=["x"], do="move", shelf=1).status_code >= 400
    assert "Choose an action" in text_of(post(client, CHOSEN, on=ticks))
    stranger = browser(world.stranger)
    assert post(stranger, CHOSEN, on=ticks, do="move", shelf=world.upper.pk).status_code >= 400
    assert "D1" not in text_of(stranger.get(CHOSEN, {"on": ticks, "room": "main-store"}))
    assert not Entry.objects.filter(kind=EntryKind.MOVE).exists()


def test_a_guide_may_not_move_or_throw_out(world: make.World) -> None:
    client = browser(world.guide)
    ticks = _ticks(client)

    page = text_of(client.get(CHOSEN, {"on": ticks}))
    assert "Throw out" not in page and "to a shelf" not in page
    assert post(client, CHOSEN, on=ticks, do="dispose", reason="x").status_code == 403


def test_what_the_form_of_the_page_sends_is_what_is_done(world: make.World) -> None:
    client = browser(world.keeper)
    tick = _ticks(client, "?search=D2")
    fields = form_with(client.get(CHOSEN, {"on": tick}), "Throw out")

    assert fields["on"] == tick[0]
    assert fields["room"] == "main-store"


def test_the_table_asks_as_much_for_many_as_for_few(
    world: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for number in range(20):
        make.some(world.dressing, world.shelf, 2, f"M{number}", make.days(90 + number))
    client = browser(world.keeper)
    ticks = _ticks(client)

    with django_assert_max_num_queries(12):
        client.get(TABLE)
    with django_assert_max_num_queries(14):
        client.get(CHOSEN, {"on": ticks})
