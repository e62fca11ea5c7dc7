"""Sealing says what is not replaced, and ends no sorting that nobody did."""

import uuid
from datetime import datetime, timedelta
from typing import Any

import pytest

from gearroom.core import clock
from gearroom.core.acts import Refused
from kits.models import AsFound, Closing, Entry, EntryKind, Kit, Lot, PlaceKind, Seal
from kits.rules.ledger.facts import Level, Word
from kits.services.custody import custody, use
from kits.services.custody.use import UseLine
from kits.services.ledger import audit, kit_state, verdicts
from kits.services.ledger.levels import LooseLevel
from kits.services.ledger.undo import reversal
from kits.services.restocking import borrowing, sealing, sorting
from kits.services.restocking.borrowing import BorrowLine
from kits.services.stock import counting
from kits.services.stock.counting import CountLine
from tests.kits import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def school() -> make.World:
    return make.world()


def opened_and_used(school: make.World, units: int = 4) -> Kit:
    """DAY-01 comes back opened, with so many dressings used."""
    custody.check_in(make.act(school.guide), school.day_01, used=[UseLine(school.dressing, units)])
    return make.fresh(school.day_01)


def sealed(school: make.World, kit: Kit, **more: Any) -> Seal:
    return sealing.reseal(make.act(school.guide), kit, "0417", **more)


def word(kit: Kit) -> Word:
    return verdicts.verdict(make.fresh(kit), make.days(0)).word


def counted_whole(school: make.World, kit: Kit) -> counting.CountResult:
    """Everything in the kit is counted and found as the book has it."""
    sections = list(kit.sections.filter(kind=PlaceKind.SECTION))
    found = [
        CountLine(section, holding.units, lot=holding.lot)
        for section in sections
        for holding in section.holdings.filter(units__gt=0).select_related("lot__item")
    ]
    return counting.count(make.act(school.guide), sections, found)


# --------------------------------------------------------------------------- what is not replaced
def test_sealing_with_things_not_replaced_asks_first_and_names_them(school: make.World) -> None:
    kit = opened_and_used(school)

    with pytest.raises(Refused) as refused:
        sealed(school, kit)

    assert refused.value.code == "not-replaced"
    assert refused.value.facts["count"] == 4
    (line,) = refused.value.facts["lines"]
    assert (line["item"], line["units"], line["section"]) == (school.dressing.pk, 4, "main")
    assert line["text"] == "4 × Wound dressing 10 × 12 not replaced"
    assert not Seal.objects.exists()


def test_sealed_anyway_it_is_what_its_contents_make_it_and_still_needs_sorting(
    school: make.World,
) -> None:
    kit = opened_and_used(school)

    seal = sealed(school, kit, anyway=True)

    assert seal.put_on.detail["not_replaced"] == {str(school.dressing.pk): 4}
    assert word(kit) is Word.DO_NOT_TAKE
    assert make.fresh(kit).to_sort_since is not None
    assert sorting.restock_list(make.fresh(kit)).list.put_in
    assert list(audit.findings()) == []


def test_a_box_seen_low_is_not_replaced_either(school: make.World) -> None:
    use.log_use(
        make.act(school.guide),
        school.day_01,
        [],
        levels=[LooseLevel(make.section(school.day_01), school.plasters, Level.LOW)],
    )

    with pytest.raises(Refused) as refused:
        sealed(school, school.day_01)

    (line,) = refused.value.facts["lines"]
    assert (line["units"], line["text"]) == (1, "Plasters: low")
    sealed(school, school.day_01, anyway=True)
    assert word(school.day_01) is Word.LOW


def test_what_must_come_out_is_said_at_sealing(school: make.World) -> None:
    Lot.objects.filter(pk=school.lots["tablets"].pk).update(expiry=make.days(-1))

    with pytest.raises(Refused) as refused:
        sealed(school, school.day_01)

    texts = [line["text"] for line in refused.value.facts["lines"]]
    assert "8 × Pain tablets must be removed" in texts


def test_a_pouch_is_asked_only_for_what_goes_into_it(school: make.World) -> None:
    kit = opened_and_used(school)

    sealed(school, kit, section=make.section(kit, "pouch"))

    with pytest.raises(Refused):
        sealing.reseal(make.act(school.guide), kit, "9", section=make.section(kit, "main"))


def test_nothing_is_asked_of_a_full_kit_and_of_one_that_nobody_entered(school: make.World) -> None:
    blank = make.kit("DAY-03", school.version, school.store, entered=False)

    sealed(school, school.day_01)
    sealing.reseal(make.act(school.guide), blank, "0418")

    assert Seal.objects.count() == 2


# ------------------------------------------------------------------------- what ends the sorting
def test_a_seal_alone_ends_no_sorting_and_is_no_check_of_the_contents(school: make.World) -> None:
    looked = make.fresh(school.day_01).looked_inside_by
    custody.check_in(make.act(school.guide), school.day_01, as_found=AsFound.SORT_LATER)

    sealed(school, school.day_01)

    kit = make.fresh(school.day_01)
    assert kit.to_sort_since is not None
    assert kit.looked_inside_by == looked
    assert word(kit) is Word.DO_NOT_TAKE
    assert list(audit.findings()) == []


