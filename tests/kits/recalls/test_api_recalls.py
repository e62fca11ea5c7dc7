"""The doors of recalls: who sees what, who answers, and what a wrong request gets."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from kits.models import Recall
from kits.services.custody import custody
from tests.core.api.made import Caller
from tests.kits import factories as make

pytestmark = [
    pytest.mark.django_db,
    # Doors: what they write is tried on both engines with the services.
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def keeper(w: make.World) -> Caller:
    return make.caller(w.keeper)


@pytest.fixture
def adviser(w: make.World) -> Caller:
    return make.caller(w.adviser)


@pytest.fixture
def recall(w: make.World, keeper: Caller) -> Any:
    """D1 is recalled while Gil has DAY-01."""
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide, short_reason="plasters low")
    answer = keeper.post(
        "recalls/",
        {"item": w.dressing.pk, "number": "d1", "reference": "FSN-0031", "advice": "Do not use."},
    )
    assert answer.status_code == 201, answer.json()
    return answer.json()


def kit_row(standing: Any) -> Any:
    return next(p for p in standing["places"] if p["place"]["kit"])


def test_it_says_what_was_quarantined_and_who_has_the_rest(w: make.World, recall: Any) -> None:
    assert recall["quarantine"][0]["units"] == 12
    row = kit_row(recall)
    assert (row["certainty"], row["units_min"], row["units_max"]) == ("certain", 6, 6)
    assert row["person"]["name"] == "Gil"
    assert row["told_at"] is None
    assert [lot["number"] for lot in recall["lots"]] == ["D1"]


def test_the_one_who_has_it_answers_and_the_rest_goes_to_quarantine(
    w: make.World, recall: Any
) -> None:
    answer = make.caller(w.guide).post(
        f"recalls/{recall['id']}/answer/",
        {"row": kit_row(recall)["row"], "answer": "taken-out", "removed": 6},
    )
    assert answer.status_code == 200, answer.json()
    row = kit_row(answer.json())
    assert (row["answer"], row["answered_by"], row["booked"]) == ("taken-out", "Gil", 0)
    assert answer.json()["quarantine"][0]["units"] == 18


def test_a_keeper_records_that_somebody_was_told_by_phone(
    w: make.World, keeper: Caller, recall: Any
) -> None:
    body = {"row": kit_row(recall)["row"]}
    assert make.caller(w.guide).post(f"recalls/{recall['id']}/told/", body).status_code == 403
    answer = keeper.post(f"recalls/{recall['id']}/told/", body)
    assert kit_row(answer.json())["told_at"] is not None


def test_it_says_what_is_open_yet_and_is_finished_once(
    w: make.World, keeper: Caller, adviser: Caller, recall: Any
) -> None:
    assert recall["unsettled"] == {"quarantined": 12, "elsewhere": 6, "unanswered": 1}
    path, finished = f"recalls/{recall['id']}/close/", {"outcome": "finished"}
    assert adviser.post(path).status_code == 400
    refusal = adviser.post(path, finished)
    assert (refusal.status_code, refusal.json()["code"]) == (409, "units-not-accounted-for")
    closed = adviser.post(path, {**finished, "reason": "burnt with the hut"}).json()
    assert closed["closed_at"] is not None
    assert (closed["outcome"], closed["published_at"]) == ("finished", "")
    again = adviser.post(path, {**finished, "reason": "burnt with the hut"})
    assert (again.status_code, again.json()["code"]) == (409, "closed-already")
    assert keeper.get("recalls/?open=true").json()["results"] == []
    assert [r["id"] for r in keeper.get("recalls/?open=false").json()["results"]] == [recall["id"]]


def test_what_arrives_of_a_finished_batch_is_in_quarantine_and_the_answer_says_so(
    w: make.World, keeper: Caller, adviser: Caller, recall: Any
) -> None:
    done = {"outcome": "finished", "reason": "burnt with the hut"}
    adviser.post(f"recalls/{recall['id']}/close/", done)
    body = {"item": w.dressing.pk, "shelf": str(w.shelf.pk), "units": 5, "number": "D1"}
    answer = keeper.post("stock/receive/", {**body, "expiry": make.days(500).isoformat()}).json()
    assert answer["place"]["kind"] == "quarantine"
    assert [remark["code"] for remark in answer["remarks"]] == ["recalled"]


def test_a_withdrawn_one_is_put_back_onto_a_shelf(
    w: make.World, keeper: Caller, adviser: Caller, recall: Any
) -> None:
    path = f"recalls/{recall['id']}"
    said = {"outcome": "withdrawn", "published_at": "maker.example/notices/7"}
    closed = adviser.post(f"{path}/close/", said).json()
    assert (closed["outcome"], closed["published_at"]) == ("withdrawn", said["published_at"])
    body = {"shelf": str(w.shelf.pk)}
    assert make.caller(w.guide).post(f"{path}/put-back/", body).status_code == 403
    back = keeper.post(f"{path}/put-back/", body)
    assert (back.status_code, back.json()["quarantine"]) == (201, [])
    assert make.units(w.dressings, w.shelf) == 12
    assert keeper.post(f"{path}/reopen/").json()["outcome"] == ""
    assert make.units(w.dressings, w.shelf) == 0


def test_those_of_another_room_see_the_recall_and_no_place_of_ours(
    w: make.World, recall: Any
) -> None:
    seen = make.caller(w.stranger).get(f"recalls/{recall['id']}/").json()
    assert seen["advice"] == "Do not use."
    assert (seen["places"], seen["quarantine"], seen["gone"]) == ([], [], [])


def test_a_guide_does_not_start_one(w: make.World) -> None:
    body = {"item": w.dressing.pk, "number": "D2"}
    assert make.caller(w.guide).post("recalls/", body).status_code == 403
    assert not Recall.objects.exists()


@pytest.mark.parametrize(
    ("wrong", "status"),
    [
        ({"number": ""}, 422),
        ({"scope": "all"}, 422),
        ({"scope": "some"}, 400),
        ({"number": 12}, 400),
        ({"item": "Dressing"}, 400),
        ({"colour": "red"}, 400),
    ],
)
def test_it_refuses_a_body_that_is_not_as_it_should_be(
    w: make.World, keeper: Caller, wrong: dict[str, str] | dict[str, int], status: int
) -> None:
    answer = keeper.post("recalls/", {"item": w.dressing.pk, "number": "D2", **wrong})
    assert answer.status_code == status
    assert not Recall.objects.exists()


def test_it_takes_no_answer_about_a_row_of_another_recall(
    w: make.World, keeper: Caller, recall: Any
) -> None:
    other = keeper.post("recalls/", {"item": w.shears.pk, "scope": "all"}).json()
    answer = keeper.post(
        f"recalls/{other['id']}/answer/", {"row": kit_row(recall)["row"], "answer": "none-there"}
    )
    assert answer.status_code == 404


def test_how_it_stands_costs_the_same_few_queries_however_many_places(
    w: make.World, keeper: Caller, recall: Any
) -> None:
    def queries() -> int:
        path = f"recalls/{recall['id']}/"
        keeper.get(path)
        with CaptureQueriesContext(connection) as seen:
            assert keeper.get(path).status_code == 200
        return len(seen)

    before = queries()
    for n in range(4):
        kit = make.kit(f"MORE-{n}", w.version, w.store)
        make.put_in(kit, w.lots["d2"], w.upper, 2)
    keeper.post("recalls/", {"item": w.dressing.pk, "scope": "all"})
    recall["id"] = Recall.objects.latest("id").pk
    assert len(keeper.get(f"recalls/{recall['id']}/").json()["places"]) > 4
    assert queries() == before
