"""Fit to go? Through which day, and every reason why not."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given, strategies as st

from kits.rules.ledger.facts import (
    Batch,
    Criticality,
    Kind,
    Level,
    Line,
    LivesIn,
    Thing,
    Units,
    Weight,
    Word,
)
from kits.rules.ledger.kit_contents import with_companions
from kits.rules.ledger.readiness import first_expiry, fit_days, judge
from kits.rules.ledger.reasons import ReasonCode
from tests.rules.kit_facts import PLASTERS, TODAY
from tests.rules.ledger.kits_of import (
    DAY,
    EYE_WASH,
    GAUZE,
    TABLET,
    TORCH,
    WIPE,
    codes,
    days,
    kit_of,
    only,
    some,
)

IMPORTANT, MUST_HAVE = Criticality.IMPORTANT, Criticality.MUST_HAVE


# ---- lines


@pytest.mark.parametrize(
    ("count", "criticality", "said"),
    [
        (5, Criticality.ROUTINE, []),
        (6, Criticality.MUST_HAVE, []),
        (4, Criticality.MUST_HAVE, [("low", Weight.LOW)]),
        (3, Criticality.MUST_HAVE, [("low", Weight.LOW)]),
        (2, Criticality.ROUTINE, [("short", Weight.SHORT)]),
        (2, Criticality.IMPORTANT, [("short", Weight.SHORT)]),
        (2, Criticality.MUST_HAVE, [("short", Weight.STOPS)]),
        (0, Criticality.MUST_HAVE, [("short", Weight.STOPS)]),
    ],
)
def test_a_line_is_full_low_or_short(
    count: int, criticality: Criticality, said: list[tuple[str, Weight]]
) -> None:
    lines = (Line(1, "front", GAUZE, carry=5, never_below=3, criticality=criticality),)
    assert codes(judge(kit_of(some(GAUZE, count), lines=lines), TODAY, TODAY)) == said


def test_what_went_out_of_date_is_told_with_batch_and_date_and_how_many_to_swap() -> None:
    lines = (Line(7, "front", EYE_WASH, carry=2, never_below=1, criticality=IMPORTANT),)
    old = Units(Batch(70, EYE_WASH, "B12", expiry=date(2027, 11, 30)), "front", 2)
    verdict = judge(kit_of(old, lines=lines), TODAY, TODAY)
    assert codes(verdict) == [("take-out", Weight.STOPS), ("short", Weight.SHORT)]
    lot = {"batch": 70, "lot": "B12", "count": 2, "fault": "expired", "date": date(2027, 11, 30)}
    assert only(verdict, ReasonCode.SHORT).facts == {
        "line": 7,
        "section": "front",
        "thing": "eye wash",
        "thing_id": 1,
        "criticality": "important",
        "carry": 2,
        "never_below": 1,
        "usable": 0,
        "shortfall": 2,
        "lacking": 1,
        "cause": "expired",
        "lots": (lot,),
    }
    facts = only(verdict, ReasonCode.TAKE_OUT).facts
    assert (facts["thing"], facts["count"], facts["lots"]) == ("eye wash", 2, (lot,))
    assert facts["line"] == 7


def test_what_expires_during_the_trip_does_not_count_but_need_not_come_out() -> None:
    lines = (Line(1, "front", GAUZE, carry=2, never_below=1),)
    kit = kit_of(some(GAUZE, 2, expiry=TODAY + DAY), lines=lines)
    assert judge(kit, TODAY + DAY, TODAY).reasons == ()
    verdict = judge(kit, TODAY + 2 * DAY, TODAY)
    assert codes(verdict) == [("short", Weight.SHORT)]
    assert only(verdict, ReasonCode.SHORT).facts["cause"] == "expired"


def test_a_full_line_does_not_clear_a_kit_with_an_expired_unit_inside() -> None:
    lines = (Line(1, "front", GAUZE, carry=2, never_below=1, criticality=IMPORTANT),)
    old = Units(Batch(9, GAUZE, expiry=TODAY - DAY), "front", 1)
    kit = kit_of(some(GAUZE, 2), old, lines=lines)
    assert codes(judge(kit, TODAY, TODAY)) == [("take-out", Weight.STOPS)]
    assert days(kit, TODAY) == (None, None, None)
    assert days(kit, TODAY - DAY)[0] == TODAY + 365 * DAY  # the next check of its contents


@pytest.mark.parametrize(
    ("thing", "priority", "always", "word"),
    [
        (WIPE, Criticality.ROUTINE, False, Word.READY),
        (WIPE, Criticality.ROUTINE, True, Word.DO_NOT_TAKE),
        (WIPE, Criticality.IMPORTANT, False, Word.DO_NOT_TAKE),
        (WIPE, Criticality.MUST_HAVE, False, Word.DO_NOT_TAKE),
        (TABLET, Criticality.ROUTINE, False, Word.DO_NOT_TAKE),
    ],
)
def test_what_is_out_of_date_stops_a_kit_only_where_it_matters(
    thing: Thing, priority: Criticality, always: bool, word: Word
) -> None:
    lines = (Line(1, "front", thing, carry=1, never_below=1, criticality=priority),)
    old = Units(Batch(9, thing, expiry=TODAY - DAY), "front", 2)
    kit = kit_of(some(thing, 1), old, lines=lines, expired_always_stops=always)
    verdict = judge(kit, TODAY, TODAY)
    assert verdict.word is word
    code = ReasonCode.TAKE_OUT if word is Word.DO_NOT_TAKE else ReasonCode.EXPIRED_INSIDE
    assert only(verdict, code).facts["count"] == 2
    assert first_expiry(kit) == TODAY - DAY


def test_an_opened_pack_past_its_life_is_out_of_date_whatever_is_printed_on_it() -> None:
    drops = Thing(12, "eye drops", kind=Kind.MEDICINE, opened_life_days=28)
    lines = (Line(1, "front", drops, carry=1, never_below=1),)
    kit = kit_of(some(drops, 1, opened_on=TODAY - 29 * DAY), lines=lines)
    verdict = judge(kit, TODAY, TODAY)
    assert only(verdict, ReasonCode.TAKE_OUT).facts["cause"] == ReasonCode.OPENED_TOO_LONG
    assert first_expiry(kit) == TODAY - DAY


def test_a_must_have_below_its_minimum_can_be_cleared_by_telephone_and_nothing_else_can() -> None:
    lines = (Line(1, "front", GAUZE, 2, 1, MUST_HAVE), Line(2, "front", WIPE, 2, 1))
    kit = kit_of(some(WIPE, 2), lines=lines)
    verdict = judge(kit, TODAY, TODAY)
    assert (verdict.word, verdict.by_phone) == (Word.DO_NOT_TAKE, True)
    lost = judge(replace(kit, lost=True), TODAY, TODAY)
    assert (lost.word, lost.by_phone) == (Word.DO_NOT_TAKE, False)
    ready = judge(kit_of(some(WIPE, 2), some(GAUZE, 2), lines=lines), TODAY, TODAY)
    assert (ready.word, ready.by_phone) == (Word.READY, False)


def test_what_makes_a_kit_short_says_whose_decision_it_is() -> None:
    routine, important = (
        judge(kit_of(lines=(Line(1, "front", GAUZE, 2, 1, priority),)), TODAY, TODAY)
        for priority in (Criticality.ROUTINE, Criticality.IMPORTANT)
    )
    assert routine.word is important.word is Word.SHORT
    assert routine.short_only_on(Criticality.ROUTINE)
    assert not important.short_only_on(Criticality.ROUTINE)
    assert important.short_only_on(Criticality.ROUTINE, Criticality.IMPORTANT)
    not_checked = replace(
        kit_of(some(WIPE, 1), lines=(Line(1, "front", WIPE, 1, 1),)), looked_inside_on=None
    )
    verdict = judge(not_checked, TODAY, TODAY)
    assert not verdict.short_only_on(*Criticality)


@pytest.mark.parametrize(
    "facts", [{}, {"waiting_to_be_sorted": True}, {"signed": False}, {"looked_inside_on": None}]
)
def test_a_kit_whose_contents_nobody_entered_is_not_set_up_and_goes(facts: dict[str, Any]) -> None:
    lines = (Line(1, "front", GAUZE, 2, 1, MUST_HAVE),)
    kit = replace(kit_of(lines=lines, contents_entered=False), **facts)
    verdict = judge(kit, TODAY, TODAY)
    assert (verdict.word, verdict.may_go, verdict.fit) == (Word.NOT_SET_UP, True, False)
    assert days(kit, TODAY) == (None, None, date.max)


@pytest.mark.parametrize(
    "facts", [{"training": True}, {"lost": True}, {"laid_up": True}, {"withheld": ("drying",)}]
)
def test_what_is_on_record_of_a_whole_kit_stops_it_before_it_is_set_up(
    facts: dict[str, Any],
) -> None:
    kit = kit_of(contents_entered=False, **facts)
    assert judge(kit, TODAY, TODAY).word is Word.DO_NOT_TAKE
    assert days(kit, TODAY) == (None, None, None)


@pytest.mark.parametrize(
    ("thing", "facts", "fault"),
    [
        (GAUZE, {"recalled": True}, ReasonCode.RECALLED),
        (GAUZE, {"withheld": True}, ReasonCode.WITHHELD),
        (GAUZE, {"expiry": None}, ReasonCode.DATE_NOT_KNOWN),
        (TABLET, {"expiry": None}, ReasonCode.DATE_NOT_KNOWN),
        (TORCH, {"check_passed": False}, ReasonCode.CHECK_FAILED),
    ],
)
def test_what_may_never_go_in_has_to_come_out(
    thing: Thing, facts: dict[str, Any], fault: ReasonCode
) -> None:
    kit = kit_of(some(thing, 1, **facts), lines=(Line(1, "front", thing, 1, 0),))
    verdict = judge(kit, TODAY, TODAY)
    assert only(verdict, ReasonCode.TAKE_OUT).facts["cause"] is fault
    assert not verdict.may_go
    assert days(kit, TODAY) == (None, None, None)


def test_training_stock_comes_out_of_any_but_a_training_kit() -> None:
    lines = (Line(1, "front", GAUZE, 1, 1),)
    kit = kit_of(replace(some(GAUZE, 1), training=True), lines=lines)
    verdict = judge(kit, TODAY, TODAY)
    assert codes(verdict) == [("take-out", Weight.STOPS), ("short", Weight.SHORT)]
    training_kit = judge(replace(kit, training=True), TODAY, TODAY)
    assert codes(training_kit) == [("training", Weight.STOPS), ("short", Weight.SHORT)]


def test_a_medicine_that_no_line_asks_for_has_to_come_out() -> None:
    kit = kit_of(some(GAUZE, 1), some(TABLET, 3), lines=(Line(1, "front", GAUZE, 1, 1),))
    facts = only(judge(kit, TODAY, TODAY), ReasonCode.TAKE_OUT).facts
    assert (facts["thing"], facts["cause"]) == ("tablet", ReasonCode.UNSIGNED_MEDICINE)
    assert facts["line"] is None


def test_an_unknown_date_of_what_is_not_sterile_is_a_note() -> None:
    kit = kit_of(some(WIPE, 2, expiry=None), lines=(Line(1, "front", WIPE, 2, 1),))
    verdict = judge(kit, TODAY, TODAY)
    assert codes(verdict) == [("date-not-known", Weight.NOTE)]
    assert verdict.fit


def test_a_sterile_unit_without_a_date_is_let_be_until_the_day_after_set_up() -> None:
    lines = (Line(1, "front", GAUZE, 2, 2, MUST_HAVE),)
    kit = kit_of(some(GAUZE, 2, expiry=None), lines=lines, undated_grace_until=TODAY + DAY)
    for today in (TODAY, TODAY + DAY):
        verdict = judge(kit, today, today)
        assert (verdict.word, codes(verdict)) == (Word.READY, [("date-not-known", Weight.NOTE)])
    longer = judge(kit, TODAY + 2 * DAY, TODAY)  # a trip that ends later cannot count on them
    assert codes(longer) == [("short", Weight.STOPS), ("date-not-known", Weight.NOTE)]
    assert only(longer, ReasonCode.SHORT).facts["cause"] is ReasonCode.DATE_NOT_KNOWN
    over = judge(kit, TODAY + 2 * DAY, TODAY + 2 * DAY)
    assert only(over, ReasonCode.TAKE_OUT).facts["cause"] is ReasonCode.DATE_NOT_KNOWN
    assert fit_days(kit).clear_until == TODAY + DAY
    assert first_expiry(kit) is None


def test_a_medicine_without_a_date_is_never_let_be() -> None:
    lines = (Line(1, "front", TABLET, 1, 0),)
    kit = kit_of(some(TABLET, 1, expiry=None), lines=lines, undated_grace_until=TODAY + DAY)
    verdict = judge(kit, TODAY, TODAY)
    assert only(verdict, ReasonCode.TAKE_OUT).facts["cause"] is ReasonCode.DATE_NOT_KNOWN
    assert days(kit, TODAY) == (None, None, None)


def test_an_instrument_s_reasons_name_its_check() -> None:
    lines = (Line(1, "front", TORCH, 1, 1, IMPORTANT),)
    unasked = judge(kit_of(some(TORCH, 1), lines=lines), TODAY, TODAY)
    facts = only(unasked, ReasonCode.SHORT).facts
    assert (facts["cause"], facts["question"]) == (ReasonCode.CHECK_NOT_ANSWERED, "Light on?")
    passed = kit_of(some(TORCH, 1, check_passed=True, check_due=TODAY), lines=lines)
    assert judge(passed, TODAY, TODAY).fit
    facts = only(judge(passed, TODAY + DAY, TODAY), ReasonCode.SHORT).facts
    assert facts["cause"] == ReasonCode.CHECK_DUE
    assert facts["lots"] == (
        {"batch": 50, "lot": "", "count": 1, "fault": "check-due", "date": TODAY},
    )


@pytest.mark.parametrize(
    ("level", "never_below", "said"),
    [
        (Level.FULL, 1, []),
        (Level.LOW, 1, [("low-by-eye", Weight.LOW)]),
        (Level.EMPTY, 1, [("empty-by-eye", Weight.SHORT)]),
        (None, 1, [("empty-by-eye", Weight.SHORT)]),
        (Level.EMPTY, 0, [("empty-by-eye", Weight.LOW)]),
    ],
)
def test_small_stuff_is_judged_by_eye(
    level: Level | None, never_below: int, said: list[tuple[str, Weight]]
) -> None:
    lines = (Line(1, "front", PLASTERS, 1, never_below),)
    levels = {} if level is None else {("front", PLASTERS.id): level}
    verdict = judge(kit_of(lines=lines, levels=levels), TODAY, TODAY)
    assert codes(verdict) == said
    assert all(reason.facts["level"] is level for reason in verdict.reasons)


def test_a_pouch_out_on_its_own_leaves_its_lines_short() -> None:
    lines = (Line(1, "front", GAUZE, 1, 1), Line(2, "back", EYE_WASH, 1, 1))
    kit = kit_of(some(GAUZE, 1), some(EYE_WASH, 1, place="back"), lines=lines)
    assert judge(kit, TODAY, TODAY).fit
    verdict = judge(replace(kit, away=frozenset({"back"})), TODAY, TODAY)
    assert codes(verdict) == [("short", Weight.SHORT), ("section-away", Weight.NOTE)]
    assert only(verdict, ReasonCode.SECTION_AWAY).facts == {"section": "back"}


# ---- the kit as a whole


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        ({"laid_up": True}, "laid-up"),
        ({"lost": True}, "lost"),
        ({"training": True}, "training"),
        ({"waiting_to_be_sorted": True}, "waiting-to-be-sorted"),
        ({"withheld": ("drying",)}, "withheld"),
    ],
)
def test_what_stops_a_whole_kit_is_its_own_reason(facts: dict[str, Any], code: str) -> None:
    kit = kit_of(some(GAUZE, 1), lines=(Line(1, "front", GAUZE, 1, 1),), **facts)
    assert codes(judge(kit, TODAY, TODAY)) == [(code, Weight.STOPS)]
    assert days(kit, TODAY) == (None, None, None)


def test_every_reason_for_withholding_is_told() -> None:
    kit = kit_of(some(GAUZE, 1), lines=(Line(1, "front", GAUZE, 1, 1),), withheld=("wet", "zip"))
    assert [r.facts["reason"] for r in judge(kit, TODAY, TODAY).reasons] == ["wet", "zip"]


def test_a_kit_without_a_list_is_not_fit() -> None:
    assert codes(judge(kit_of(), TODAY, TODAY)) == [("list-empty", Weight.SHORT)]


@pytest.mark.parametrize(("thing", "weight"), [(GAUZE, Weight.SHORT), (TABLET, Weight.STOPS)])
def test_an_unsigned_list_is_short_and_stops_with_medicines(thing: Thing, weight: Weight) -> None:
    kit = kit_of(some(thing, 1), lines=(Line(1, "front", thing, 1, 1),))
    unsigned = replace(kit, signed=False)
    assert codes(judge(unsigned, TODAY, TODAY)) == [("list-not-signed", weight)]
    lapsing = replace(kit, signed_until=TODAY)
    assert judge(lapsing, TODAY, TODAY).fit
    verdict = judge(lapsing, TODAY + DAY, TODAY)
    assert codes(verdict) == [("signature-ends", weight)]
    assert verdict.reasons[0].facts == {"signed_until": TODAY}


def test_it_must_have_been_looked_inside_within_its_interval() -> None:
    lines = (Line(1, "front", GAUZE, 1, 1),)
    kit = replace(kit_of(some(GAUZE, 1), lines=lines), looked_inside_on=date(2027, 2, 28))
    assert judge(kit, date(2028, 2, 28), TODAY).fit
    verdict = judge(kit, date(2028, 2, 29), TODAY)
    assert codes(verdict) == [("not-looked-inside", Weight.SHORT)]
    assert verdict.reasons[0].facts["look_by"] == date(2028, 2, 28)
    never = replace(kit, looked_inside_on=None)
    assert codes(judge(never, TODAY, TODAY)) == [("not-looked-inside", Weight.SHORT)]


def test_where_a_kit_lives_is_noted_for_what_frost_and_heat_spoil() -> None:
    gel = Thing(9, "cold gel", min_temp_c=0, max_temp_c=40)
    kit = kit_of(some(gel, 1), lines=(Line(1, "front", gel, 1, 1),))
    assert judge(kit, TODAY, TODAY).reasons == ()
    verdict = judge(replace(kit, lives_in=LivesIn.VEHICLE), TODAY, TODAY)
    assert codes(verdict) == [("frost", Weight.NOTE), ("heat", Weight.NOTE)]
    assert verdict.reasons[0].facts["things"] == ("cold gel",)
    assert codes(judge(replace(kit, lives_in=LivesIn.HUT), TODAY, TODAY)) == [
        ("frost", Weight.NOTE)
    ]


@pytest.mark.parametrize(
    ("matters", "batteries", "word"),
    [
        (MUST_HAVE, 0, Word.SHORT),
        (MUST_HAVE, 1, Word.LOW),
        (MUST_HAVE, 2, Word.READY),
        (IMPORTANT, 0, Word.LOW),
        (Criticality.ROUTINE, 0, Word.LOW),
    ],
)
def test_what_goes_with_a_must_have_is_missed_as_soon_as_there_is_none(
    matters: Criticality, batteries: int, word: Word
) -> None:
    battery = Thing(41, "battery", needs_date=False, goes_with=TORCH.id)
    torch = replace(TORCH, kind=Kind.TOOL)
    lines = with_companions(
        [Line(1, "front", torch, 1, 1, matters), Line(2, "front", battery, 2, 0)]
    )
    kit = kit_of(some(torch, 1), some(battery, batteries), lines=lines)
    assert judge(kit, TODAY, TODAY).word is word


@given(st.lists(st.sampled_from(Criticality), max_size=4))
def test_lines_that_go_with_nothing_stay_as_they_are(matters: list[Criticality]) -> None:
    lines = tuple(
        Line(n, "front", Thing(n, f"thing {n}"), 2, 0, each) for n, each in enumerate(matters)
    )
    assert with_companions(lines) == lines