@pytest.mark.parametrize("check", ["look", "restock", "count"])
def test_checking_restocking_and_counting_end_it_and_are_a_check(
    school: make.World, check: str
) -> None:
    custody.check_in(make.act(school.guide), school.day_01, as_found=AsFound.SORT_LATER)

    if check == "look":
        sorting.look_inside(make.act(school.guide), school.day_01)
    elif check == "restock":
        sorting.restock(make.act(school.guide), school.day_01)
    else:
        counted_whole(school, school.day_01)

    kit = make.fresh(school.day_01)
    assert kit.to_sort_since is None
    assert (kit.looked_inside_on, kit.looked_inside_by) == (make.days(0), school.guide)
    assert list(audit.findings()) == []


def test_a_count_of_one_pouch_is_no_check_of_the_kit(school: make.World) -> None:
    custody.check_in(make.act(school.guide), school.day_01, as_found=AsFound.SORT_LATER)
    pouch = make.section(school.day_01, "pouch")

    counting.count(
        make.act(school.guide), [pouch], [CountLine(pouch, 8, lot=school.lots["tablets"])]
    )

    kit = make.fresh(school.day_01)
    assert kit.to_sort_since is not None
    assert kit.looked_inside_by != school.guide


def test_a_count_that_is_taken_back_leaves_it_to_be_sorted(school: make.World) -> None:
    custody.check_in(make.act(school.guide), school.day_01, as_found=AsFound.SORT_LATER)
    since = make.fresh(school.day_01).to_sort_since
    count = counted_whole(school, school.day_01).entry

    reversal.reverse(make.act(school.keeper), count.pk)

    assert make.fresh(school.day_01).to_sort_since == since
    assert list(audit.findings()) == []


def test_a_seal_of_before_ended_the_sorting_and_still_does(school: make.World) -> None:
    """Entries that an earlier edition wrote keep what they meant."""
    custody.check_in(make.act(school.guide), school.day_01, as_found=AsFound.SORT_LATER)
    back = Entry.objects.get(kind=EntryKind.CHECK_IN)
    Entry.objects.create(
        kind=EntryKind.RESEAL,
        kit=school.day_01,
        key=uuid.uuid4(),
        occurred_at=back.occurred_at,
        recorded_at=back.recorded_at,
        detail={"number": "0001", "section": None},
    )

    assert kit_state.waiting(school.day_01).to_sort_since is None


# ------------------------------------------------------------------------- closed, nothing used
def test_closed_with_nothing_used_needs_no_sorting(school: make.World) -> None:
    custody.check_out(make.act(school.keeper), school.day_01, person=school.guide)

    back = custody.check_in(make.act(school.guide), school.day_01, as_found=AsFound.CLOSED)

    assert back.as_found == AsFound.CLOSED
    assert back.irregular == []
    assert make.fresh(school.day_01).to_sort_since is None
    assert word(school.day_01) is Word.READY
    assert list(audit.findings()) == []


def test_closed_with_something_used_was_opened(school: make.World) -> None:
    back = custody.check_in(
        make.act(school.guide),
        school.day_01,
        as_found=AsFound.CLOSED,
        used=[UseLine(school.dressing, 1)],
    )

    assert back.as_found == AsFound.OPENED


def test_closed_under_another_seal_was_opened(school: make.World) -> None:
    sealed(school, school.day_01)

    back = custody.check_in(
        make.act(school.guide), school.day_01, as_found=AsFound.CLOSED, seal_seen="999"
    )

    assert back.as_found == AsFound.OPENED
    assert "seal-not-the-one" in back.irregular


# --------------------------------------------------------------------- what a phone sends later
def sent(school: make.World, kit: Kit, number: str, at: datetime, **more: Any) -> Any:
    body = {"seal": number, "anyway": True, "occurred_at": at.isoformat(), **more}
    return make.caller(school.guide).post(f"kits/{kit.name}/reseal/", body)


def test_whether_it_closed_travels_with_a_seal_that_is_sent_later(school: make.World) -> None:
    at = clock.now()

    done = sent(school, school.day_01, "0417", at, closed=False, mass_g=2100)
    assert done.status_code == 201, done.json()
    assert sent(school, school.day_02, "0418", at).status_code == 201  # an older phone says nothing

    [closing] = Closing.objects.all()
    assert (closing.kit, closing.closed, closing.mass_g) == (school.day_01, False, 2100)
    assert closing.entry == Seal.objects.get(number="0417").put_on
    assert closing.entry.claimed_at == at


@pytest.mark.parametrize("since", ["looked", "sealed", "lent"])
def test_a_seal_of_before_the_latest_opening_is_not_what_is_on_the_kit(
    school: make.World, since: str
) -> None:
    at = clock.now() - timedelta(minutes=5)
    act, kit = make.act(school.keeper), school.day_01
    match since:
        case "looked":
            sorting.look_inside(act, kit)
        case "sealed":
            sealing.reseal(act, kit, "0420")
        case "lent":
            taken = BorrowLine(school.dressings, make.section(kit), make.section(school.day_02), 1)
            borrowing.borrow(act, kit, school.day_02, [taken])

    done = sent(school, kit, "0417", at)

    assert (done.status_code, done.json()["code"]) == (409, "opened-since")
    assert not Seal.objects.filter(number="0417").exists()
    assert sent(school, kit, "0417", clock.now()).status_code == 201
