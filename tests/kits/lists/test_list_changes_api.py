"""Changes to several lists through the API: made, read with how far they are, reviewed."""

from typing import Any

import pytest

from kits.models import PackingListVersion
from tests.kits import factories as make
from tests.kits.factories import World, days

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    return make.world()


def body(w: World, **more: Any) -> dict[str, Any]:
    return {
        "what": "swap",
        "item": w.dressing.pk,
        "instead": make.item("Non-stick dressing", sterile=True).pk,
        "by_day": days(60).isoformat(),
        "claim": "It comes off without pain.",
        "review_on": days(200).isoformat(),
        "lists": [w.version.packing_list_id],
        "anyway": True,
        "sources": [
            {"supports": True, "says": "It sticks less.", "study": "gentile-1992"},
            {"supports": False, "says": "It soaks up less.", "read_in": "Stated by the adviser"},
        ],
        **more,
    }


def test_it_is_made_read_and_reviewed(w: World) -> None:
    call = make.caller(w.keeper)
    made = call("POST", "packing-lists/changes/", body(w))
    assert made.status_code == 201, made.content
    of = made.json()
    assert of["says"] == "Non-stick dressing in place of Wound dressing 10 × 12"
    assert [each["supports"] for each in of["change"]["evidence"]] == [True, False]
    assert of["change"]["lists"] == [
        {"packing_list": w.version.packing_list_id, "name": "Day walk", "version": 2}
    ]
    assert of["kits"] == [
        {"kit": "DAY-01", "stand": "not-published"},
        {"kit": "DAY-02", "stand": "not-published"},
    ]
    pk = of["change"]["id"]
    assert call("GET", f"packing-lists/changes/{pk}/").json() == of
    assert call("GET", "packing-lists/changes/").json()["results"] == [of]
    reviewed = call("POST", f"packing-lists/changes/{pk}/review/", {"review_on": None})
    assert reviewed.status_code == 200, reviewed.content
    assert reviewed.json()["change"]["withdrawn"] is True
    again = call("POST", f"packing-lists/changes/{pk}/review/", {"review_on": None})
    assert (again.status_code, again.json()["code"]) == (409, "withdrawn-already")


def test_sent_twice_under_one_key_it_is_made_once(w: World) -> None:
    call, sent = make.caller(w.keeper), body(w)
    key = "123e4567-e89b-42d3-a456-426614174000"
    first, second = (
        call("POST", "packing-lists/changes/", sent, idempotency_key=key) for _ in range(2)
    )
    assert first.json() == second.json()
    assert PackingListVersion.objects.count() == 2


def test_what_it_lacks_is_said_at_its_field(w: World) -> None:
    call = make.caller(w.keeper)
    wrong = body(w, by_day=days(-1).isoformat())
    assert list(call("POST", "packing-lists/changes/", wrong).json()["errors"]) == ["by_day"]
    wrong = {**wrong, "lists": [999999]}
    assert call("POST", "packing-lists/changes/", wrong).status_code == 404
    assert call("GET", "packing-lists/changes/999999/").status_code == 404


def test_a_must_have_is_swapped_only_once_that_is_confirmed(w: World) -> None:
    refused = make.caller(w.keeper)("POST", "packing-lists/changes/", body(w, anyway=False))
    assert (refused.status_code, refused.json()["code"]) == (409, "must-have-lowered")
    assert refused.json()["lists"] == ["Day walk"]


def test_who_sees_no_kit_of_the_list_sees_none_here(w: World) -> None:
    made = make.caller(w.keeper)("POST", "packing-lists/changes/", body(w)).json()
    theirs = make.caller(w.stranger)("GET", f"packing-lists/changes/{made['change']['id']}/")
    assert theirs.json()["kits"] == []
