"""The doors of building and stripping kits, and of checking their instruments."""

import pytest

from kits.models import Entry, EntryKind
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


def test_it_builds_a_kit_as_its_list_says(w: make.World, keeper: Caller) -> None:
    answer = keeper.post("kits/DAY-02/build/")
    assert answer.status_code == 201, answer.json()
    put_in = answer.json()["put_in"]
    assert {(p["lot"]["number"], p["place"]["section"], p["units"]) for p in put_in} == {
        ("D1", "main", 6),
        ("", "main", 1),
        ("T1", "pouch", 8),
    }
    assert answer.json()["wanted"] == []
    assert keeper.get("kits/DAY-02/readiness/").json()["fit"] is True


def test_it_builds_a_kit_as_told(w: make.World, keeper: Caller) -> None:
    line = {"lot": str(w.lots["d2"].pk), "shelf": str(w.upper.pk), "units": 2}
    answer = keeper.post("kits/DAY-02/build/", {"lines": [line], "levels": []})
    assert answer.status_code == 201, answer.json()
    wanted = {row["name"]: row["units"] for row in answer.json()["wanted"]}
    assert wanted == {"Wound dressing 10 × 12": 4, "Shears": 1, "Pain tablets": 8}


def test_it_names_every_fault_of_what_may_not_go_in(w: make.World, keeper: Caller) -> None:
    undated = make.some(w.dressing, w.shelf, 3, "NO-DATE")
    line = {"lot": str(undated.pk), "shelf": str(w.shelf.pk), "units": 1}
    answer = keeper.post("kits/DAY-02/build/", {"lines": [line]})
    assert (answer.status_code, answer.json()["code"]) == (409, "undated")
    assert answer.json()["faults"][0]["lot"] == undated.pk
    assert not Entry.objects.filter(kind=EntryKind.BUILD).exists()


@pytest.mark.parametrize("units", [0, -1, 1.5, "2", 10_000_000])
def test_it_refuses_numbers_that_are_none(
    w: make.World, keeper: Caller, units: int | float | str
) -> None:
    line = {"lot": str(w.lots["d2"].pk), "shelf": str(w.upper.pk), "units": units}
    assert keeper.post("kits/DAY-02/build/", {"lines": [line]}).status_code == 400


def test_a_kit_of_another_room_is_not_there(w: make.World) -> None:
    stranger = make.caller(make.person("Hal", make.Role.KEEPER, w.hut))
    assert stranger.post("kits/DAY-02/build/").status_code == 404


def test_it_strips_a_bought_kit_thing_by_thing(w: make.World, keeper: Caller) -> None:
    year = make.today().year + 3
    answer = keeper.post(
        "kits/DAY-02/strip/",
        {
            "supplier": "Fellside Supplies",
            "price": "42.00",
            "currency": "GBP",
            "things": [
                {"item": w.dressing.pk, "units": 4, "fate": "keep", "number": "B1",
                 "expiry_printed": f"05/{year}"},
                {"item": w.shears.pk, "units": 1, "fate": "training", "why": "blunt"},
                {"item": w.tablets.pk, "units": 16, "fate": "dispose", "why": "not ours to give",
                 "expiry": make.days(99).isoformat()},
            ],
        },
    )  # fmt: skip
    assert answer.status_code == 201, answer.json()
    body = answer.json()
    assert {(g["lot"]["item"]["name"], g["place"]["kind"], g["units"]) for g in body["went"]} == {
        ("Wound dressing 10 × 12", "section", 4),
        ("Shears", "training", 1),
        ("Pain tablets", "pharmacy", 16),
    }
    assert body["bought_for"] == "42.00"
    assert {row["name"]: row["units"] for row in body["wanted"]}["Shears"] == 1


@pytest.mark.parametrize(
    "wrong", [{"fate": "sell"}, {"units": "4"}, {"item": 99_999}, {"colour": "red"}]
)
def test_it_refuses_a_thing_that_is_not_as_it_should_be(
    w: make.World, keeper: Caller, wrong: dict[str, str] | dict[str, int]
) -> None:
    thing = {"item": w.shears.pk, "units": 1, "fate": "keep", **wrong}
    answer = keeper.post("kits/DAY-02/strip/", {"things": [thing]})
    assert answer.status_code in (400, 404)
    assert not Entry.objects.filter(kind=EntryKind.STRIP).exists()


def test_the_only_instrument_of_a_kit_needs_no_naming(w: make.World) -> None:
    make.put_in(w.day_01, w.lots["gauge"], w.shelf, 1)
    answer = make.caller(w.guide).post("kits/DAY-01/check/", {"passed": True})
    assert answer.status_code == 201, answer.json()
    assert answer.json()["lot"]["serial"] == "G-1"
    assert answer.json()["counts"] is True


def test_of_two_instruments_it_asks_which(w: make.World) -> None:
    other = make.instrument(w.gauge, w.shelf, "G-2")
    for lot in (w.lots["gauge"], other):
        make.put_in(w.day_01, lot, w.shelf, 1)
    guide = make.caller(w.guide)
    asked = guide.post("kits/DAY-01/check/", {"passed": True})
    assert asked.status_code == 422
    assert "G-1" in asked.json()["detail"]
    named = guide.post("kits/DAY-01/check/", {"passed": False, "lot": str(other.pk)})
    assert named.json()["lot"]["withheld"] is True


def test_a_kit_without_instruments_says_so(w: make.World) -> None:
    answer = make.caller(w.guide).post("kits/DAY-01/check/", {"passed": True})
    assert answer.status_code == 422
    assert "no instrument" in answer.json()["detail"]


def test_it_empties_a_kit_and_says_what_is_left(w: make.World, keeper: Caller) -> None:
    sold = {"lot": str(w.dressings.pk), "section": "main", "units": 6, "way": "sold"}
    answer = keeper.post("kits/DAY-01/empty/", {"lines": [sold]})
    assert (answer.status_code, list(answer.json()["errors"])) == (422, ["reason"])
    shears = {"lot": str(w.lots["shears"].pk), "units": 1, "way": "shelf"}
    lines = [{**sold, "why": "to the ski club"}, {**shears, "shelf": str(w.shelf.pk)}]
    answer = keeper.post("kits/DAY-01/empty/", {"lines": lines})
    assert answer.status_code == 201, answer.json()
    assert answer.json()["left"] == 8
    assert [row["place"]["kind"] for row in answer.json()["went"]] == ["sold", "shelf"]
    assert keeper.post("kits/DAY-01/empty/", {}).status_code == 422
    assert make.caller(w.guide).post("kits/DAY-01/empty/", {"lines": lines}).status_code == 403
