"""The doors of stock and batches: what they take, refuse, show, and how many queries that costs."""

import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from kits.models import Entry, Holding, Lot, PackCode, PlaceKind
from kits.services.ledger.book import room_place
from kits.services.recalls import recalls
from kits.services.stock import receiving
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


def test_it_receives_a_printed_date_as_it_stands_on_the_pack(w: make.World, keeper: Caller) -> None:
    body = {"shelf": str(w.shelf.pk), "item": w.dressing.pk, "units": 5, "number": "n7"}
    year = make.today().year + 2
    answer = keeper.post("stock/receive/", {**body, "expiry_printed": f"EXP 02/{year}"})
    assert answer.status_code == 201, answer.json()
    assert answer.json()["lot"]["number"] == "N7"
    assert answer.json()["lot"]["expiry"] in (f"{year}-02-28", f"{year}-02-29")
    assert answer.json()["place"]["id"] == w.shelf.pk


def test_a_date_that_reads_in_two_ways_is_asked_about(w: make.World, keeper: Caller) -> None:
    year = make.today().year + 1
    answer = keeper.post(
        "stock/receive/",
        {
            "shelf": str(w.shelf.pk),
            "item": w.dressing.pk,
            "units": 5,
            "expiry_printed": f"05/06/{year}",
        },
    )
    assert answer.status_code == 422
    assert answer.json()["readings"] == [f"{year}-05-06", f"{year}-06-05"]


def test_it_receives_packs_by_their_code_alone(w: make.World, keeper: Caller) -> None:
    PackCode.objects.create(gtin="05012345678900", item=w.shears, units_per_pack=4)
    answer = keeper.post(
        "stock/receive/",
        {"shelf": str(w.shelf.pk), "packs": 2, "pack_code": "5012345678900", "price": "30.00",
         "currency": "GBP", "supplier": "Fellside Supplies"},
    )  # fmt: skip
    assert answer.status_code == 201, answer.json()
    assert answer.json()["units"] == 8


def test_it_says_why_something_went_to_quarantine(w: make.World, keeper: Caller) -> None:
    answer = keeper.post(
        "stock/receive/",
        {"shelf": str(w.shelf.pk), "item": w.dressing.pk, "units": 1, "expiry": "2020-01-31"},
    )
    assert answer.status_code == 201
    assert answer.json()["place"]["kind"] == "quarantine"
    assert answer.json()["entry"]["irregular"] == ["expired-on-arrival"]
    assert [r["code"] for r in answer.json()["remarks"]] == ["expired-on-arrival"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"units": 0},
        {"units": -2},
        {"units": 1.5},
        {"units": "3"},
        {"units": True},
        {"units": 10_000_000},
        {"units": None},
        {"colour": "red"},
        {"expiry": "31.05.2027"},
        {"expiry": 20270531},
        {"price": 12.5, "currency": "GBP"},
        {"price": "-12.50", "currency": "GBP"},
        {"price": "12.50", "currency": "gbp"},
        {"packs": 2},
        {"item": "Shears"},
        {"number": ["N1"]},
        {"number": "x" * 81},
    ],
)
def test_it_refuses_a_body_that_is_not_as_it_should_be_and_writes_nothing(
    w: make.World, keeper: Caller, wrong: Any
) -> None:
    before = (Entry.objects.count(), list(Holding.objects.values("lot", "place", "units")))
    body = {"shelf": str(w.shelf.pk), "item": w.shears.pk, "units": 3, **wrong}
    answer = keeper.post("stock/receive/", body)
    assert answer.status_code == 400
    assert answer.headers["content-type"].startswith("application/problem+json")
    assert answer.json()["errors"]
    assert before == (Entry.objects.count(), list(Holding.objects.values("lot", "place", "units")))


def test_the_same_key_receives_once_and_another_content_is_refused(
    w: make.World, keeper: Caller
) -> None:
    key, body = str(uuid.uuid4()), {"shelf": str(w.shelf.pk), "item": w.shears.pk, "units": 3}
    first = keeper.post("stock/receive/", body, idempotency_key=key)
    again = keeper.post("stock/receive/", body, idempotency_key=key)
    assert (first.status_code, again.json()) == (201, first.json())
    assert make.units(w.lots["shears"], w.shelf) == 5 + 3
    other = keeper.post("stock/receive/", {**body, "units": 4}, idempotency_key=key)
    assert other.status_code == 422


