"""Short at dawn: what is offered, who may let it go, and who is asked and told."""

from datetime import timedelta

import pytest

from gearroom.core.acts import NotAllowed, Refused
from kits.models import Checkout, Item, Kit, Notice, Reservation, WithheldKind
from kits.rules.ledger.facts import Criticality, Level, Word
from kits.services.custody import custody, offers
from kits.services.kits import holds
from kits.services.ledger import audit, verdicts
from kits.services.ledger.levels import LooseLevel
from kits.services.recalls import recalls
from kits.services.restocking import adding, sorting
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.kits.custody.short_kits import lacking, offered, out, refused
from tests.labels.scan import scanned

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> make.World:
    return make.world()


# ------------------------------------------------------------------------------ what is offered
def test_a_short_kit_offers_the_shelf_then_another_then_going_short(school: make.World) -> None:
    kit, sling = lacking(school)
    other = make.kit("ROPE-02", kit.list_version, school.store)
    shelf = make.shelf(school.store, "B3")
    make.some(sling, shelf, 9, "S", make.days(300))
    make.put_in(other, sling.lots.get(), shelf, 3)
    sorting.look_inside(make.act(), other)

    problem = refused(school, kit)

    assert problem.code == "short-needs-a-reason"
    assert [row["says"] for row in problem.facts["offers"]] == [
        "Add 3 × Sling from shelf B3",
        "Take ROPE-02: Ready",
        "Take the kit out although it is not ready, and give a reason",
    ]
    add, take, short = problem.facts["offers"]
    line = kit.list_version.sections.get().lines.get()
    assert add["fields"] == {"line": line.pk, "through": problem.facts["through"]}
    assert (take["kit"], take["fields"]) == ("ROPE-02", {"person": str(school.guide.pk)})
    assert short["needs"] == ["short_reason"]


def test_what_is_offered_settles_it(school: make.World) -> None:
    kit, sling = lacking(school)
    make.some(sling, school.shelf, 2, "S", make.days(300))
    make.some(sling, school.shelf, 5, "SOON", make.days(300))
    (add, *_rest) = refused(school, kit).facts["offers"]

    adding.add(make.act(school.guide), kit, add["fields"]["line"])

    assert out(school, kit).verdict.word is Word.READY
    assert list(audit.findings()) == []


def test_adding_is_no_check_of_the_kit_and_ends_no_sorting(school: make.World) -> None:
    kit, sling = lacking(school)
    make.some(sling, school.shelf, 5, "S", make.days(300))
    custody.check_in(make.act(school.guide), kit)
    before = make.fresh(kit)
    line = kit.list_version.sections.get().lines.get()

    adding.add(make.act(school.guide), kit, line.pk)

    kit = make.fresh(kit)
    assert kit.to_sort_since == before.to_sort_since
    assert kit.looked_inside_by == before.looked_inside_by
    assert list(audit.findings()) == []


def test_a_box_that_nobody_counts_is_filled_up_from_its_shelf(school: make.World) -> None:
    wipes = make.item("Wipes", by_eye=True, needs_date=False)
    version = make.kit_list(
        "Wipes", {"main": [(wipes, 1, 1, Criticality.ROUTINE)]}, signed_by=school.adviser
    )
    kit = make.kit("WIPE-01", version, school.store)
    sorting.look_inside(make.act(), kit, levels=[LooseLevel(make.section(kit), wipes, Level.EMPTY)])
    make.some(wipes, school.shelf, 3)

    (add, *_rest) = refused(school, kit).facts["offers"]
    assert add["says"] == "Top up Wipes from shelf C2"
    adding.add(make.act(school.guide), kit, add["fields"]["line"])

    assert out(school, kit).verdict.word is Word.READY


