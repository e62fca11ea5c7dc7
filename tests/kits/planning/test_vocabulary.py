"""Needs, activities, what items serve and what hazards ask, edited."""

import pytest

from gearroom.core.acts import Invalid, NotAllowed, NotFound, Refused
from kits.models import Activity, HazardNeed, ItemNeed, Need
from kits.services.planning import vocabulary
from kits.services.planning.records import rates
from tests.kits.factories import World, act, world
from tests.kits.planning.school import past, serve

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    return world()


def test_a_need_is_added_renamed_retired_and_brought_back(w: World) -> None:
    need = vocabulary.add_need(act(w.adviser), name="  Jelly   fish ", group="allergy")
    assert (need.key, need.name) == ("jelly-fish", "Jelly fish")
    need = vocabulary.edit_need(act(w.keeper), need, name="Jellyfish", group="wounds")
    assert (need.key, need.name, need.group) == ("jelly-fish", "Jellyfish", "wounds")
    assert vocabulary.retire(act(w.keeper), need).retired_on is not None
    assert vocabulary.bring_back(act(w.keeper), need).retired_on is None


def test_two_names_that_make_one_key_have_two(w: World) -> None:
    first = vocabulary.add_activity(act(w.keeper), name="Via ferrata")
    second = vocabulary.add_activity(act(w.keeper), name="Via-ferrata")
    other = vocabulary.add_activity(act(w.keeper), name="洞")
    assert (first.key, second.key, other.key) == ("via-ferrata", "via-ferrata-2", "other")


@pytest.mark.parametrize("name", ["", "  ", "x" * 81])
def test_a_name_is_neither_empty_nor_long(w: World, name: str) -> None:
    with pytest.raises(Invalid):
        vocabulary.add_activity(act(w.keeper), name=name)


def test_a_name_is_its_own(w: World) -> None:
    with pytest.raises(Refused, match="already exists"):
        vocabulary.add_need(act(w.keeper), name="BLISTER", group="feet")
    caving = Activity.objects.get(key="caving")
    with pytest.raises(Refused):
        vocabulary.rename_activity(act(w.keeper), caving, name="Climbing")
    assert vocabulary.rename_activity(act(w.keeper), caving, name="Caving").name == "Caving"


def test_a_need_is_of_a_known_group(w: World) -> None:
    with pytest.raises(Invalid):
        vocabulary.add_need(act(w.keeper), name="Jellyfish", group="sea")


def test_an_item_serves_a_need_until_it_does_not(w: World) -> None:
    blister = Need.objects.get(key="blister")
    vocabulary.put_serves(act(w.keeper), w.dressing, blister)
    vocabulary.put_serves(act(w.adviser), w.dressing, blister, best=False, units_per_use=3)
    row = ItemNeed.objects.get(item=w.dressing)
    assert (row.best, row.units_per_use) == (False, 3)
    vocabulary.remove_serves(act(w.keeper), w.dressing, blister)
    with pytest.raises(NotFound):
        vocabulary.remove_serves(act(w.keeper), w.dressing, blister)


@pytest.mark.parametrize("units", [0, 17])
def test_a_use_takes_from_one_to_sixteen_units(w: World, units: int) -> None:
    with pytest.raises(Invalid):
        vocabulary.put_serves(
            act(w.keeper), w.dressing, Need.objects.get(key="blister"), units_per_use=units
        )


def test_a_retired_need_is_not_served_nor_planned_with(w: World) -> None:
    serve(w)
    past(w)
    small = Need.objects.get(key="small-wound")
    small = vocabulary.retire(act(w.keeper), small)
    assert small.pk not in rates.records().serves
    with pytest.raises(Invalid):
        vocabulary.put_serves(act(w.keeper), w.shears, small)


def test_a_hazard_asks_for_a_need_with_a_reason(w: World) -> None:
    blister = Need.objects.get(key="blister")
    vocabulary.put_hazard_need(act(w.keeper), "hill", blister, units=2, reason=" Long  days. ")
    row = HazardNeed.objects.get(hazard="hill", need=blister)
    assert (row.units, row.reason) == (2, "Long days.")
    for wrong in ({"units": 0, "reason": "x"}, {"reason": " "}):
        with pytest.raises(Invalid):
            vocabulary.put_hazard_need(act(w.keeper), "hill", blister, **wrong)
    with pytest.raises(Invalid):
        vocabulary.put_hazard_need(act(w.keeper), "sharks", blister, reason="x")
    vocabulary.remove_hazard_need(act(w.keeper), "hill", blister)
    with pytest.raises(NotFound):
        vocabulary.remove_hazard_need(act(w.keeper), "hill", blister)


def test_a_guide_edits_none_of_it(w: World) -> None:
    blister, caving = Need.objects.get(key="blister"), Activity.objects.get(key="caving")
    for edit in (
        lambda: vocabulary.add_need(act(w.guide), name="x", group="feet"),
        lambda: vocabulary.edit_need(act(w.guide), blister, name="x", group="feet"),
        lambda: vocabulary.add_activity(act(w.guide), name="x"),
        lambda: vocabulary.rename_activity(act(w.guide), caving, name="x"),
        lambda: vocabulary.retire(act(w.guide), blister),
        lambda: vocabulary.bring_back(act(w.guide), caving),
        lambda: vocabulary.put_serves(act(w.guide), w.dressing, blister),
        lambda: vocabulary.remove_serves(act(w.guide), w.dressing, blister),
        lambda: vocabulary.put_hazard_need(act(w.guide), "hill", blister, reason="x"),
        lambda: vocabulary.remove_hazard_need(act(w.guide), "hill", blister),
    ):
        with pytest.raises(NotAllowed):
            edit()