def test_it_moves_into_quarantine_by_that_word(w: make.World, keeper: Caller) -> None:
    body = {"lot": str(w.dressings.pk), "units": 2, "source": str(w.shelf.pk), "to": "quarantine"}
    answer = keeper.post("stock/move/", body)
    assert answer.status_code == 201, answer.json()
    assert make.units(w.dressings, room_place(w.store, PlaceKind.QUARANTINE)) == 2


def test_it_sends_to_another_room_and_lets_it_arrive(w: make.World, keeper: Caller) -> None:
    body = {"lot": str(w.dressings.pk), "units": 2, "source": str(w.shelf.pk), "room": "cave-hut"}
    assert keeper.post("stock/send/", body).status_code == 201
    hut_keeper = make.caller(make.person("Hal", make.Role.KEEPER, w.hut))
    answer = hut_keeper.post(
        "stock/arrive/", {"lot": str(w.dressings.pk), "units": 2, "shelf": str(w.hut_shelf.pk)}
    )
    assert answer.status_code == 201, answer.json()
    assert make.units(w.dressings, w.hut_shelf) == 2


def test_it_refuses_the_wrong_bin_and_says_the_right_one(w: make.World, keeper: Caller) -> None:
    answer = keeper.post(
        "stock/dispose/",
        {"lot": str(w.lots["tablets"].pk), "units": 1, "place": str(w.shelf.pk),
         "disposal": "bin", "reason": "spilt"},
    )  # fmt: skip
    assert (answer.status_code, answer.json()["code"]) == (409, "wrong-bin")
    assert answer.json()["allowed"][0] == "pharmacy"


def test_it_opens_a_pack_in_a_kit(w: make.World, keeper: Caller) -> None:
    pouch = make.section(w.day_01, "pouch")
    answer = keeper.post(
        "stock/open/", {"lot": str(w.lots["tablets"].pk), "units": 2, "place": str(pouch.pk)}
    )
    assert answer.status_code == 201, answer.json()
    assert answer.json()["lot"]["opened_on"] == make.today().isoformat()
    assert answer.json()["lot"]["good_until"] == make.days(90).isoformat()


def test_a_shelf_of_another_room_is_not_there(w: make.World) -> None:
    stranger = make.caller(make.person("Hal", make.Role.KEEPER, w.hut))
    answer = stranger.post(
        "stock/receive/", {"shelf": str(w.shelf.pk), "item": w.shears.pk, "units": 1}
    )
    assert answer.status_code == 404


def test_a_guide_is_told_which_role_it_takes(w: make.World) -> None:
    answer = make.caller(w.guide).post(
        "stock/receive/", {"shelf": str(w.shelf.pk), "item": w.shears.pk, "units": 1}
    )
    assert (answer.status_code, answer.json()["code"]) == (403, "role-missing")
    assert "keeper" in answer.json()["roles"]


# ------------------------------------------------------------------------------------ what is where
def listed(caller: Caller, query: str = "") -> Any:
    answer = caller.get(f"stock/{query}")
    assert answer.status_code == 200, answer.json()
    return answer.json()["results"]


def test_it_lists_what_ones_rooms_hold_kits_included(w: make.World) -> None:
    rows = listed(make.caller(w.guide))
    assert {(r["place"]["name"], r["lot"]["number"], r["units"]) for r in rows} >= {
        ("C2", "D1", 12),
        ("C3", "D2", 10),
        ("Main", "D1", 6),
    }
    assert listed(make.caller(w.stranger)) == []


@pytest.mark.parametrize(
    ("query", "numbers"),
    [
        ("?kind=shelf&item={dressing}", ["D1", "D2"]),
        ("?place={upper}", ["D2"]),
        ("?kit=DAY-01&item={dressing}", ["D1"]),
        ("?room=main-store&lot={d2}", ["D2"]),
        ("?room=cave-hut", None),
        ("?item={dressing}&expiring_before={in_500}", ["D1", "D1"]),
        ("?recalled=true", ["D2"]),
        ("?recalled=false&item={dressing}", ["D1", "D1"]),
    ],
)
def test_it_filters(w: make.World, keeper: Caller, query: str, numbers: list[str] | None) -> None:
    recall = recalls.start(make.act(w.keeper), item=w.dressing, scope="number", number="ELSE")
    Lot.objects.filter(pk=w.lots["d2"].pk).update(recall=recall)
    asked = query.format(
        dressing=w.dressing.pk, upper=w.upper.pk, d2=w.lots["d2"].pk, in_500=make.days(500)
    )
    if numbers is None:
        assert keeper.get(f"stock/{asked}").status_code == 404
    else:
        assert sorted(r["lot"]["number"] for r in listed(keeper, asked)) == numbers


