"""What the API says of plans: from its answer alone, demand comes out again."""

import json
import math
from typing import Any

import pytest

from kits.models import Activity, Need, PackingListVersion, StatedRate, Trip
from kits.services.custody.use import UseLine
from tests.core.api.made import Caller, is_problem
from tests.kits import factories as make
from tests.kits.factories import World, world
from tests.kits.planning.school import past, serve

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    made = world()
    serve(made)
    return made


@pytest.fixture
def keeper(w: World) -> Caller:
    return make.caller(w.keeper)


def shown(answer: Any, status: int = 200) -> Any:
    assert answer.status_code == status, answer.content
    return json.loads(answer.content)


def state(caller: Caller, need: str = "small-wound", activity: str = "any", **body: Any) -> Any:
    return caller("PUT", f"plans/rates/{need}/{activity}/", {"per_1000": "20", **body})


def adviser(w: World) -> Caller:
    w.keeper.memberships.create(role="adviser")
    return make.caller(w.keeper)


def recomputed(line: dict[str, Any]) -> list[float]:
    """Chances of 0, 1, 2 … units wanted, from what stands beside them: a negative binomial number
    of occasions, each with a logarithmic number of uses, each with its units."""
    found = [1.0]
    for part in line["need"]:
        rate = part["rate"]
        if rate["mean"] is None:
            continue
        phi, days = rate["dispersion"], line["planned_days"]
        units = [0.0, *part["units_per_use"]]
        spread = math.log(phi) / (phi - 1) if phi > 1 + 1e-9 else 1.0
        theta = days * spread / rate["per_days"]
        occasion = logarithmic(1 - 1 / phi, units) if phi > 1 + 1e-9 else units
        found = convolved(found, compound(rate["shape"], theta, occasion))
    return found


def logarithmic(p: float, units: list[float]) -> list[float]:
    found, power = [0.0] * 200, [1.0]
    for n in range(1, 200):
        power = convolved(power, units)[:200]
        for k, chance in enumerate(power):
            found[k] += -(p**n) / n / math.log1p(-p) * chance
    return found


def compound(size: float, theta: float, severity: list[float]) -> list[float]:
    found, power = [0.0] * 200, [1.0]
    for n in range(60):
        log = math.lgamma(size + n) - math.lgamma(size) - math.lgamma(n + 1)
        chance = math.exp(log + n * math.log(theta / (1 + theta)) - size * math.log1p(theta))
        for k, each in enumerate(power):
            found[k] += chance * each
        power = convolved(power, severity)[:200]
    return found


def convolved(a: list[float], b: list[float]) -> list[float]:
    found = [0.0] * (len(a) + len(b) - 1)
    for i, x in enumerate(a):
        if x:
            for j, y in enumerate(b):
                found[i + j] += x * y
    return found


def test_demand_comes_out_of_what_stands_beside_it(w: World) -> None:
    caller = adviser(w)
    shown(state(caller))
    for used in (2, 1, 0, 2):
        past(w, *([UseLine(w.dressing, used)] if used else []))
    plan = shown(caller.get("plans/kits/DAY-01/?people=6&days=2"))
    assert (plan["people"], plan["days"], plan["planned_days"]) == (6, 2, 12)
    line = next(each for each in plan["lines"] if each["item"] == w.dressing.pk)
    assert line["planned_days"] == 12
    (part,) = line["need"]
    assert part["need"] == "small-wound"
    assert part["rate"]["uses"] == 3
    assert part["rate"]["covers"] == "all-activities"
    assert line["basis"] == "demand"
    assert part["rate"]["low"] < part["rate"]["mean"] < part["rate"]["high"]
    expected = recomputed(line)
    assert len(line["demand"]) > 3
    for own, given in zip(expected, line["demand"], strict=False):
        assert own == pytest.approx(given, abs=1e-8)
    assert line["runs_out"] == pytest.approx(1 - sum(expected[: line["quantity"] + 1]), abs=1e-7)
    assert line["with_one_more"] <= line["runs_out"] < line["with_one_fewer"]
    assert 0 < plan["lacks_must_have"] <= plan["lacks_something"] < 1
    assert "medical adviser" in plan["caution"]


def test_demand_of_one_activity_comes_out_too(w: World) -> None:
    caving = Activity.objects.get(key="caving")
    for used in (2, 0, 1):
        past(w, *([UseLine(w.dressing, used)] if used else []), activity=caving)
    plan = shown(make.caller(w.keeper).get("plans/kits/DAY-01/?activity=caving"))
    line = next(each for each in plan["lines"] if each["item"] == w.dressing.pk)
    assert line["need"][0]["rate"]["covers"] == "one-activity"
    for own, given in zip(recomputed(line), line["demand"], strict=False):
        assert own == pytest.approx(given, abs=1e-8)


