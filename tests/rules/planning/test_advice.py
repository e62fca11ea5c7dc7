"""What advice may say, until when it counts, and how far it has got."""

from datetime import date

import pytest
from hypothesis import given, strategies as st

from kits.rules.planning.advice import (
    Choice,
    State,
    WhyNothing,
    counts_until,
    has_dose,
    left_open,
    may_be_advised,
    medicine_in,
    state,
    why_nothing,
)


@given(st.booleans(), st.booleans())
def test_what_is_withdrawn_is_withdrawn_whatever_it_was(answered: bool, sent: bool) -> None:
    assert state(answered=answered, sent=sent, withdrawn=True) is State.WITHDRAWN


def test_it_is_waiting_then_a_draft_then_sent() -> None:
    assert state(answered=False, sent=False, withdrawn=False) is State.WAITING
    assert state(answered=True, sent=False, withdrawn=False) is State.DRAFT
    assert state(answered=True, sent=True, withdrawn=False) is State.SENT


def test_it_counts_for_a_year_or_until_an_earlier_day() -> None:
    sent = date(2026, 11, 28)
    assert counts_until(sent, None) == date(2027, 11, 28)
    assert counts_until(sent, date(2027, 3, 1)) == date(2027, 3, 1)
    assert counts_until(sent, date(2027, 11, 29)) is None
    assert counts_until(sent, date(2026, 11, 27)) is None
    assert counts_until(date(2028, 2, 29), None) == date(2029, 2, 28)


@given(st.booleans())
def test_a_medicine_is_never_advised(trained: bool) -> None:
    assert not may_be_advised(Choice(1, medicine=True), trained=trained)
    assert why_nothing([Choice(1, medicine=True)], trained=trained) is WhyNothing.MEDICINE


def test_what_needs_training_is_advised_only_to_the_trained() -> None:
    tourniquet, bandage = Choice(1, training=True), Choice(2)
    assert why_nothing([tourniquet], trained=False) is WhyNothing.UNTRAINED
    assert why_nothing([tourniquet], trained=True) is None
    assert why_nothing([tourniquet, bandage], trained=False) is None
    assert why_nothing([], trained=True) is WhyNothing.NO_ITEM


@pytest.mark.parametrize(
    "text",
    [
        "400 mg every six hours",
        "Give 400mg",
        "0.3 ml into the thigh",
        "500 µg",
        "500 μg",
        "two tablets",
        "2 Tabletten am Tag",
        "1/2 tablet",
        "½ tablet",
        "zwei Tropfen",
        "4 puffs",
        "10-mg",
        "10\N{NO-BREAK SPACE}mg/kg",
        "５００ｍｇ",
        "half a tablet",
        "eine halbe Tablette",
        "300 IU",
    ],
)
def test_a_dose_is_known_however_it_is_written(text: str) -> None:
    assert has_dose(text)


@pytest.mark.parametrize(
    "text",
    [
        "Blister: needed 3 times in 1,200 participant-days.",
        "Expected on 2 out of 100 trips like this.",
        "Six dressings 10 × 10 cm for 12 young people on 3 days",
        "Ein Handlauf von 20 m",
        "A saw or an axe can open an artery.",
        "",
    ],
)
def test_other_numbers_are_no_dose(text: str) -> None:
    assert not has_dose(text)


def test_a_medicine_is_known_by_its_name_in_a_text() -> None:
    assert medicine_in("Give Paracetamol early", ["ibuprofen", "paracetamol"]) == "paracetamol"
    assert medicine_in("paracetamolish", ["paracetamol"]) is None
    assert medicine_in("Paracetamol early", ["paracetamol 500 mg"]) == "paracetamol 500 mg"
    assert medicine_in("A plaster", ["500 mg tablets"]) is None


def test_a_need_that_is_bound_is_carried_for_or_said_to_be_open() -> None:
    bound = {"bleeding": 2, "burn": 1}
    assert left_open(bound, carried={"bleeding": 1}, not_carried=["burn"], cannot=["burn"]) == {
        "bleeding": 2
    }
    assert left_open(bound, carried={"bleeding": 2}, not_carried=["burn"], cannot=[]) == {"burn": 1}
    assert left_open(bound, carried=bound, not_carried=[], cannot=[]) == {}