def test_what_no_shelf_here_has_is_not_offered_and_not_added(school: make.World) -> None:
    kit, sling = lacking(school)
    make.some(sling, school.hut_shelf, 5, "S", make.days(300))
    line = kit.list_version.sections.get().lines.get()

    assert "add" not in offered(refused(school, kit))
    with pytest.raises(Refused) as problem:
        adding.add(make.act(school.guide), kit, line.pk)

    assert problem.value.code == "nothing-to-add"


@pytest.mark.parametrize("why", ["promised", "out", "other room", "other list", "not fit"])
def test_a_kit_that_is_not_free_or_not_fit_is_not_offered(school: make.World, why: str) -> None:
    kit, sling = lacking(school)
    follows = kit.list_version
    if why == "other list":
        follows = make.kit_list("Other", {"main": [(sling, 1, 1, Criticality.ROUTINE)]})
    at = school.hut if why == "other room" else school.store
    shelf = school.hut_shelf if why == "other room" else school.shelf
    other = make.kit("ROPE-02", follows, at)
    lot = make.some(sling, shelf, 3, "S", make.days(300))
    if why != "not fit":
        make.put_in(other, lot, shelf, 3)
    sorting.look_inside(make.act(), other)
    if why == "promised":
        trip = make.trip("Crag walk", school.store, 0, 1)
        reservations.reserve(make.act(), make.fresh(other), trip)
    if why == "out":
        custody.check_out(make.act(), make.fresh(other), person=school.instructor)

    assert "take-other" not in offered(refused(school, kit))


def test_a_kit_left_for_sorting_offers_a_check_first(school: make.World) -> None:
    custody.check_in(make.act(school.guide), school.day_01)

    problem = refused(school, school.day_01)

    assert problem.code == "not-fit"
    assert problem.facts["offers"][0]["do"] == "look-inside"
    assert "clear-by-phone" not in offered(problem)


@pytest.mark.parametrize("stop", ["on hold", "recalled"])
def test_whatever_else_stops_it_only_another_kit_is_offered(school: make.World, stop: str) -> None:
    other: Kit | None = scanned.filled("DAY-03", school)
    if stop == "on hold":
        holds.withhold(make.act(school.keeper), school.day_01, WithheldKind.DRYING)
    else:
        recalls.start(
            make.act(school.keeper),
            item=school.dressing,
            scope="number",
            number="D1",
            reference="R",
        )
        other = None

    problem = refused(school, school.day_01)

    assert offered(problem) == (["take-other"] if other else [])
    with pytest.raises(Refused):
        out(school, school.day_01, cleared_by=school.keeper, short_reason="it must")


def test_readiness_by_the_api_carries_the_same_offers(school: make.World) -> None:
    kit, _sling = lacking(school)

    answer = make.caller(school.guide).get(f"kits/{kit.name}/readiness/").json()

    assert [row["do"] for row in answer["offers"]] == ["go-short"]
    assert make.caller(school.guide).get("kits/DAY-01/readiness/").json()["offers"] == []


def test_the_api_adds_what_one_line_lacks(school: make.World) -> None:
    kit, sling = lacking(school)
    make.some(sling, school.shelf, 5, "S", make.days(300))
    call = make.caller(school.guide)
    answer = call.post(f"kits/{kit.name}/check-out/", {"person": str(school.guide.pk)})
    (add, *_rest) = answer.json()["offers"]

    done = call.post(f"kits/{add['kit']}/restock/", add["fields"])

    assert (done.status_code, done.json()["units_put_in"]) == (201, 3)


def another_full(school: make.World, name: str, kit: Kit, sling: Item) -> Kit:
    other = make.kit(name, kit.list_version, school.store)
    make.put_in(other, make.some(sling, school.shelf, 3, "S", make.days(300)), school.shelf, 3)
    sorting.look_inside(make.act(), other)
    return make.fresh(other)