def test_without_history_and_without_a_stated_rate_nothing_is_said_of_how_many(
    w: World, keeper: Caller
) -> None:
    plan = shown(keeper.get("plans/kits/DAY-01/"))
    line = next(each for each in plan["lines"] if each["item"] == w.dressing.pk)
    assert line["demand"] is line["runs_out"] is line["need"][0]["rate"]["mean"] is None
    assert line["quantity"] > 0
    assert plan["lacks_something"] == 0


def test_a_version_has_a_plan_too_and_an_unknown_one_or_activity_has_none(
    w: World, keeper: Caller
) -> None:
    version = w.day_01.list_version
    path = f"plans/lists/{version.packing_list_id}/versions/{version.number}/"
    plan = shown(keeper.get(f"{path}?activity=caving"))
    assert (plan["packing_list"], plan["version"], plan["activity"]) == (
        version.packing_list_id, version.number, "caving",
    )  # fmt: skip
    is_problem(keeper.get(f"{path}?activity=jousting"), 404, "not-found")
    is_problem(keeper.get(f"{path}?people=0"), 400, "invalid-request")
    is_problem(keeper.get(path.replace("versions/", "versions/9")), 404, "not-found")
    is_problem(keeper.get("plans/kits/DAY-99/"), 404, "not-found")


# ----------------------------------------------------------------------------------------- replays
def test_a_replay_says_which_trips_run_short(w: World, keeper: Caller) -> None:
    past(w, UseLine(w.dressing, 3))
    past(w, counted=False)
    version = w.day_01.list_version
    asked = {"list": version.packing_list_id, "version": version.number}
    found = shown(keeper.post("plans/replay/", asked))
    assert (found["trips"], found["not_counted"], found["short_trips"]) == (1, 1, 0)
    assert found == shown(keeper.post("plans/replay/", asked))
    of_kit = shown(keeper.post("plans/replay/", {"kit": "DAY-01"}))
    assert of_kit["trips"] == 1


@pytest.mark.parametrize(
    "body", [{}, {"list": 1}, {"version": 1}, {"kit": "DAY-01", "list": 1, "version": 1}]
)
def test_a_replay_of_nothing_or_of_two_is_refused(keeper: Caller, body: dict[str, Any]) -> None:
    is_problem(keeper.post("plans/replay/", body), 400, "invalid-request")


def test_a_replay_of_what_is_not_there_is_not_found(keeper: Caller) -> None:
    is_problem(keeper.post("plans/replay/", {"kit": "DAY-99"}), 404, "not-found")
    is_problem(keeper.post("plans/replay/", {"list": 999, "version": 1}), 404, "not-found")


def test_a_trip_of_another_room_is_counted_and_not_named(w: World) -> None:
    past(w, UseLine(w.dressing, 4))
    Trip.objects.update(room=w.hut)
    version = w.day_01.list_version
    asked = {"list": version.packing_list_id, "version": version.number}
    list_line = version.sections.get(key="main").lines.get(item=w.dressing)
    list_line.carry = list_line.never_below = 1
    list_line.save()
    stranger = make.caller(w.guide)
    found = shown(stranger.post("plans/replay/", asked))
    assert found["short_trips"] == 1
    assert {each["trip"] for each in found["shortages"]} == {None}
    assert "Hill day" not in json.dumps(found)


# ------------------------------------------------------------------------------------------- rates
def test_the_adviser_states_a_rate_and_every_statement_stays(w: World) -> None:
    caller = adviser(w)
    first = shown(state(caller, note="From the course records."))
    assert (first["per_1000"], first["activity"], first["source"]) == (20, None, "adviser")
    shown(state(caller, activity="caving", per_1000="50", study="boulware-2003"))
    shown(state(caller, per_1000=None))
    assert StatedRate.objects.count() == 3
    rates = shown(caller.get("plans/rates/?activity=caving"))
    small = next(each for each in rates["rates"] if each["need"] == "small-wound")
    assert small["prior"]["per_1000"] == pytest.approx(50)
    assert small["prior"]["study"] == "boulware-2003"
    assert {"key", "authors", "year", "read"} <= rates["studies"][0].keys()


def test_who_states_at_the_same_time_as_another_is_told(w: World) -> None:
    caller = adviser(w)
    path, body = "plans/rates/small-wound/any/", {"per_1000": "10"}
    is_problem(caller("PUT", path, body, if_match='"x"'), 412, "changed-since")
    assert caller("PUT", path, body).status_code == 200


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"per_1000": "0"}, 422),
        ({"per_1000": "-1"}, 400),
        ({"weight": "2.01"}, 400),
        ({"weight": "0"}, 422),
        ({"study": "nobody-1900"}, 422),
    ],
)
def test_a_rate_that_cannot_be_is_refused(w: World, body: dict[str, Any], status: int) -> None:
    assert state(adviser(w), **body).status_code == status
    assert not StatedRate.objects.exists()


