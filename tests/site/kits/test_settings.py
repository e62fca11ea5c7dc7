"""Keeping a kit: who answers for it, laid up, lost, moved, retired."""

import pytest

from gearroom.core.models import Membership
from kits.models import Entry, Kit, Notice
from tests.kits import factories as make
from tests.site.browsing import PAGES_ON_SQLITE, browser, form_with, post, text_of

pytestmark = PAGES_ON_SQLITE
PATH = "/kits/DAY-02/keeping/"


@pytest.fixture
def w() -> make.World:
    return make.world()


def kit() -> Kit:
    return Kit.objects.get(name="DAY-02")


def test_the_form_as_it_stands_changes_nothing(w: make.World) -> None:
    client = browser(w.keeper)
    fields = [f.attname for f in Kit._meta.concrete_fields if f.attname != "revision"]
    before = Kit.objects.values(*fields).get(name="DAY-02")

    answer = client.post(PATH, form_with(client.get(PATH), 'value="edit"'))

    assert answer["Location"] == "/kits/DAY-02/"
    assert Kit.objects.values(*fields).get(name="DAY-02") == before
    assert not Entry.objects.filter(kind="kit").exists()


def test_a_keeper_says_who_answers_for_it_and_what_its_bag_takes(w: make.World) -> None:
    client = browser(w.keeper)
    said = form_with(client.get(PATH), 'value="edit"') | {
        "deputy": w.keeper.pk, "lives_in": "vehicle", "bag_volume_ml": "4000", "name": "VAN-01",
    }  # fmt: skip

    answer = client.post(PATH, said)

    assert answer["Location"] == "/kits/VAN-01/"
    kept = Kit.objects.get(name="VAN-01")
    assert (kept.responsible, kept.deputy) == (w.instructor, w.keeper)
    assert (kept.lives_in, kept.bag_volume_ml) == ("vehicle", 4000)


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"name": "DAY-01"}, 409),
        ({"name": ""}, 400),
        ({"look_interval_days": "never"}, 400),
        ({"lives_in": "river"}, 400),
        ({"do": "sell"}, 400),
    ],
)
def test_what_cannot_be_is_refused_with_what_was_typed(
    w: make.World, change: dict[str, str], status: int
) -> None:
    client = browser(w.keeper)
    said = form_with(client.get(PATH), 'value="edit"') | {"bag": "blue roll-top"} | change

    answer = client.post(PATH, said)

    assert answer.status_code == status
    assert change.get("do") or "blue roll-top" in answer.content.decode()


def test_a_kit_is_laid_up_and_taken_into_use_again(w: make.World) -> None:
    client = browser(w.keeper)

    post(client, PATH, do="lay-up")
    assert kit().laid_up_since is not None
    post(client, PATH, do="wake")
    assert (kit().laid_up_since, kit().to_sort_since is None) == (None, False)


def test_anybody_of_the_room_says_that_a_kit_is_lost_and_the_keepers_are_told(
    w: make.World,
) -> None:
    client = browser(w.guide)

    post(client, PATH, do="lost")
    assert kit().lost_since is not None
    assert Notice.objects.filter(kind="lost", person=w.keeper).exists()
    post(client, PATH, do="found")
    assert kit().lost_since is None

    assert post(client, PATH, do="retire").status_code == 403
    assert post(client, PATH, do="lay-up").status_code == 403
    assert "Retire" not in text_of(client.get(PATH))


def test_a_kit_moves_home_only_by_whoever_keeps_both_rooms(w: make.World) -> None:
    client = browser(w.keeper)
    assert post(client, PATH, do="move", room="cave-hut").status_code == 404
    Membership.objects.create(person=w.keeper, room=w.hut, role="keeper")

    post(client, PATH, do="move", room="cave-hut", is_there="1")

    assert (kit().home_room, kit().room) == (w.hut, w.hut)


def test_only_an_empty_kit_is_retired(w: make.World) -> None:
    client = browser(w.keeper)

    full = post(client, "/kits/DAY-01/keeping/", do="retire")
    assert (full.status_code, "Empty the kit first" in text_of(full)) == (409, True)
    post(client, PATH, do="retire")
    assert kit().retired_on is not None
    assert Entry.objects.filter(kit=kit(), kind="kit").exists()
    assert client.get(PATH).status_code == 200
