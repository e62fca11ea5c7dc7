"""Kits as such: added, edited, following a list, moved home, retired; and seen at a glance."""

import random
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from kits.models import Entry, EntryKind, Kit, Place, WithheldKind
from kits.rules.ledger.facts import Criticality
from kits.rules.lookup import label_codes
from kits.services.custody import custody
from kits.services.kits import holds, kits
from kits.services.labelling import labelling
from kits.services.ledger import audit
from kits.services.lists import drafts, publishing
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.lookup import find
from kits.services.restocking import sealing
from kits.services.trips import reservations
from tests.core.api.made import WRONG, is_problem
from tests.kits import factories as make
from tests.kits.problems import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


def body(w: make.World, **more: Any) -> dict[str, Any]:
    return {
        "name": "DAY-03",
        "home_room": "main-store",
        "packing_list": w.version.packing_list_id,
        "version": 1,
        **more,
    }


def version_2(w: make.World, *sections: SectionDraft) -> Any:
    act = make.act(w.instructor)
    draft = drafts.new_draft(act, w.version.packing_list)
    said = Draft(people=10, days=1, sections=sections)
    return publishing.publish(act, drafts.edit_draft(act, draft, said))


def keys(kit: Kit) -> set[str]:
    return set(kit.sections.filter(closed_on__isnull=True).values_list("section_key", flat=True))


# --------------------------------------------------------------------------------------- adding
def test_a_kit_starts_empty_in_its_home_room_with_its_lists_sections(w: make.World) -> None:
    call = make.caller(w.keeper)
    added = call.post("kits/", body(w, responsible=w.instructor.pk, deputy=w.keeper.pk))
    assert added.status_code == 201
    shown = call.get("kits/day-03/").json()
    assert shown == added.json()
    assert [(s["key"], s["name"]) for s in shown["sections"]] == [
        ("main", "Main"),
        ("pouch", "Pouch"),
    ]
    assert (shown["room"]["slug"], shown["fit_until"]) == ("main-store", None)
    assert (shown["responsible"]["name"], shown["deputy"]["name"]) == ("Ines", "Kim")
    entry = Entry.objects.get(kit__name="DAY-03")
    assert (entry.kind, entry.detail["what"]) == ("kit", "added")
    assert not list(audit.findings())


@pytest.mark.parametrize("name", ["day-01", "DAY-01", "  day-01 "])
def test_a_name_is_taken_whatever_its_capitals(w: make.World, name: str) -> None:
    is_problem(make.caller(w.keeper).post("kits/", body(w, name=name)), 409, "name-taken")


def test_a_name_is_never_a_label_code(w: make.World) -> None:
    code = label_codes.new_code(random.Random(7).choice)
    for name in (code, label_codes.shown(code).lower()):
        problem = is_problem(
            make.caller(w.keeper).post("kits/", body(w, name=name)), 422, "cannot-be-right"
        )
        assert list(problem["errors"]) == ["name"]


@pytest.mark.parametrize(
    ("change", "field", "status"),
    [
        ({"name": ""}, "name", 400),
        ({"name": "A/B"}, "name", 422),
        ({"name": "A" * 41}, "name", 400),
        ({"lives_in": "cupboard"}, "lives_in", 400),
        ({"bag_volume_ml": -5}, "bag_volume_ml", 400),
        ({"bag_volume_ml": 1.5}, "bag_volume_ml", 400),
        ({"look_interval_days": 0}, "look_interval_days", 400),
        ({"training": "yes"}, "training", 400),
        ({"seal": "417"}, "seal", 400),
    ],
)
def test_what_cannot_be_said_of_a_kit_is_refused_by_field(
    w: make.World, change: dict[str, Any], field: str, status: int
) -> None:
    answer = make.caller(w.keeper).post("kits/", body(w, **change))
    assert list(is_problem(answer, status, WRONG[status])["errors"]) == [field]
    assert Kit.objects.count() == 2


