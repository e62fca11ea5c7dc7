"""Clumsy and unlucky asking: pouches, training kits, odd days and names, who sees phones."""

import pytest

from kits.models import AsFound, Holding, Kit, PlaceKind
from kits.services.custody import custody
from kits.services.kits import holds
from kits.services.ledger.book import room_place
from kits.services.ledger.undo import reversal
from kits.services.lookup import holders, promises
from kits.services.restocking import borrowing, sealing, sorting
from kits.services.restocking.borrowing import BorrowLine
from kits.services.restocking.sorting import PutIn
from kits.services.stock import counting, moving
from kits.services.trips import reservations
from tests.core.api.made import is_problem
from tests.kits import factories as make
from tests.kits.factories import act, fresh, section, trip, world
from tests.kits.problems import refused
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> make.World:
    return world()


def training_kit(school: make.World) -> Kit:
    kit = make.kit("TRAIN-1", school.version, school.store, training=True)
    extra = [PutIn(school.lots["d2"], school.upper, section(kit), 3)]
    sorting.restock(act(school.keeper), kit, as_listed=False, extra=extra)
    return kit


def on_shelves() -> int:
    held = Holding.objects.filter(place__kind=PlaceKind.SHELF)
    return sum(held.values_list("units", flat=True))


# ------------------------------------------------------------------------------------ pouches
def test_a_pouch_of_a_kit_that_somebody_has_is_not_given_to_another(school: make.World) -> None:
    custody.check_out(act(school.keeper), school.day_01, person=school.instructor)
    pouch = section(school.day_01, "pouch")

    with refused("kit-is-out") as problem:
        custody.check_out(act(school.keeper), school.day_01, person=school.guide, section=pouch)
    assert problem.value.facts["person_name"] == "Ines"

    gone = custody.check_out(
        act(school.keeper), school.day_01, person=school.guide, section=pouch, already_gone=True
    )
    assert "was-out" in gone.entry.irregular
    assert present(holders.open_checkout(school.day_01)).person == school.instructor


def test_a_kit_is_not_laid_up_while_a_pouch_of_it_is_out(school: make.World) -> None:
    pouch = section(school.day_01, "pouch")
    custody.check_out(act(school.keeper), school.day_01, person=school.guide, section=pouch)

    with refused("kit-is-out") as problem:
        holds.lay_up(act(school.keeper), school.day_01)

    assert pouch.name in problem.value.detail


def test_a_pouch_that_went_ahead_leaves_the_kit_reserved_for_its_trip(school: make.World) -> None:
    walk = trip("Ridge walk", school.store, 0, 0, leader=school.guide)
    reservations.reserve(act(school.keeper), school.day_01, walk)
    pouch = section(school.day_01, "pouch")
    custody.check_out(
        act(school.keeper), school.day_01, person=school.guide, section=pouch, already_gone=True
    )

    assert promises.next_trip(school.day_01) == walk


def test_a_kit_taken_out_by_mistake_is_promised_again_though_another_went_on_the_trip(
    school: make.World,
) -> None:
    walk = trip("Ridge walk", school.store, 0, 0, leader=school.guide)
    reservations.reserve(act(school.keeper), school.day_01, walk)
    reservations.reserve(act(school.keeper), school.day_02, walk)
    mistaken = custody.check_out(act(school.keeper), school.day_01, already_gone=True)
    custody.check_out(act(school.keeper), school.day_02, already_gone=True)

    reversal.reverse(act(school.keeper), mistaken.entry.pk)

    assert promises.next_trip(school.day_01) == walk


def test_a_short_seal_number_read_in_full_is_the_one_on_record(school: make.World) -> None:
    sealing.reseal(act(school.keeper), school.day_01, "7")

    back = custody.check_in(
        act(school.keeper), school.day_01, as_found=AsFound.SEALED, seal_seen="7"
    )

    assert back.as_found == AsFound.SEALED


# ------------------------------------------------------------------------------ training stock
def test_what_is_in_a_training_kit_goes_into_no_other(school: make.World) -> None:
    kit, lot = training_kit(school), school.lots["d2"]
    line = BorrowLine(lot, section(kit), section(school.day_01), 1)

    with refused("training-stock"):
        borrowing.borrow(act(school.keeper), kit, school.day_01, [line])

    other = make.kit("TRAIN-2", school.version, school.store, training=True)
    line = BorrowLine(lot, section(kit), section(other), 1)
    borrowing.borrow(act(school.keeper), kit, other, [line])


def test_what_is_in_a_training_kit_never_goes_back_on_a_shelf(school: make.World) -> None:
    kit, lot = training_kit(school), school.lots["d2"]
    box = room_place(school.store, PlaceKind.TRAINING)

    with refused("training-never-back"):
        moving.move(act(school.keeper), lot=lot, units=1, source=section(kit), target=school.shelf)
    moving.move(act(school.keeper), lot=lot, units=1, source=section(kit), target=box)

    assert make.units(lot, box) == 1


