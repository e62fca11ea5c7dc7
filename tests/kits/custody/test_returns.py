"""What the evening brings besides use: what was not carried, what may come back,
what was used in class, and what in a kit is a participant's own."""

from typing import Any

import pytest

from gearroom.core.acts import Invalid, Refused
from gearroom.core.models import Membership
from kits.models import (
    Entry,
    EntryKind,
    Movement,
    PlaceKind,
    Trip,
    UnmetNeed,
)
from kits.rules.custody.use import Went
from kits.rules.ledger.facts import Kind
from kits.services.custody import returns, use_suggestions, wrong_kit
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.custody.use import UseLine
from kits.services.ledger.book import room_place
from kits.services.lookup import holders
from kits.services.recalls import recalls
from kits.services.stock import away, disposing, moving
from kits.services.stock.order_levels import stock_levels
from tests.kits import again, factories as make
from tests.kits.custody.evenings import back, clean, out, undo, undo_all, word
from tests.kits.factories import act, caller, fresh, section, units, world
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
@again.kept
def w() -> make.World:
    made = world()
    made.splint = make.item("Splint", Kind.TOOL, needs_date=False)
    made.splints = make.some(made.splint, made.shelf, 4, "S1")
    make.put_in(made.day_01, made.splints, made.shelf, 2)
    return made


@pytest.fixture
def trip(w: make.World) -> Trip:
    return make.trip("Ridge walk", w.store, leader=w.guide)


# ------------------------------------------------ needed, not in the kit
def test_what_was_needed_and_not_in_the_kit_is_kept_against_its_trip(
    w: make.World, trip: Trip
) -> None:
    out(w, trip)
    needed = [
        NeedLine(words="  tick  remover "),
        NeedLine(item=w.splint),
        NeedLine(words="tick remover"),
    ]

    done = back(w, remarks=Remarks(needed=needed))

    rows = list(UnmetNeed.objects.order_by("id"))
    assert [(row.words, row.item) for row in rows] == [("tick remover", None), ("", w.splint)]
    assert {(row.entry.kit, row.entry.trip) for row in rows} == {(w.day_01, trip)}
    assert rows[0].entry.key == done.entry.key  # one act, undone in one
    assert rows[0].entry.movements.count() == 0
    assert clean()


def test_it_may_be_said_later_by_whoever_had_the_kit_and_is_no_use(
    w: make.World, trip: Trip
) -> None:
    out(w, trip)
    back(w)
    before = units(w.dressings, section(w.day_01))

    needed = {"needed": [{"words": "crutch"}]}
    assert caller(w.stranger).post("kits/DAY-01/needed/", needed).status_code == 404
    Membership.objects.filter(person=w.guide).update(room=w.hut)  # theirs no more, but they had it

    assert caller(w.guide).post("kits/DAY-01/needed/", needed).status_code == 201
    assert UnmetNeed.objects.get().entry.trip == trip
    assert units(w.dressings, section(w.day_01)) == before
    seen = caller(w.keeper).get("unmet-needs/?kit=DAY-01").json()["results"]
    assert [(row["words"], row["item"], row["trip"]) for row in seen] == [("crutch", None, trip.pk)]
    assert caller(w.stranger).get("unmet-needs/").json()["results"] == []


@pytest.mark.parametrize("row", [{}, {"words": " "}, {"words": "x" * 121}])
def test_a_need_of_nothing_is_refused_with_what_to_do(
    w: make.World, row: dict[Any, Any] | dict[str, str]
) -> None:
    answer = caller(w.keeper).post("kits/DAY-01/needed/", {"needed": [row]})

    assert answer.status_code == 400
    assert not UnmetNeed.objects.exists()


def test_undoing_the_hand_back_takes_the_need_with_it(w: make.World, trip: Trip) -> None:
    out(w, trip)
    done = back(w, remarks=Remarks(needed=[NeedLine(words="crutch")]))

    undo(w, done.entry)

    assert not returns.needs_in_force().exists()
    assert UnmetNeed.objects.count() == 1  # nothing is lost
    assert clean()


