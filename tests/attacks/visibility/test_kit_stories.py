"""The story of a kit, and the people in it, are for its home, wherever it is, whoever brings it."""

import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from gearroom.core.models import Person
from kits.models import WithheldKind
from kits.services.custody import custody
from kits.services.kits import holds
from kits.services.labelling import labelling
from tests.core.api.made import Caller
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db

_JPEG = b"\xff\xd8\xff\xe0"


@pytest.fixture
def handed_in(w: make.World) -> tuple[make.World, Caller, Any]:
    """A guide of the hut hands a kit of the store in at the hut, after much had happened to it."""
    Person.objects.filter(pk=w.instructor.pk).update(phone="07700 900111")
    holds.withhold(make.act(w.keeper), w.day_01, WithheldKind.DRYING, "fell into the beck")
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide, already_gone=True)
    guest = make.caller(w.stranger)
    answer = guest.post("kits/DAY-01/check-in/", {"room": "cave-hut", "as_found": "sort-later"})
    assert answer.status_code == 200
    return w, guest, answer


def test_whoever_hands_in_a_kit_of_another_room_sees_what_they_did(
    handed_in: tuple[make.World, Caller, Any],
) -> None:
    _w, guest, answer = handed_in
    assert answer.json()["checkout"] is None
    rows = guest.get("kits/DAY-01/history/").json()["results"]
    assert [row["id"] for row in rows] == [answer.json()["entry"]["id"]]
    assert guest.get(f"entries/{rows[0]['id']}/").status_code == 200


@pytest.mark.parametrize(
    "path", ["kits/DAY-01/", "kits/DAY-01/history/", "checkouts/", "entries/", "kits/", "notices/",
             "reservations/", "kits/DAY-01/readiness/"],
)  # fmt: skip
def test_but_not_its_story_nor_the_people_in_it(
    handed_in: tuple[make.World, Caller, Any], path: str
) -> None:
    _w, guest, _answer = handed_in
    answer = guest.get(path)
    assert answer.status_code == 200
    for word in (b"Gil", b"Ines", b"Kim", b"07700 900111"):
        assert word not in answer.content


def test_nor_what_was_in_it_before(handed_in: tuple[make.World, Caller, Any]) -> None:
    _w, guest, _answer = handed_in
    assert guest.get(f"kits/DAY-01/contents/?on={make.days(-1)}").status_code == 403
    assert guest.get("kits/DAY-01/contents/?known_by=2020-05-31T08:15:00Z").status_code == 403


def test_nor_do_pages_show_it(handed_in: tuple[make.World, Caller, Any], client: Client) -> None:
    w, _guest, _answer = handed_in
    client.force_login(present(w.stranger.user))
    for name in ("kit", "kit-history"):
        page = client.get(reverse(name, args=["DAY-01"]))
        assert page.status_code == 200
        for word in (b"Gil", b"Ines", b"Kim", b"07700 900111"):
            assert word not in page.content
    assert b"Main store" in client.get(reverse("kit", args=["DAY-01"])).content
    assert client.get(reverse("kit-as-of", args=["DAY-01"])).status_code == 403


def test_those_of_its_home_see_all_of_it_wherever_it_is(
    handed_in: tuple[make.World, Caller, Any],
) -> None:
    w, _guest, answer = handed_in
    keeper = make.caller(w.keeper)
    rows = keeper.get("kits/DAY-01/history/").json()["results"]
    assert len(rows) > 3
    assert keeper.get(f"entries/{answer.json()['entry']['id']}/").status_code == 200
    assert keeper.get(f"kits/DAY-01/contents/?on={make.days(0)}").status_code == 200


def test_a_scan_that_hands_in_a_kit_of_another_room_says_where_it_goes_and_no_more(
    w: make.World,
) -> None:
    label = labelling.label_for(make.act(w.keeper), w.day_01)
    guest = make.caller(w.stranger)
    body = {"text": label.code, "intent": "check-in", "room": "cave-hut"}
    answer = guest.post("scans/", body)
    assert answer.status_code == 201
    (outcome,) = answer.json()["outcomes"]
    assert outcome["kit"] is None
    assert "Main store" in json.dumps(outcome)
    for word in (b"Ines", b"dressing", b"D1"):
        assert word not in answer.content


def test_an_emergency_with_a_kit_of_another_room_says_nothing_of_what_is_in_it(
    w: make.World,
) -> None:
    guest = make.caller(w.stranger)
    answer = guest.post("kits/DAY-02/check-out/", {"emergency": True})
    assert answer.status_code == 201
    assert (answer.json()["checkout"], answer.json()["verdict"]) == (None, None)


def test_a_photo_of_what_was_wrong_in_the_past_is_of_its_home(
    w: make.World, client: Client
) -> None:
    kept = holds.withhold(make.act(w.keeper), w.day_01, WithheldKind.SOMETHING_WRONG, "torn", _JPEG)
    photo = kept.photos.get()
    holds.release(make.act(w.keeper), w.day_01, WithheldKind.SOMETHING_WRONG)
    make.caller(w.stranger).post("kits/DAY-01/check-in/", {"room": "cave-hut"})
    client.force_login(present(w.stranger.user))
    assert client.get(reverse("photo", args=["DAY-01", photo.pk])).status_code == 404
    client.force_login(present(w.keeper.user))
    assert client.get(reverse("photo", args=["DAY-01", photo.pk])).status_code == 200
