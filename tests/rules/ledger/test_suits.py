"""Do a trip's kits suit the trip, taken together?"""

from dataclasses import replace
from datetime import timedelta
from typing import Any

from hypothesis import given, strategies as st

from kits.rules.ledger.facts import (
    Batch,
    Gap,
    KitState,
    Level,
    Line,
    Thing,
    TripNeeds,
    Units,
    Weight,
)
from kits.rules.ledger.readiness import judge
from kits.rules.ledger.suits import suits
from tests.rules.kit_facts import TODAY, kits

HAZARDS = st.frozensets(st.sampled_from(["cave", "cold", "water"]))
MASK = Thing(1, "child mask", child=True)
GLOVES = Thing(2, "gloves", latex=True, needs_date=False)
PLASTERS = Thing(3, "plasters", by_eye=True, latex=True, child=True)


def trip(people: int = 8, days: int = 1, **needs: Any) -> TripNeeds:
    return TripNeeds(people, TODAY, TODAY + timedelta(days=days - 1), **needs)


def kit(people: int = 8, days: int = 1, **facts: Any) -> KitState:
    known: dict[str, Any] = {"id": 1, "name": "DAY-01", "lines": (), "units": ()}
    return KitState(**known | {"serves_people": people, "serves_days": days} | facts)


def codes(needs: TripNeeds, *some: KitState) -> list[str]:
    return [reason.code for reason in suits(needs, some)]


def test_its_kits_together_serve_its_people() -> None:
    assert codes(trip(12), kit(8), kit(4)) == []
    assert codes(trip(13), kit(8), kit(4)) == ["too-few-people"]
    (reason,) = suits(trip(13), (kit(8), kit(4)))
    assert reason.facts == {"people": 13, "served": 12}
    assert reason.weight is Weight.SHORT


def test_day_kits_do_not_add_up_to_a_week_but_do_no_harm_beside_one_that_serves_it() -> None:
    assert codes(trip(8, 5), *[kit(8, 1)] * 5) == ["too-few-days"]
    assert codes(trip(8, 5), kit(8, 1), kit(8, 7)) == []


def test_a_trip_without_kits_is_not_served() -> None:
    assert codes(trip()) == ["too-few-people"]


def test_its_hazards_are_served_by_all_kits_together() -> None:
    needs = trip(hazards=frozenset({"cave", "cold"}))
    cave, cold = kit(hazards=frozenset({"cave"})), kit(hazards=frozenset({"cold", "water"}))
    assert codes(needs, cave, cold) == []
    (reason,) = suits(needs, (cave,))
    assert (reason.code, reason.facts["hazards"]) == ("hazards-not-served", ("cold",))


def test_a_list_made_for_a_hazard_that_lacks_what_it_asks_for_says_what() -> None:
    needs = trip(hazards=frozenset({"cave", "cold"}))
    bleeding, burn = Gap("bleeding"), Gap("burn", 1)
    worse, better = kit(gaps={"cave": (bleeding, burn)}), kit(gaps={"cave": (burn,)})
    (reason,) = suits(needs, (worse, better))
    assert reason.facts == {
        "hazards": ("cave", "cold"),
        "gaps": {"cave": [{"need": "burn", "carried": 1}]},
    }
    (reason,) = suits(needs, (worse, kit(hazards=frozenset({"cave"}))))
    assert reason.facts == {"hazards": ("cold",), "gaps": {}}


def test_children_need_something_for_children_that_is_good_through_the_trip() -> None:
    needs = trip(days=2, children=True)
    batch = Batch(1, MASK, expiry=needs.last_day)
    packed = kit(days=2, units=(Units(batch, "front", 1),))
    assert codes(needs, packed) == []
    assert codes(needs, kit(days=2), packed) == []
    assert codes(needs, kit(days=2)) == ["nothing-for-children"]
    for spoilt in (replace(batch, expiry=TODAY), replace(batch, recalled=True)):
        assert codes(needs, replace(packed, units=(Units(spoilt, "front", 1),))) == [
            "nothing-for-children"
        ]
    assert codes(needs, replace(packed, away=frozenset({"front"}))) == ["nothing-for-children"]


def test_latex_is_named_kit_by_kit_and_stops() -> None:
    gloves = kit(units=(Units(Batch(1, GLOVES), "front", 2),))
    other = replace(gloves, id=2, name="DAY-02")
    assert codes(trip(), gloves) == []
    reasons = suits(trip(latex_free=True), (gloves, kit(id=3), other))
    assert [(r.code, r.weight) for r in reasons] == [("latex-inside", Weight.STOPS)] * 2
    assert [r.facts["kit"] for r in reasons] == ["DAY-01", "DAY-02"]
    assert reasons[0].facts["things"] == ("gloves",)


def test_what_is_judged_by_eye_is_taken_to_be_there_where_it_harms_and_not_where_it_helps() -> None:
    unknown = kit(lines=(Line(1, "front", PLASTERS, 1, 0),))
    needs = trip(children=True, latex_free=True)
    assert codes(needs, unknown) == ["nothing-for-children", "latex-inside"]
    full = replace(unknown, levels={("front", PLASTERS.id): Level.FULL})
    assert codes(needs, full) == ["latex-inside"]
    empty = replace(unknown, levels={("front", PLASTERS.id): Level.EMPTY})
    assert codes(needs, empty) == ["nothing-for-children"]


@given(
    st.builds(trip, st.integers(0, 30), st.integers(1, 9), hazards=HAZARDS, children=st.booleans()),
    st.lists(kits(), max_size=3),
    kits(),
    st.integers(0, 20),
    st.integers(0, 9),
)
def test_another_kit_never_makes_it_worse(
    needs: TripNeeds, some: list[KitState], another: KitState, people: int, days: int
) -> None:
    another = replace(another, serves_people=people, serves_days=days)
    worst = max((r.weight for r in suits(needs, some)), default=0)
    assert max((r.weight for r in suits(needs, [*some, another])), default=0) <= worst


def test_a_verdict_for_a_trip_says_what_all_its_kits_lack() -> None:
    one = kit(4)
    told = [r.code for r in judge(one, TODAY, TODAY, trip=trip(8)).reasons]
    assert "too-few-people" in told
    told = [r.code for r in judge(one, TODAY, TODAY, trip=trip(8), others=(kit(4),)).reasons]
    assert "too-few-people" not in told