# ------------------------------------------------ used in class
def test_what_is_used_in_class_leaves_the_kit_and_is_no_need(w: make.World) -> None:
    out(w)

    back(w, used=[UseLine(w.dressing, 2, went=Went.IN_CLASS)])

    assert units(w.dressings, section(w.day_01)) == 4
    moved = Movement.objects.get(entry__kind=EntryKind.USE)
    assert moved.to_place.kind == PlaceKind.CLASS
    assert not Movement.objects.filter(to_place__kind=PlaceKind.USED).exists()
    levels = stock_levels.stocked([w.store])[w.store.pk]
    assert all(row.item != w.dressing for row in levels)  # no use on record to order for
    assert use_suggestions.suggest(fresh(w.day_01)).first  # still offered as what the list carries
    assert clean()


def test_the_api_says_what_became_of_each_thing(w: make.World) -> None:
    out(w)
    body = {
        "used": [
            {"item": w.dressing.pk, "units": 1},
            {"item": w.dressing.pk, "units": 1, "went": "in-class"},
            {"item": w.splint.pk, "units": 1, "went": "may-come-back"},
        ]
    }

    answer = caller(w.guide).post("kits/DAY-01/check-in/", body)

    assert [row["went"] for row in answer.json()["used"]["lines"]] == [
        "used",
        "in-class",
        "may-come-back",
    ]


# ------------------------------------------------ may come back
def gone(w: make.World, count: int = 1, trip: Trip | None = None) -> Entry:
    out(w, trip)
    return back(w, used=[UseLine(w.splint, count, went=Went.MAY_COME_BACK)]).entry


def listed(w: make.World) -> list[Any]:
    return [(row.kit.name, row.lot, row.units) for row in away.in_rooms([w.store.pk])]


def test_a_splint_that_went_with_a_casualty_is_out_of_the_kit_and_listed(w: make.World) -> None:
    gone(w, 2)

    assert units(w.splints, section(w.day_01)) == 0
    assert listed(w) == [("DAY-01", w.splints, 2)]
    assert not Movement.objects.filter(to_place__kind=PlaceKind.USED).exists()
    rows = caller(w.keeper).get("away/").json()["results"]
    assert [(row["kit"], row["name"], row["units"]) for row in rows] == [("DAY-01", "Splint", 2)]
    assert caller(w.stranger).get("away/").json()["results"] == []
    assert clean()


def test_it_comes_back_onto_a_shelf_or_is_written_off_as_used_on_its_trip(
    w: make.World, trip: Trip
) -> None:
    gone(w, 2, trip)
    body = {"lot": str(w.splints.pk), "units": 1, "shelf": str(w.upper.pk)}

    assert caller(w.guide).post("kits/DAY-01/come-back/", body).status_code == 201
    assert (units(w.splints, w.upper), listed(w)) == (1, [("DAY-01", w.splints, 1)])
    del body["shelf"]
    assert caller(w.guide).post("kits/DAY-01/write-off/", body).status_code == 403
    assert caller(w.keeper).post("kits/DAY-01/write-off/", body).status_code == 201

    assert listed(w) == []
    used = Movement.objects.get(to_place__kind=PlaceKind.USED)
    assert (used.units, used.entry.trip, used.entry.kit) == (1, trip, w.day_01)
    again = caller(w.keeper).post("kits/DAY-01/write-off/", body)
    assert (again.status_code, again.json()["code"]) == (409, "not-away")
    assert clean()


def test_what_is_recalled_meanwhile_comes_back_into_quarantine(w: make.World) -> None:
    gone(w)
    recalls.start(act(w.keeper), item=w.splint, scope="number", number="S1")
    assert listed(w) == [("DAY-01", w.splints, 1)]  # nobody here could set it apart
    quarantine = room_place(w.store, PlaceKind.QUARANTINE)
    before = units(w.splints, quarantine)

    away.come_back(act(w.keeper), w.day_01, w.splints, 1, w.shelf)

    assert (units(w.splints, w.shelf), units(w.splints, quarantine)) == (0, before + 1)
    assert clean()


def test_medicines_and_sterile_things_never_come_back(w: make.World) -> None:
    out(w)
    for item in (w.tablets, w.dressing):
        with pytest.raises(Invalid, match="cannot be used again"):
            back(w, used=[UseLine(item, 1, went=Went.MAY_COME_BACK)])


def test_what_is_away_is_moved_and_thrown_out_by_its_own_list_alone(w: make.World) -> None:
    gone(w)
    place = Movement.objects.get(entry__kind=EntryKind.USE).to_place

    with pytest.raises(Refused) as moved:
        moving.move(act(w.keeper), lot=w.splints, units=1, source=place, target=w.shelf)
    with pytest.raises(Refused) as thrown:
        disposing.dispose(act(w.keeper), lot=w.splints, units=1, place=place)

    assert (moved.value.code, thrown.value.code) == ("not-here", "not-here")
    assert listed(w) == [("DAY-01", w.splints, 1)]


