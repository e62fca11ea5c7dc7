"""A short kit at the hatch: what is offered on a scan of it, done by scans alone."""

import pytest

from kits.models import Checkout, Clearance, Item, Kit, Reservation
from kits.rules.ledger.facts import Criticality
from kits.services.restocking import sorting
from kits.services.trips import reservations
from labels.rules.codes.scans import Intent
from tests.kits import factories as make
from tests.labels.scan import scanned as at

pytestmark = pytest.mark.django_db


@pytest.fixture
def labels() -> at.Labelled:
    return at.labelled()


def lacking(labels: at.Labelled, priority: Criticality = Criticality.ROUTINE) -> tuple[Kit, Item]:
    """A kit that carries no sling, of which its list asks for two; and the sling."""
    world, sling = labels.world, make.item("Sling")
    version = make.kit_list("Rope", {"main": [(sling, 3, 2, priority)]}, signed_by=world.adviser)
    kit = make.kit("ROPE-01", version, world.store, responsible=world.instructor)
    sorting.look_inside(make.act(), kit)
    return make.fresh(kit), sling


def full(labels: at.Labelled, name: str, kit: Kit, sling: Item) -> Kit:
    """Another kit of the same list, ready."""
    other = make.kit(name, kit.list_version, labels.world.store)
    shelf = make.shelf(labels.world.store, f"S-{name}")
    make.put_in(other, make.some(sling, shelf, 3, f"N-{name}", make.days(300)), shelf, 3)
    sorting.look_inside(make.act(), other)
    return make.fresh(other)


def test_it_is_added_to_by_one_tap_and_then_goes(labels: at.Labelled) -> None:
    kit, sling = lacking(labels)
    world = labels.world
    make.some(sling, world.shelf, 5, "S", make.days(300))

    add = at.one(world.guide, kit.name).next[0]
    assert add.says == "Add 3 × Sling from shelf C2"
    done = at.one(
        world.guide,
        add.fields["text"],
        Intent(add.fields["intent"]),
        line=add.fields["line"],
    )

    assert (done.outcome, done.says) == ("added", "ROPE-01: 3 added. Ready.")
    assert done.next[0].says == "Take it out"
    assert at.one(world.guide, kit.name, Intent.CHECK_OUT, holder=world.guide).entry


def test_another_one_is_taken_in_its_place_and_the_promise_goes_along(labels: at.Labelled) -> None:
    kit, sling = lacking(labels)
    world = labels.world
    other = full(labels, "ROPE-02", kit, sling)
    trip = make.trip("Crag walk", world.store, leader=world.guide)
    reservations.reserve(make.act(), kit, trip)

    refused = at.one(world.guide, kit.name, Intent.CHECK_OUT, holder=world.guide)
    take = refused.next[0]
    assert take.says == "Take ROPE-02: Ready"
    done = at.one(
        world.guide,
        take.fields["text"],
        Intent.CHECK_OUT,
        holder=world.guide,
        trip=trip,
        swap=take.fields["swap"],
    )

    assert done.outcome == "taken-out"
    checkout = Checkout.objects.get(in_at=None)
    assert (checkout.kit, checkout.trip) == (other, trip)
    assert Reservation.objects.get(trip=trip, released=None).kit == other


def test_a_must_have_is_cleared_by_phone_and_goes(labels: at.Labelled) -> None:
    kit, _sling = lacking(labels, Criticality.MUST_HAVE)
    world = labels.world

    refused = at.one(world.guide, kit.name, Intent.CHECK_OUT, holder=world.guide)
    assert [step.do for step in refused.next] == ["check-out", "restock", "check-out"]
    clear, _lacks, rescue = refused.next
    assert (clear.needs, rescue.fields["emergency"]) == (("cleared_by",), True)
    assert {each["name"] for each in clear.people} == {"Ada", "Ines", "Kim"}
    done = at.one(
        world.guide, kit.name, Intent.CHECK_OUT, holder=world.guide, cleared_by=world.keeper
    )

    assert done.outcome == "taken-out"
    assert "Approved by Kim, who has been asked to confirm this." in done.says
    assert Clearance.objects.get().person == world.keeper


def test_the_door_does_the_same(labels: at.Labelled) -> None:
    kit, sling = lacking(labels)
    world = labels.world
    make.some(sling, world.shelf, 5, "S", make.days(300))
    call = make.caller(world.guide)

    seen = call.post("scans/", {"text": kit.name}).json()
    step = seen["outcomes"][0]["next"][0]
    assert (step["url"], step["people"]) == ("/api/v1/scans/", [])
    added = call.post("scans/", step["fields"])

    assert added.status_code == 201
    assert added.json()["outcomes"][0]["outcome"] == "added"
