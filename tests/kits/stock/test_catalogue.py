"""Kinds of things, their makers' codes and what will do instead."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from gearroom.core.rules.roles import Role
from kits.models import Item, PackCode, Substitute
from kits.rules.ledger.facts import Kind
from kits.services.ledger import audit
from kits.services.stock import catalogue
from tests.core.api.made import WRONG, Caller, is_problem
from tests.kits import factories as make
from tests.kits.problems import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    return make.world()


@pytest.fixture
def call() -> Caller:
    """A keeper's program, where there is nothing yet."""
    return make.caller(make.person("Kim", Role.KEEPER, make.room()))


NEW = {"name": "Eye wash 20 ml", "kind": "consumable", "base_unit": "pod", "sterile": True}


# --------------------------------------------------------------------------------------- adding
def test_it_adds_a_thing_and_shows_it(w: make.World) -> None:
    call = make.caller(w.keeper)
    added = call.post("items/", {**NEW, "min_temp_c": 2, "max_temp_c": 35})
    assert added.status_code == 201
    shown = call.get(f"items/{added.json()['id']}/").json()
    assert (shown["name"], shown["sterile"], shown["min_temp_c"]) == ("Eye wash 20 ml", True, 2)
    assert shown == added.json()


def test_a_medicine_goes_to_the_pharmacy_unless_told_otherwise(w: make.World) -> None:
    act = make.act(w.keeper)
    tablet = catalogue.add_item(act, name="Tablet", kind=Kind.MEDICINE, base_unit="tablet")
    assert tablet.disposal == "pharmacy"
    with refused("invalid-request", 400):
        catalogue.edit_item(act, tablet, disposal="bin")


def test_the_same_name_in_other_capitals_is_taken(w: make.World) -> None:
    answer = make.caller(w.keeper).post("items/", {**NEW, "name": "shears"})
    is_problem(answer, 409, "name-taken")


@pytest.mark.parametrize(
    ("change", "field", "status"),
    [
        ({"name": "   "}, "name", 400),
        ({"name": "123"}, "name", 422),
        ({"base_unit": " "}, "base_unit", 400),
        ({"kind": "gadget"}, "kind", 400),
        ({"kind": "tool", "by_eye": True}, "by_eye", 422),
        ({"min_temp_c": 30, "max_temp_c": 2}, "min_temp_c", 422),
        ({"check_every_days": 90}, "check_every_days", 422),
        ({"kind": "instrument", "check_every_days": 90}, "check_question", 422),
        ({"opened_life_days": 0}, "opened_life_days", 400),
        ({"opened_life_days": 1.5}, "opened_life_days", 400),
        ({"opened_life_days": 10**12}, "opened_life_days", 400),
        ({"opened_life_days": "30"}, "opened_life_days", 400),
        ({"volume_ml": -1}, "volume_ml", 400),
        ({"sterile": 1}, "sterile", 400),
        ({"colour": "green"}, "colour", 400),
    ],
)
def test_what_cannot_be_said_of_a_thing_is_refused_by_field(
    call: Caller, change: dict[str, object], field: str, status: int
) -> None:
    answer = call.post("items/", {**NEW, **change})
    assert list(is_problem(answer, status, WRONG[status])["errors"]) == [field]
    assert not Item.objects.exists()


def test_a_guide_does_not_edit_the_catalogue(w: make.World) -> None:
    call = make.caller(w.guide)
    is_problem(call.post("items/", NEW), 403, "role-missing")
    is_problem(call.patch(f"items/{w.shears.pk}/", {"latex": True}), 403, "role-missing")
    assert call.get("items/").status_code == 200


# -------------------------------------------------------------------------------------- editing
def test_a_change_based_on_an_old_reading_is_refused(w: make.World) -> None:
    call, path = make.caller(w.keeper), f"items/{w.shears.pk}/"
    read = call.get(path)
    changed = call.patch(path, {"mass_g": 90}, if_match=read["ETag"])
    assert changed.status_code == 200
    assert changed.json()["revision"] == read.json()["revision"] + 1
    is_problem(call.patch(path, {"mass_g": 91}, if_match=read["ETag"]), 412, "changed-since")
    assert call.patch(path, {"mass_g": 92}, if_match=changed["ETag"]).json()["mass_g"] == 92


def test_nothing_changed_leaves_the_revision_as_it_is(w: make.World) -> None:
    same = make.caller(w.keeper).patch(f"items/{w.shears.pk}/", {"name": "Shears"})
    assert same.json()["revision"] == 1


def test_kits_are_judged_again_when_a_thing_turns_out_to_be_sterile(w: make.World) -> None:
    assert w.day_01.fit_until is not None
    catalogue.edit_item(make.act(w.keeper), w.shears, needs_date=True, sterile=True)
    # Nobody knows the date of the pair inside: it has to come out the day after the kit was set up.
    assert make.fresh(w.day_01).clear_until == make.days(1)
    assert not list(audit.findings())


def test_judging_again_takes_no_more_queries_for_more_kits(w: make.World) -> None:
    counts = []
    for sterile in (False, True):
        with CaptureQueriesContext(connection) as seen:
            catalogue.edit_item(make.act(w.keeper), w.dressing, sterile=sterile)
        counts.append(len(seen))
        for number in range(5):
            make.kit(f"MORE-{sterile}-{number}", w.version, w.store)
    assert counts[0] == counts[1]