def test_the_deputy_is_another_person(w: make.World) -> None:
    same = body(w, responsible=w.keeper.pk, deputy=w.keeper.pk)
    is_problem(make.caller(w.keeper).post("kits/", same), 422, "deputy-is-another")


def test_a_kit_does_not_follow_a_draft(w: make.World) -> None:
    drafts.new_draft(make.act(w.keeper), w.version.packing_list)
    is_problem(make.caller(w.keeper).post("kits/", body(w, version=2)), 409, "not-published")
    is_problem(make.caller(w.keeper).post("kits/", body(w, version=9)), 404, "not-found")


def test_a_keeper_adds_no_kits_to_another_room(w: make.World) -> None:
    answer = make.caller(w.keeper).post("kits/", body(w, home_room="cave-hut"))
    is_problem(answer, 404, "not-found")
    is_problem(make.caller(w.guide).post("kits/", body(w)), 403, "role-missing")


# -------------------------------------------------------------------------------------- editing
def test_an_edit_is_written_down_with_what_it_was_before(w: make.World) -> None:
    call = make.caller(w.keeper)
    done = call.patch("kits/DAY-01/", {"bag": "red pouch", "lives_in": "vehicle"})
    assert (done.json()["bag"], done.json()["lives_in"]) == ("red pouch", "vehicle")
    entry = Entry.objects.filter(kit=w.day_01, kind=EntryKind.KIT).get()
    assert entry.detail["changed"] == {"bag": ["", "red pouch"], "lives_in": ["store", "vehicle"]}


def test_an_edit_of_nothing_writes_nothing(w: make.World) -> None:
    before = Entry.objects.count()
    make.caller(w.keeper).patch("kits/DAY-01/", {"name": "DAY-01", "bag": ""})
    assert Entry.objects.count() == before


def test_an_edit_based_on_an_old_reading_is_refused(w: make.World) -> None:
    call = make.caller(w.keeper)
    read = call.get("kits/DAY-01/")
    first = call.patch("kits/DAY-01/", {"bag": "red pouch"}, if_match=read["ETag"])
    assert first.status_code == 200
    late = call.patch("kits/DAY-01/", {"bag": "blue pouch"}, if_match=read["ETag"])
    is_problem(late, 412, "changed-since")
    assert make.fresh(w.day_01).bag == "red pouch"
    again = call.patch("kits/DAY-01/", {"bag": "blue pouch"}, if_match=first["ETag"])
    assert again.status_code == 200


def test_a_training_kit_is_never_fit_and_comes_into_use_only_empty(w: make.World) -> None:
    act = make.act(w.keeper)
    kits.edit_kit(act, w.day_01, training=True)
    assert make.fresh(w.day_01).may_go_until is None
    with refused("training-stock-inside"):
        kits.edit_kit(make.act(w.keeper), w.day_01, training=False)
    kits.edit_kit(make.act(w.keeper), w.day_02, training=True)
    kits.edit_kit(make.act(w.keeper), w.day_02, training=False)


# ---------------------------------------------------------------------------- following a list
def test_new_sections_are_added_and_gone_ones_stay_while_they_hold_something(
    w: make.World,
) -> None:
    version = version_2(
        w,
        SectionDraft("Main pouch", [LineDraft(w.dressing, 4, 2, Criticality.MUST_HAVE)], "main"),
        SectionDraft("Lid", [LineDraft(w.shears, 1)], "lid"),
    )
    kits.follow_list(make.act(w.keeper), w.day_01, version)
    kits.follow_list(make.act(w.keeper), w.day_02, version)
    assert keys(w.day_01) == {"main", "lid", "pouch"}  # the pouch holds tablets
    assert keys(w.day_02) == {"main", "lid"}
    assert w.day_01.sections.get(section_key="main").name == "Main pouch"
    shown = make.caller(w.keeper).get("kits/DAY-01/").json()
    assert {s["key"]: s["on_list"] for s in shown["sections"]} == {
        "main": True,
        "lid": True,
        "pouch": False,
    }
    entry = Entry.objects.get(kit=w.day_01, kind=EntryKind.FOLLOW_LIST)
    assert entry.detail["sections_added"] == ["lid"]
    assert not list(audit.findings())