def test_restocking_a_training_kit_puts_nothing_of_it_back_on_a_shelf(school: make.World) -> None:
    kit = training_kit(school)
    soon = make.some(school.dressing, school.shelf, 6, "D0", make.days(10))
    make.put_in(kit, soon, school.shelf, 6)
    shelved = on_shelves()

    done = sorting.restock(act(school.keeper), kit, through=make.days(60))

    assert all(leg.target.kind != PlaceKind.SHELF for leg in done.taken_out)
    assert on_shelves() <= shelved


# -------------------------------------------------------------------------------- odd requests
@pytest.mark.parametrize(
    "on",
    [
        "0001-01-01",
        "9999-12-31",
        "0001-01-01T00:00:00%2B14:00",
        "9999-12-31T23:59:59-14:00",
    ],
)
def test_contents_on_a_day_beyond_the_calendar_are_refused(school: make.World, on: str) -> None:
    answer = make.caller(school.keeper).get(f"kits/DAY-01/contents/?on={on}")

    assert is_problem(answer, 400, "invalid-request")


@pytest.mark.parametrize("name", [".", "..", "-", "…"])
def test_a_kit_has_a_name_that_an_address_can_carry(school: make.World, name: str) -> None:
    answer = make.caller(school.keeper).post(
        "kits/",
        {
            "name": name,
            "home_room": "main-store",
            "packing_list": school.version.packing_list_id,
            "version": 1,
        },
    )

    assert is_problem(answer, 422, "cannot-be-right")
    assert not Kit.objects.filter(name=name).exists()


def test_what_is_not_there_is_not_said_back_at_length(school: make.World) -> None:
    answer = make.caller(school.keeper).get(f"kits/{'x' * 400}%0A{'y' * 400}/")

    told = answer.json()
    assert answer.status_code == 404
    assert len(told["detail"]) < 150
    assert told["detail"].isprintable()


def test_one_act_has_no_more_lines_than_it_can_write_while_others_wait(school: make.World) -> None:
    answer = make.caller(school.guide).post(
        "kits/DAY-01/use/", {"used": [{"item": school.dressing.pk, "units": 1}] * 201}
    )

    assert is_problem(answer, 400, "invalid-request")
    assert fresh(school.day_01).entries.filter(kind="use").count() == 0


# --------------------------------------------------------------------------------------- phones
def test_only_who_may_see_people_is_told_phones_when_kits_change_hands(school: make.World) -> None:
    make.Person.objects.filter(pk=school.guide.pk).update(phone="0700 900 111")
    custody.check_out(act(school.keeper), school.day_01, person=school.guide)

    told = make.caller(school.keeper).post(
        "kits/DAY-01/check-out/", {"person": str(school.keeper.pk)}
    )
    assert told.json()["phone"] == "0700 900 111"
    back = make.caller(school.adviser).post("kits/DAY-01/check-in/", {}).json()
    assert back["checkout"]["person"]["name"] == "Gil"
    assert back["checkout"]["person"]["phone"] == ""


def test_who_hands_in_another_rooms_kit_is_not_told_who_had_it(school: make.World) -> None:
    make.Person.objects.filter(pk=school.guide.pk).update(phone="0700 900 111")
    custody.check_out(act(school.keeper), school.day_01, person=school.guide)

    back = make.caller(school.stranger).post("kits/DAY-01/check-in/", {})

    assert back.status_code == 200
    assert back.json()["checkout"] is None
    assert b"0700" not in back.content
    assert b"Gil" not in back.content
    assert not holders.open_checkout(school.day_01)


def test_a_scan_tells_phones_only_to_who_may_see_people(school: make.World) -> None:
    make.Person.objects.filter(pk=school.guide.pk).update(phone="0700 900 111")
    custody.check_out(act(school.keeper), school.day_01, person=school.guide)
    asked = {"text": "DAY-01", "intent": "identify"}

    phones = [
        make.caller(who).post("scans/", asked).json()["outcomes"][0]["kit"]["has_it_phone"]
        for who in (school.keeper, school.adviser)
    ]

    assert phones == ["0700 900 111", ""]


# ---------------------------------------------------------------------------------- sorting
def test_a_kit_is_restocked_from_shelves_of_the_room_it_is_in(school: make.World) -> None:
    there = make.some(school.dressing, school.hut_shelf, 5, "D9", make.days(500))
    line = PutIn(there, school.hut_shelf, section(school.day_01), 1)

    with refused("invalid-request", 400):
        sorting.restock(act(), school.day_01, as_listed=False, extra=[line])

    assert make.units(there, school.hut_shelf) == 5


def test_a_kit_is_not_restocked_to_last_through_a_day_that_is_past(school: make.World) -> None:
    call = make.caller(school.keeper)
    gone = make.days(-1).isoformat()

    is_problem(call.get(f"kits/DAY-01/restock/?through={gone}"), 422, "cannot-be-right")
    is_problem(call.post("kits/DAY-01/restock/", {"through": gone}), 422, "cannot-be-right")


def test_one_instrument_is_never_counted_twice(school: make.World) -> None:
    two = [counting.CountLine(section(school.day_01), 2, lot=school.lots["gauge"])]

    with refused("invalid-request", 400):
        counting.count(act(school.keeper), [section(school.day_01)], two, complete=False)