@pytest.mark.parametrize("change", [{"base_unit": "pack"}, {"by_eye": True}])
def test_what_is_held_never_comes_to_mean_something_else(
    w: make.World, change: dict[str, object]
) -> None:
    answer = make.caller(w.keeper).patch(f"items/{w.dressing.pk}/", change)
    is_problem(answer, 409, "units-in-the-book")
    with refused("units-in-the-book"):
        catalogue.edit_item(make.act(w.keeper), w.shears, kind=Kind.INSTRUMENT)


# ---------------------------------------------------------------------------- packs, substitutes
def test_codes_of_any_length_are_kept_as_fourteen_digits(w: make.World) -> None:
    call, path = make.caller(w.keeper), f"items/{w.dressing.pk}/pack-codes/"
    call.post(path, {"gtin": "4006381333931", "units_per_pack": 10})
    call.post(path, {"gtin": "96385074"})
    codes = {
        c["gtin"]: c["units_per_pack"]
        for c in call.get(f"items/{w.dressing.pk}/").json()["pack_codes"]
    }
    assert codes == {"04006381333931": 10, "00000096385074": 1}
    found = call.get("items/?gtin=4006381333931").json()["results"]
    assert [row["id"] for row in found] == [w.dressing.pk]


def test_a_wrong_check_digit_is_refused(w: make.World) -> None:
    answer = make.caller(w.keeper).post(
        f"items/{w.dressing.pk}/pack-codes/", {"gtin": "4006381333932"}
    )
    assert "gtin" in is_problem(answer, 422, "cannot-be-right")["errors"]
    assert not PackCode.objects.exists()


@pytest.mark.parametrize("count", [0, -3, 2.5, "10", 10**9])
def test_units_a_pack_are_a_whole_number_of_at_least_one(call: Caller, count: object) -> None:
    pods = make.item("Eye wash")
    answer = call.post(
        f"items/{pods.pk}/pack-codes/", {"gtin": "96385074", "units_per_pack": count}
    )
    assert "units_per_pack" in is_problem(answer, 400, "invalid-request")["errors"]


def test_a_code_belongs_to_one_thing(w: make.World) -> None:
    act = make.act(w.keeper)
    catalogue.put_pack_code(act, w.dressing, gtin="96385074")
    with refused("pack-code-taken"):
        catalogue.put_pack_code(act, w.shears, gtin="96385074")
    catalogue.remove_pack_code(act, w.dressing, "96385074")
    assert catalogue.put_pack_code(act, w.shears, gtin="96385074").item == w.shears


def test_what_will_do_instead_counts_at_once_and_one_way_only(w: make.World) -> None:
    pad = make.item("Pad", sterile=True)
    make.put_in(w.day_02, make.some(pad, w.shelf, 6, "P1", make.days(200)), w.shelf, 6)
    make.put_in(w.day_02, w.lots["shears"], w.shelf, 1)
    make.put_in(w.day_02, w.lots["tablets"], w.shelf, 8, "pouch")
    assert make.fresh(w.day_02).may_go_until is None
    call = make.caller(w.keeper)
    call.post(f"items/{w.dressing.pk}/substitutes/", {"instead": pad.pk, "note": "one for one"})
    assert make.fresh(w.day_02).may_go_until is not None
    assert not Substitute.objects.filter(item=pad).exists()
    call.post(f"items/{w.dressing.pk}/substitutes/remove/", {"instead": pad.pk})
    assert make.fresh(w.day_02).may_go_until is None
    assert not list(audit.findings())


def test_a_thing_does_not_stand_in_for_itself_nor_for_what_nobody_counts(w: make.World) -> None:
    act = make.act(w.keeper)
    for item, instead in ((w.shears, w.shears), (w.plasters, w.shears), (w.shears, w.plasters)):
        with refused("invalid-request", 400):
            catalogue.put_substitute(act, item, instead)


# ------------------------------------------------------------------------------------- retiring
def test_a_thing_on_a_list_that_kits_follow_is_not_retired(w: make.World) -> None:
    call = make.caller(w.keeper)
    problem = is_problem(call.post(f"items/{w.shears.pk}/retire/"), 409, "on-a-kit-list")
    assert problem["lists"] == ["Day walk"]


def test_a_retired_thing_leaves_the_catalogue_and_can_come_back(w: make.World) -> None:
    call = make.caller(w.keeper)
    assert call.post(f"items/{w.gauge.pk}/retire/").json()["retired_on"]
    names = [row["name"] for row in call.get("items/").json()["results"]]
    assert w.gauge.name not in names
    assert [r["name"] for r in call.get("items/?retired=true").json()["results"]] == [w.gauge.name]
    assert call.post(f"items/{w.gauge.pk}/bring-back/").json()["retired_on"] is None


def test_the_catalogue_is_read_in_few_queries(
    call: Caller, django_assert_max_num_queries: Any
) -> None:
    for number in range(20):
        make.item(f"Thing {number:02}")
    with django_assert_max_num_queries(6):
        page = call.get("items/?page_size=10").json()
    assert len(page["results"]) == 10
    assert page["next"]
    assert [r["name"] for r in page["results"]] == sorted(r["name"] for r in page["results"])