def test_another_kit_that_the_api_offers_is_taken_by_what_the_offer_says(
    school: make.World,
) -> None:
    kit, sling = lacking(school)
    full = another_full(school, "ROPE-00", kit, sling)
    other = another_full(school, "ROPE-02", kit, sling)
    trip = make.trip("Crag walk", school.store)
    for each in (full, kit):
        reservations.reserve(make.act(), each, trip)
    call = make.caller(school.guide)
    body = {"trip": str(trip.pk), "person": str(school.guide.pk)}
    answer = call.post(f"kits/{kit.name}/check-out/", body).json()
    (take,) = [row for row in answer["offers"] if row["do"] == "take-other"]

    done = call.post(f"kits/{take['kit']}/check-out/", take["fields"])

    assert (take["kit"], done.status_code) == ("ROPE-02", 201)
    held = Checkout.objects.get()
    assert (held.kit, held.trip) == (other, trip)
    promised = Reservation.objects.promised().filter(trip=trip)
    assert {row.kit for row in promised} == {full, other}, "the short one is promised no more"


def test_another_kit_for_no_trip_swaps_nothing(school: make.World) -> None:
    kit, sling = lacking(school)
    another_full(school, "ROPE-02", kit, sling)

    (take,) = [row for row in refused(school, kit).facts["offers"] if row["do"] == "take-other"]

    assert take["fields"] == {"person": str(school.guide.pk)}


# ------------------------------------------------------------------------------------ going short
def test_a_guide_lets_it_go_on_a_routine_line_and_its_people_are_told_once(
    school: make.World,
) -> None:
    kit, _sling = lacking(school)

    out(school, kit, short_reason="two of us carry one")
    custody.check_in(make.act(school.guide), kit)
    sorting.look_inside(make.act(school.guide), kit)
    out(school, kit, short_reason="again")

    told = Notice.objects.filter(kind="went-short")
    assert {n.person for n in told} == {school.keeper, school.instructor}
    assert told.count() == 2
    assert Checkout.objects.latest("id").short_reason == "again"


def test_after_something_was_put_in_the_same_lack_is_told_anew(school: make.World) -> None:
    kit, sling = lacking(school)
    out(school, kit, short_reason="we go light")
    custody.check_in(make.act(school.guide), kit)
    lot = make.some(sling, school.shelf, 1, "S", make.days(300))
    make.put_in(make.fresh(kit), lot, school.shelf, 1)

    out(school, kit, short_reason="still")

    assert Notice.objects.filter(kind="went-short", person=school.keeper).count() == 2


def test_on_an_important_line_a_guide_does_not_unless_the_room_says_so(school: make.World) -> None:
    kit, _sling = lacking(school, Criticality.IMPORTANT)
    assert offered(refused(school, kit)) == ["clear-by-phone"]
    with pytest.raises(NotAllowed):
        out(school, kit, short_reason="two of us carry one")

    school.store.guides_decide_important = True
    school.store.save()

    assert offered(refused(school, kit)) == ["go-short"]
    assert out(school, kit, short_reason="two of us carry one").checkout


def test_a_keeper_lets_it_go_on_an_important_line_and_is_not_told_of_it_themselves(
    school: make.World,
) -> None:
    kit, _sling = lacking(school, Criticality.IMPORTANT)

    out(school, kit, school.keeper, short_reason="seen to")

    assert {n.person for n in Notice.objects.filter(kind="went-short")} == {school.instructor}


def test_what_nobody_checked_lately_is_no_line_and_a_guide_is_offered_a_check(
    school: make.World,
) -> None:
    kit = scanned.filled("DAY-03", school)
    Kit.objects.filter(pk=kit.pk).update(look_interval_days=1)
    later = make.days(0) + timedelta(days=3)

    verdict = verdicts.verdict(make.fresh(kit), later)

    assert verdict.word is Word.SHORT
    found = offers.offers(make.actor(school.guide), make.fresh(kit), verdict)
    assert [row.do for row in found] == ["look-inside", "take-other", "clear-by-phone"]
