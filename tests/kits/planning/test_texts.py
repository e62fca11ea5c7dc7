"""Sentences of plans: of none, of one, of several and of all."""

from collections.abc import Iterator
from decimal import Decimal

import pytest
from django.utils import translation

from kits.rules.planning.quantities import Bar
from kits.rules.planning.recorded_use import Bears, RecordedUse
from kits.rules.planning.waste import YearlyCost
from kits.services.text import cost_texts, planning_texts as texts, rate_texts


@pytest.fixture(autouse=True)
def in_english() -> Iterator[None]:
    with translation.override("en-gb"):
        yield


@pytest.mark.parametrize(
    ("chance", "quantity", "says"),
    [
        (0.0, 4, "Of 1,000 such trips, fewer than 1 is expected to want more than 4."),
        (0.001, 4, "Of 1,000 such trips, 1 wants more than 4."),
        (0.01, 4, "Of 100 such trips, 1 wants more than 4."),
        (0.03, 4, "Of 100 such trips, 3 want more than 4."),
        (0.996, 4, "Of 1,000 such trips, 996 want more than 4."),
        (1.0, 4, "Nearly every such trip wants more than 4."),
        (0.0, 0, "Of 1,000 such trips, fewer than 1 is expected to want any."),
        (0.01, 0, "Of 100 such trips, 1 wants at least one."),
        (0.03, 0, "Of 100 such trips, 3 want at least one."),
        (1.0, 0, "Nearly every such trip wants at least one."),
    ],
)
def test_how_many_trips_want_more(chance: float, quantity: int, says: str) -> None:
    assert texts.wants_more(chance, quantity) == says


@pytest.mark.parametrize(
    ("chance", "says"),
    [
        (0.0, "It lacks something on fewer than 1 trip in 1,000."),
        (0.001, "Expect it to lack something on 1 trip in 1,000."),
        (1 / 6, "Expect it to lack something on 1 trip in 6."),
        (0.39, "Expect it to lack something on 1 trip in 3."),
        (0.88, "Expect it to lack something on 88 trips in 100."),
        (1.0, "Expect it to lack something on nearly every trip."),
    ],
)
def test_how_often_a_whole_list_lacks_something(chance: float, says: str) -> None:
    assert texts.lacks_something(chance, lines=3, without_rate=0) == says


def test_lines_without_a_rate_are_said_to_be_left_out() -> None:
    assert "yet: no item" in texts.lacks_something(0.0, lines=0, without_rate=5)
    assert "1 item has no rate" in texts.lacks_something(0.1, lines=2, without_rate=1)
    assert "2 items have no rate" in texts.lacks_something(0.1, lines=2, without_rate=2)


@pytest.mark.parametrize(
    ("value", "says"),
    [
        (0, "0"), (1234.4, "1,234"), (100, "100"), (12.3, "12"), (4.96, "5"), (4.3, "4.3"),
        (0.85, "0.85"), (0.0041, "0.004"), (Decimal("12.5000"), "12"), (Decimal("4.5000"), "4.5"),
    ],
)  # fmt: skip
def test_a_number_has_the_digits_that_matter(value: float | Decimal, says: str) -> None:
    assert texts.number(value) == says


def test_chances_in_a_table() -> None:
    assert [texts.chance(of) for of in (0.0, 0.002, 0.5, 1.0)] == [
        "fewer than 1 of 1,000",
        "2 of 1,000",
        "50 of 100",
        "nearly all",
    ]
    assert texts.with_another(7, 0.004) == "With 7, 4 of 1,000 such trips want more."


def test_bars_are_named_by_their_units() -> None:
    of = [
        Bar(0, 0.5, over=False),
        Bar(3, 0.5, over=False),
        Bar(4, 0.5, over=True, or_more=True),
        Bar(9, 0.5, over=False, or_fewer=True),
    ]
    assert [texts.units_wanted(bar) for bar in of] == ["none", "3", "4 or more", "9 or fewer"]


@pytest.mark.parametrize(
    ("people", "days", "activity", "says"),
    [
        (1, 1, "", "Such a trip: 1 person for 1 day."),
        (8, 2, "caving", "Such a trip: 8 people for 2 days, caving."),
    ],
)
def test_what_trips_are_spoken_of(people: int, days: int, activity: str, says: str) -> None:
    assert texts.such_a_trip(people, days, activity) == says