def test_a_section_that_comes_back_on_the_list_is_the_same_place(w: make.World) -> None:
    pouch = w.day_02.sections.get(section_key="pouch")
    main = SectionDraft("Main", [LineDraft(w.shears, 1)], "main")
    kits.follow_list(make.act(w.keeper), w.day_02, version_2(w, main))
    assert Place.objects.get(pk=pouch.pk).closed_on is not None
    kits.follow_list(make.act(w.keeper), w.day_02, w.version)
    assert Place.objects.get(pk=pouch.pk).closed_on is None


def test_following_is_asked_for_at_its_door_by_list_and_number(w: make.World) -> None:
    version_2(w, SectionDraft("Main", [LineDraft(w.shears, 1)], "main"))
    call, wanted = make.caller(w.keeper), {"packing_list": w.version.packing_list_id, "version": 2}
    done = call.post("kits/DAY-01/follow-list/", wanted)
    assert done.json()["packing_list"]["version"] == 2
    is_problem(call.post("kits/DAY-01/follow-list/", wanted), 409, "follows-already")


# ------------------------------------------------------------------------- moving home, retiring
def test_moving_home_asks_for_the_right_in_both_rooms(w: make.World) -> None:
    with refused("role-missing", 403):
        kits.move_home(make.act(w.keeper), w.day_01, w.hut)
    everywhere = make.person("Olu", make.Role.ADMINISTRATOR)
    moved = kits.move_home(make.act(everywhere), w.day_01, w.hut)
    assert (moved.home_room, moved.room) == (w.hut, w.store)
    moved = kits.move_home(make.act(everywhere), w.day_01, w.hut, is_there=True)
    assert moved.room == w.hut
    assert find.kits_of(make.actor(w.stranger)).filter(pk=w.day_01.pk).exists()


def test_only_an_empty_kit_that_nobody_has_or_waits_for_is_retired(w: make.World) -> None:
    act = make.act(w.keeper)
    with refused("kit-not-empty"):
        kits.retire_kit(act, w.day_01)
    trip = make.trip("Moor", w.store, 1, 2)
    promise = reservations.reserve(make.act(w.keeper), w.day_02, trip).reservation
    with refused("kit-reserved"):
        kits.retire_kit(act, w.day_02)
    reservations.release(make.act(w.keeper), promise)
    custody.check_out(make.act(w.keeper), w.day_02, person=w.guide, emergency=True)
    with refused("kit-is-out"):
        kits.retire_kit(act, w.day_02)
    custody.check_in(make.act(w.keeper), w.day_02)
    assert kits.retire_kit(make.act(w.keeper), w.day_02).retired_on is not None
    call = make.caller(w.keeper)
    assert [k["name"] for k in call.get("kits/").json()["results"]] == ["DAY-01"]
    assert [k["name"] for k in call.get("kits/?retired=true").json()["results"]] == ["DAY-02"]
    is_problem(call.patch("kits/DAY-02/", {"bag": "x"}), 409, "kit-retired")


# ----------------------------------------------------------------------------------- at a glance
def test_a_kit_is_found_by_the_code_on_its_label(w: make.World) -> None:
    label = labelling.label_for(make.act(w.keeper), w.day_01)
    shown = make.caller(w.guide).get(f"kits/{label.code.lower()}/").json()
    assert shown["name"] == "DAY-01"
    assert shown["labels"] == [label_codes.shown(label.code)]


def test_it_says_who_has_a_kit_and_what_it_goes_out_for_next(w: make.World) -> None:
    trip = make.trip("Moor", w.store, 3, 4)
    reservations.reserve(make.act(w.keeper), w.day_01, trip, person=w.guide)
    due = timezone.now() + timedelta(hours=5)
    with_nobody = make.trip("Today", w.store)
    custody.check_out(
        make.act(w.keeper), w.day_01, person=w.instructor, trip=with_nobody, due_at=due
    )
    shown = make.caller(w.guide).get("kits/DAY-01/").json()
    assert shown["out"]["person"]["name"] == "Ines"
    assert shown["out"]["trip"]["name"] == "Today"
    assert shown["out"]["overdue"] is False
    assert (shown["reserved"]["trip"]["name"], shown["reserved"]["person"]["name"]) == (
        "Moor",
        "Gil",
    )


