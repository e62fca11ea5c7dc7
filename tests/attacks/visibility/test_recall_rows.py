"""Rows of a recall are of one's rooms, or of what one has: nobody else sees or answers them."""

import uuid

import pytest
from django.test import Client
from django.urls import reverse

from kits.models import Recall, RecallPlace, Withholding
from kits.services.custody import custody
from kits.services.recalls import recalls
from tests.kits import factories as make
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def recall(w: make.World) -> Recall:
    return recalls.start(make.act(w.keeper), item=w.dressing, scope="not-known")


@pytest.fixture
def row(w: make.World, recall: Recall) -> RecallPlace:
    return RecallPlace.objects.get(recall=recall, place__kit=w.day_01)


def test_a_guide_of_another_room_answers_no_row_and_lifts_no_hold(
    w: make.World, recall: Recall, row: RecallPlace
) -> None:
    held = Withholding.objects.filter(kit=w.day_01, released=None).count()
    body = {"row": row.pk, "answer": "none-there"}
    answer = make.caller(w.stranger).post(f"recalls/{recall.pk}/answer/", body)
    assert (answer.status_code, answer.json()["code"]) == (404, "not-found")
    row.refresh_from_db()
    assert row.answer == ""
    assert Withholding.objects.filter(kit=w.day_01, released=None).count() == held


def test_a_row_of_others_and_one_that_is_not_there_answer_alike(
    w: make.World, recall: Recall, row: RecallPlace
) -> None:
    ask = make.caller(w.stranger)
    body = {"answer": "none-there"}
    there = ask.post(f"recalls/{recall.pk}/answer/", {**body, "row": row.pk}).json()
    missing = ask.post(f"recalls/{recall.pk}/answer/", {**body, "row": 999_999}).json()
    assert there["detail"].replace(str(row.pk), "N") == missing["detail"].replace("999999", "N")


def test_a_keeper_of_another_room_marks_nobody_as_told_and_sees_no_place_of_ours(
    w: make.World, recall: Recall, row: RecallPlace
) -> None:
    other = make.caller(make.person("Hanna", make.Role.KEEPER, w.hut))
    answer = other.post(f"recalls/{recall.pk}/told/", {"row": row.pk})
    assert answer.status_code == 404
    row.refresh_from_db()
    assert row.told_at is None
    seen = other.get(f"recalls/{recall.pk}/")
    assert (seen.json()["places"], seen.json()["quarantine"], seen.json()["gone"]) == ([], [], [])
    assert b"DAY-01" not in seen.content


def test_whoever_has_the_kit_sees_and_answers_its_rows_and_no_other(
    w: make.World, recall: Recall, row: RecallPlace
) -> None:
    custody.check_out(make.act(w.keeper), w.day_01, person=w.stranger, already_gone=True)
    theirs = make.caller(w.stranger)
    seen = theirs.get(f"recalls/{recall.pk}/").json()["places"]
    assert {each["place"]["kit"] for each in seen} == {"DAY-01"}
    body = {"row": row.pk, "answer": "none-there"}
    assert theirs.post(f"recalls/{recall.pk}/answer/", body).status_code == 200


def test_the_page_answers_no_row_of_others_either(
    w: make.World, recall: Recall, row: RecallPlace, client: Client
) -> None:
    client.force_login(present(w.stranger.user))
    page = client.get(reverse("recall", args=[recall.pk]))
    assert page.status_code == 200
    assert b"DAY-01" not in page.content
    path = reverse("recall-answer", args=[recall.pk])
    client.post(path, {"row": row.pk, "answer": "none-there", "key": str(uuid.uuid4())})
    row.refresh_from_db()
    assert row.answer == ""