def test_others_state_none_and_a_retired_need_has_none(w: World, keeper: Caller) -> None:
    is_problem(state(keeper), 403, "role-missing")
    signs = adviser(w)
    is_problem(state(signs, need="jousting"), 404, "not-found")
    Need.objects.filter(key="small-wound").update(retired_on=make.days(-1))
    assert state(signs).status_code == 422


def test_the_vocabulary_names_what_serves_what(w: World, keeper: Caller) -> None:
    words = shown(keeper.get("plans/vocabulary/"))
    small = next(each for each in words["needs"] if each["key"] == "small-wound")
    assert small["items"] == [
        {
            "item": w.dressing.pk,
            "name": w.dressing.name,
            "best": True,
            "units_per_use": 2,
            "needs_training": False,
        }
    ]
    assert "caving" in {each["key"] for each in words["activities"]}
    assert "sharp-tools" in {each["hazard"] for each in words["hazards"]}


# ------------------------------------------------------------------------- lines that leave out
def draft_body(version: dict[str, Any]) -> dict[str, Any]:
    return {
        "people": version["people"], "days": version["days"], "hazards": version["hazards"],
        "sections": [
            {
                "key": section["key"],
                "name": section["name"],
                "lines": [
                    {"item": line["item"], "carry": line["carry"]} for line in section["lines"]
                ],
            }
            for section in version["sections"]
        ],
    }  # fmt: skip


def test_what_is_not_carried_is_written_and_stays_where_a_body_does_not_say(
    w: World, keeper: Caller
) -> None:
    path = f"packing-lists/{w.day_01.list_version.packing_list_id}/versions/"
    draft = shown(keeper.post(path), 201)
    one = f"{path}{draft['number']}/"
    line = {
        "need": "severe-bleeding", "why": "no-training", "instead": "Pressure and a bandage.",
        "hazards": ["sharp-tools"], "activities": ["work-party"], "hours_to_care": "4.0",
        "decided_by": w.keeper.pk, "look_again_on": "2035-03-01",
    }  # fmt: skip
    body = draft_body(draft)
    written = shown(keeper("PUT", one, {**body, "not_carried": [line]}))
    (left_out,) = written["not_carried"]
    assert left_out["name"] == "severe bleeding from a limb"
    assert left_out["decided_by"] == w.keeper.name
    assert {k: left_out[k] for k in line if k != "decided_by"} == {
        k: v for k, v in line.items() if k != "decided_by"
    }
    assert shown(keeper("PUT", one, body))["not_carried"] == [left_out]
    assert shown(keeper.get(one))["not_carried"] == [left_out]
    compared = shown(keeper.get(f"{one}compare/{draft['number'] - 1}/"))
    assert compared["not_carried"] == [{"before": None, "after": left_out}]
    assert shown(keeper("PUT", one, {**body, "not_carried": []}))["not_carried"] == []
    assert PackingListVersion.objects.count() >= 2


@pytest.mark.parametrize(
    ("line", "status"),
    [
        ({"why": "expires"}, 400),
        ({"need": "severe-bleeding", "why": "because"}, 400),
        ({"need": "severe-bleeding", "why": "other"}, 422),
        ({"need": "jousting", "why": "expires"}, 404),
        ({"need": "severe-bleeding", "why": "expires", "activities": ["jousting"]}, 422),
    ],
)
def test_a_line_that_cannot_be_leaves_the_draft_as_it_was(
    w: World, keeper: Caller, line: dict[str, Any], status: int
) -> None:
    path = f"packing-lists/{w.day_01.list_version.packing_list_id}/versions/"
    draft = shown(keeper.post(path), 201)
    one = f"{path}{draft['number']}/"
    answer = keeper("PUT", one, {**draft_body(draft), "not_carried": [line]})
    assert answer.status_code == status, answer.content
    assert shown(keeper.get(one))["sections"] == draft["sections"]


# ------------------------------------------------------------------------------------------- trips
def test_a_trip_carries_activity_and_hours_to_care_until_told_otherwise(
    w: World, keeper: Caller
) -> None:
    body = {
        "name": "Beck walk", "departs_at": "2035-05-31T08:00:00+01:00",
        "returns_at": "2035-05-31T18:00:00+01:00", "people": 10, "room": "main-store",
    }  # fmt: skip
    path = "trips/bookings/17/"

    def put(**more: Any) -> Any:
        return shown(keeper("PUT", path, {**body, **more}))["trip"]

    assert keeper("PUT", path, body).status_code == 201
    assert put()["activity"] is None
    told = put(activity="caving", hours_to_care="6.5")
    assert (told["activity"], told["hours_to_care"]) == ("caving", "6.5")
    assert put(people=11)["activity"] == "caving"
    assert put(people=12)["hours_to_care"] == "6.5"
    assert put(activity=None, hours_to_care=None)["activity"] is None
    assert Trip.objects.get(reference="17").hours_to_care is None
    is_problem(keeper("PUT", path, {**body, "activity": "jousting"}), 404, "not-found")