@pytest.mark.parametrize(
    ("use", "says"),
    [
        (
            RecordedUse(0, 0, False, Bears.NOTHING),
            ["No trip counted here carried anything for this."],
        ),
        (
            RecordedUse(0, 12, False, Bears.NOTHING),
            ["None needed in 12 participant-days.", "Too little to say."],
        ),
        (
            RecordedUse(0, 693, False, Bears.NONE_USED, high=0.00432),
            [
                "None needed in 693 participant-days.",
                "So we can be 95 % sure that it is below 4.3 per 1,000 participant-days.",
            ],
        ),
        (
            RecordedUse(1, 693, False, Bears.TOO_FEW),
            [
                "Needed once in 693 participant-days.",
                "Too few to say how often: it is shown from 20 uses on.",
            ],
        ),
        (
            RecordedUse(25, 1000, True, Bears.RATE, 0.018, 0.034),
            [
                "Needed at least 25 times in 1,000 participant-days.",
                "About 25 per 1,000 participant-days; we can be 90 % sure that it is between 18 "
                "and 34.",
            ],
        ),
    ],
)
def test_records_say_what_they_bear(use: RecordedUse, says: list[str]) -> None:
    assert rate_texts.bears(use) == says


def test_at_least_is_said_where_more_may_have_been_used() -> None:
    assert rate_texts.recorded(0, 9, at_least=True) == "None for certain in 9 participant-days."
    assert rate_texts.recorded(1, 9, at_least=True) == "Needed at least once in 9 participant-days."
    assert rate_texts.recorded(2, 9) == "Needed twice in 9 participant-days."


def test_what_a_line_costs() -> None:
    carrying, waste = Decimal("11.70"), Decimal("9.10")
    assert cost_texts.carrying_cost(carrying, waste, "GBP", if_unused=True) == (
        "11.70 GBP a year here if none is used."
    )
    assert cost_texts.carrying_cost(carrying, waste, "GBP", if_unused=False) == (
        "11.70 GBP a year here; 9.10 GBP of it goes out of date unused."
    )
    assert cost_texts.carrying_cost(carrying, Decimal(0), "GBP", if_unused=False) == (
        "11.70 GBP a year here."
    )


def test_what_a_list_costs_in_each_currency() -> None:
    assert "not known" in cost_texts.whole_cost({})
    cost = YearlyCost(Decimal(10), Decimal(4))
    assert cost_texts.whole_cost({"GBP": cost, "EUR": cost}) == (
        "10.00 GBP + 10.00 EUR a year for one kit, of which 4.00 GBP + 4.00 EUR goes out of date "
        "unused."
    )


def test_no_use_is_too_few_to_judge() -> None:
    assert cost_texts.too_few_to_judge(10, 1.4) == (
        "That is too few to judge: one use in 10 years would be 1.4 per 1,000."
    )
    assert cost_texts.hours_to_care(Decimal("6.0")) == "Hours to care: up to 6."
    assert cost_texts.hours_to_care(None) == "Hours to care: not on record."
    assert (
        cost_texts.instead(["Gauze", "Tape"]) == "Also on this list for the same need: Gauze, Tape."
    )
    assert "Nothing else" in cost_texts.instead([])


@pytest.mark.parametrize(
    ("unused", "says"),
    [
        (0, "Of 100 bought like this, hardly any goes out of date unused."),
        (1, "Of 100 bought like this, 1 goes out of date unused."),
        (61, "Of 100 bought like this, 61 go out of date unused."),
        (100, "Nearly all of 100 bought like this go out of date unused."),
    ],
)
def test_how_many_of_a_hundred_expire(unused: int, says: str) -> None:
    assert cost_texts.of_100_units(unused) == says


@pytest.mark.parametrize(
    ("expected", "units", "says"),
    [
        (0.0, 1, "Expected to be used in time."),
        (0.0, 3, "All 3 are expected to be used in time."),
        (2.2, 3, "Of these 3, about 2.2 are expected to go out of date unused."),
    ],
)
def test_what_is_left_of_a_batch(expected: float, units: int, says: str) -> None:
    assert cost_texts.batch_left(expected, units) == says


def test_what_would_throw_away_less_says_what_it_gives_up() -> None:
    assert cost_texts.fewer(6, 4, 0.03, Decimal("2.10"), "GBP") == (
        "With 4 instead of 6, 2.10 GBP less a year would go out of date. "
        "Of 100 such trips, 3 want more than 4."
    )
    assert "holds 50, and this list carries 4" in cost_texts.smaller_pack(50, 4)
    assert cost_texts.undated(["Bandage"]).endswith("without an expiry date: Bandage.")
    assert cost_texts.shared(12, 41).startswith("On 12 of 41 past trips another kit carried it too")