def test_a_list_costs_the_same_few_queries_however_long_it_is(
    w: make.World, keeper: Caller
) -> None:
    def queries(path: str) -> int:
        keeper.get(path)
        with CaptureQueriesContext(connection) as seen:
            assert keeper.get(path).status_code == 200
        return len(seen)

    before = {path: queries(path) for path in ("stock/", "lots/")}
    for n in range(15):
        make.some(w.dressing, w.shelf, 1, f"MORE-{n}", make.days(100 + n))
    assert {path: queries(path) for path in before} == before
    assert before == {"stock/": 5, "lots/": 5}


# ----------------------------------------------------------------------------------------- batches
def test_a_batch_shows_what_was_believed_of_it(w: make.World, keeper: Caller) -> None:
    fixed = keeper.post(
        f"lots/{w.lots['d2'].pk}/correct/",
        {"expiry": make.days(700).isoformat(), "reason": "typed wrong"},
    )
    assert fixed.status_code == 200, fixed.json()
    shown = keeper.get(f"lots/{w.lots['d2'].pk}/").json()
    assert [fact["expiry"] for fact in shown["facts"]] == [
        make.days(800).isoformat(),
        make.days(700).isoformat(),
    ]
    assert shown["facts"][1]["by"] == "Kim"
    assert shown["places"] == [
        {"place": w.upper.pk, "name": "C3", "kind": "shelf", "kit": None, "units": 10}
    ]


def test_prices_are_shown_to_those_who_buy(w: make.World, keeper: Caller) -> None:
    done = receiving.receive(make.act(w.keeper), item=w.shears, units=1, shelf=w.shelf)
    path = f"lots/{done.lot.pk}/"
    assert keeper.get(path).json()["receipts"]
    assert make.caller(w.guide).get(path).json()["receipts"] == []


def test_a_date_may_be_put_right_to_not_known(w: make.World, keeper: Caller) -> None:
    answer = keeper.post(
        f"lots/{w.lots['d2'].pk}/correct/", {"expiry": None, "reason": "the print is gone"}
    )
    assert answer.json()["lot"]["expiry"] is None


def test_a_correction_needs_a_reason(w: make.World, keeper: Caller) -> None:
    answer = keeper.post(f"lots/{w.lots['d2'].pk}/correct/", {"number": "D22"})
    assert answer.status_code == 422
    assert "reason" in answer.json()["errors"]


def test_batches_are_found_by_what_is_asked(w: make.World, keeper: Caller) -> None:
    def numbers(query: str) -> list[Any]:
        return sorted(r["number"] for r in keeper.get(f"lots/{query}").json()["results"])

    assert numbers(f"?item={w.dressing.pk}") == ["D1", "D2"]
    assert numbers("?number=d2") == ["D2"]
    make.batch(w.dressing, "NONE-LEFT", make.days(5))
    assert numbers(f"?expiring_before={make.days(6)}") == ["NONE-LEFT"]
    assert numbers(f"?expiring_before={make.days(6)}&in_stock=true") == []


def test_an_instrument_is_checked_through_its_own_door(w: make.World) -> None:
    guide = make.caller(w.guide)
    answer = guide.post(f"lots/{w.lots['gauge'].pk}/check/", {"passed": True, "answer": "green"})
    assert answer.status_code == 201, answer.json()
    assert answer.json()["lot"]["check_passed"] is True
    assert answer.json()["lot"]["check_due"] == make.days(180).isoformat()


@pytest.mark.parametrize("path", ["kits/DAY-01/count/", "stock/count/"])
def test_what_a_count_does_not_name_is_not_counted_until_it_says_that_nothing_else_is_there(
    path: str,
) -> None:
    w = make.world()
    call = make.caller(w.keeper)
    in_kit = path.startswith("kits/")
    place = make.section(w.day_01) if in_kit else w.shelf
    where = {} if in_kit else {"shelf": str(w.shelf.pk)}
    shears = make.units(w.lots["shears"], place)
    named = {**where, "found": [{"lot": str(w.dressings.pk), "units": 2}]}

    assert call.post(path, {**where, "found": []}).status_code == 422
    assert call.post(path, named).status_code == 201
    assert make.units(w.dressings, place) == 2
    assert make.units(w.lots["shears"], place) == shears > 0
    assert call.post(path, {**named, "complete": True}).status_code == 201
    assert make.units(w.lots["shears"], place) == 0