def test_it_says_why_a_kit_is_kept_back_and_which_seal_is_on(w: make.World) -> None:
    sealing.reseal(make.act(w.keeper), w.day_01, number="417")
    holds.withhold(make.act(w.guide), w.day_01, WithheldKind.DRYING, "fell into the beck")
    shown = make.caller(w.guide).get("kits/DAY-01/").json()
    assert shown["seal"] == "417"
    assert [(row["kind"], row["note"]) for row in shown["withheld"]] == [
        ("drying", "fell into the beck")
    ]
    assert (shown["fit_until"], shown["may_go_until"]) == (None, None)


def test_phones_are_for_those_of_the_room_who_may_see_people(w: make.World) -> None:
    make.Person.objects.filter(pk=w.instructor.pk).update(phone="0700 900 321")
    adviser = make.caller(w.adviser).get("kits/DAY-01/").json()
    guide = make.caller(w.guide).get("kits/DAY-01/").json()
    assert (guide["responsible"]["phone"], adviser["responsible"]["phone"]) == ("0700 900 321", "")


def test_another_rooms_kit_is_not_there(w: make.World) -> None:
    call = make.caller(w.stranger)
    is_problem(call.get("kits/DAY-01/"), 404, "not-found")
    is_problem(call.get("kits/NO-SUCH/"), 404, "not-found")
    assert call.get("kits/").json()["results"] == []


def test_kits_are_listed_by_what_is_asked(w: make.World) -> None:
    call = make.caller(w.guide)

    def names(query: str) -> list[str]:
        return [row["name"] for row in call.get(f"kits/?{query}").json()["results"]]

    assert names("") == ["DAY-01", "DAY-02"]
    assert names(f"fit_through={make.days(300)}") == ["DAY-01"]
    assert names(f"fit_through={make.days(301)}") == []
    assert names("search=02") == ["DAY-02"]
    assert names("room=main-store") == ["DAY-01", "DAY-02"]
    assert names(f"packing_list={w.version.packing_list_id}&training=true") == []
    reservations.reserve(make.act(w.keeper), w.day_02, make.trip("Moor", w.store, 1, 1))
    assert (names("reserved=true"), names("reserved=false")) == (["DAY-02"], ["DAY-01"])
    custody.check_out(make.act(w.keeper), w.day_01, person=w.guide)
    assert (names("out=true"), names("out=false")) == (["DAY-01"], ["DAY-02"])
    is_problem(call.get("kits/?room=cave-hut"), 404, "not-found")
    is_problem(call.get("kits/?fit_through=soon"), 400, "invalid-request")
    is_problem(call.get("kits/?colour=red"), 400, "invalid-request")


def test_kits_are_listed_in_as_many_queries_however_many_there_are(
    w: make.World, django_assert_max_num_queries: Any
) -> None:
    for number in range(10, 22):
        kit = make.kit(f"DAY-{number}", w.version, w.store)
        reservations.reserve(
            make.act(w.keeper), kit, make.trip(f"Trip {number}", w.store, 1, 2), person=w.guide
        )
        custody.check_out(make.act(w.keeper), kit, person=w.guide, emergency=True)
    call = make.caller(w.guide)
    with django_assert_max_num_queries(29):
        page = call.get(f"kits/?page_size=10&fit_through={make.days(0)}&reserved=false").json()
    with django_assert_max_num_queries(28):
        page = call.get("kits/?page_size=10").json()
    assert len(page["results"]) == 10
    rest = call.get(page["next"].split("/api/v1/")[1]).json()["results"]
    assert [row["name"] for row in page["results"] + rest] == sorted(
        Kit.objects.values_list("name", flat=True)
    )
