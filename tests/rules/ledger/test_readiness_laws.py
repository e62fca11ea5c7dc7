"""What always holds of a kit's readiness, whatever it holds."""

from dataclasses import replace
from datetime import date

from hypothesis import given, strategies as st

from kits.rules.ledger.facts import Batch, KitState, Line, Units, Weight, Word
from kits.rules.ledger.readiness import fit_days, judge
from tests.rules.kit_facts import NEAR, TODAY, kits, line_lists
from tests.rules.ledger.kits_of import DAY, FAR, days, kit_of, some, worst


@given(kits(), NEAR, NEAR, NEAR)
def test_a_verdict_only_worsens_with_the_day(
    kit: KitState, one: date, other: date, today: date
) -> None:
    sooner, later = sorted((one, other))
    assert worst(judge(kit, sooner, today)) <= worst(judge(kit, later, today))


@given(kits(), NEAR, NEAR, st.data())
def test_good_units_more_never_make_it_worse(
    kit: KitState, through: date, today: date, data: st.DataObject
) -> None:
    lines = [line for line in kit.lines if not line.thing.by_eye]
    if not lines:
        return
    line = data.draw(st.sampled_from(lines))
    thing = replace(line.thing, min_temp_c=None)
    good = Batch(0, thing, expiry=FAR if thing.needs_date else None, check_passed=True)
    count = data.draw(st.integers(1, 4))
    more = replace(kit, units=(*kit.units, Units(good, line.section, count)))
    assert worst(judge(more, through, today)) <= worst(judge(kit, through, today))


@given(kits(), NEAR)
def test_its_last_fit_days_are_those_found_by_judging_every_day(kit: KitState, today: date) -> None:
    near = [today + n * DAY for n in range(30)]
    verdicts = [judge(kit, day, today) for day in (*near, date.max)]
    for until, holds in zip(
        days(kit, today),
        (
            [v.word is Word.READY for v in verdicts],
            [v.fit for v in verdicts],
            [v.may_go for v in verdicts],
        ),
        strict=True,
    ):
        assert holds == [until is not None and v.through <= until for v in verdicts]


@given(kits(), NEAR)
def test_what_is_stored_does_not_depend_on_today(kit: KitState, today: date) -> None:
    stored = fit_days(kit)
    verdict = judge(kit, today, today)
    clear = today <= stored.clear_until
    ready = clear and stored.ready_until is not None and today <= stored.ready_until
    assert (verdict.word is Word.READY) == ready
    assert verdict.fit == (clear and stored.fit_until is not None and today <= stored.fit_until)
    assert verdict.may_go == (
        clear and stored.may_go_until is not None and today <= stored.may_go_until
    )


@given(kits(), NEAR, NEAR)
def test_the_worst_reason_comes_first_and_each_weighs_what_it_says(
    kit: KitState, through: date, today: date
) -> None:
    verdict = judge(kit, through, today)
    weights = [reason.weight for reason in verdict.reasons]
    assert weights == sorted(weights, reverse=True)
    assert verdict.fit == (kit.contents_entered and worst(verdict) <= Weight.LOW)
    assert verdict.may_go == (worst(verdict) <= Weight.SHORT)
    assert all(r.weight is Weight.STOPS for r in verdict.reasons if r.by_phone)
    assert len({reason.facts["line"] for reason in verdict.reasons if reason.code == "short"}) == (
        sum(reason.code == "short" for reason in verdict.reasons)
    )


@given(line_lists())
def test_a_kit_filled_as_its_list_says_is_fit(lines: tuple[Line, ...]) -> None:
    full = tuple(
        some(line.thing, line.carry, place=line.section, check_passed=True) for line in lines
    )
    verdict = judge(kit_of(*full, lines=lines), TODAY, TODAY)
    assert [reason.code for reason in verdict.reasons] == ([] if lines else ["list-empty"])