def test_undoing_the_hand_back_takes_what_came_back_since_with_it(w: make.World) -> None:
    entry = gone(w)
    away.come_back(act(w.keeper), w.day_01, w.splints, 1, w.upper)

    undone = undo_all(w, entry)

    assert [each.kind for each in undone.later] == ["come-back"]
    assert units(w.splints, section(w.day_01)) == 2
    assert (units(w.splints, w.upper), listed(w)) == (0, [])
    assert clean()


def test_undoing_it_takes_what_came_back_from_that_kit_though_as_much_of_another_is_away(
    w: make.World,
) -> None:
    make.put_in(w.day_02, w.splints, w.shelf, 1)
    back(w, w.day_02, used=[UseLine(w.splint, 1, went=Went.MAY_COME_BACK)])
    entry = gone(w)
    away.come_back(act(w.keeper), w.day_01, w.splints, 1, w.upper)

    undone = undo_all(w, entry)

    assert [each.kind for each in undone.later] == ["come-back"]
    assert listed(w) == [("DAY-02", w.splints, 1)]
    assert clean()


@pytest.mark.parametrize("way", ["back", "off"])
def test_that_it_came_back_or_will_not_is_undone_alone(w: make.World, way: str) -> None:
    gone(w)
    entry = (
        away.come_back(act(w.keeper), w.day_01, w.splints, 1, w.upper)
        if way == "back"
        else away.write_off(act(w.keeper), w.day_01, w.splints, 1)
    )

    undo(w, entry)

    assert listed(w) == [("DAY-01", w.splints, 1)]
    assert clean()


# ------------------------------------------------ not ours
def test_a_participants_own_thing_is_there_until_it_was_given_back(
    w: make.World, trip: Trip
) -> None:
    out(w, trip)
    body = {"inside": True}
    assert caller(w.guide).post("kits/DAY-01/not-ours/", body).status_code == 201
    assert returns.has_own(w.day_01)

    first = caller(w.guide).post("kits/DAY-01/check-in/", {}).json()
    second = caller(w.guide).post("kits/DAY-01/check-in/", {"given_back": True}).json()

    assert (first["not_ours"], second["not_ours"]) == (True, False)
    assert not returns.has_own(w.day_01)
    entries = Entry.objects.filter(kind="not-ours")
    assert [entry.detail for entry in entries] == [{"inside": True}, {"inside": False}]
    assert all(entry.movements.count() == 0 and not entry.reason for entry in entries)
    assert clean()


def test_undoing_that_it_was_given_back_asks_for_it_again(w: make.World) -> None:
    returns.report_own(act(w.guide), w.day_01, inside=True)
    entry = returns.report_own(act(w.guide), w.day_01, inside=False)

    undo(w, entry)

    assert returns.has_own(w.day_01)
    assert clean()


# ------------------------------------------------ the wrong kit handed back
def test_the_wrong_kit_put_right_keeps_all_that_was_said(w: make.World) -> None:
    out(w)
    done = back(
        w,
        used=[
            UseLine(w.splint, 1, w.splints, went=Went.MAY_COME_BACK),
            UseLine(w.dressing, 1, went=Went.IN_CLASS),
        ],
        remarks=Remarks(needed=[NeedLine(words="crutch")]),
    )

    wrong_kit.correct_kit(act(w.keeper), done.entry.pk, w.day_02)

    assert listed(w) == [("DAY-02", w.splints, 1)]
    assert [need.entry.kit for need in returns.needs_in_force()] == [w.day_02]
    assert clean()


def test_everything_of_the_evening_can_be_undone_after_it(w: make.World, trip: Trip) -> None:
    out(w, trip)
    lines = [UseLine(w.splint, 1, went=Went.MAY_COME_BACK), UseLine(w.dressing, 1)]
    remarks = Remarks([NeedLine(words="crutch")], [w.day_02], given_back=True)
    done = back(w, used=lines, remarks=remarks)

    undo(w, done.entry)

    assert units(w.splints, section(w.day_01)) == 2
    assert units(w.dressings, section(w.day_01)) == 6
    assert "contents mixed" not in word(w.day_02)
    assert listed(w) == []
    assert present(holders.last_checkout(w.day_01)).in_at is None
    assert clean()
