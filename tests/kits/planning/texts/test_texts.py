"""Sentences of plans: of none, of one, of several and of all."""

from collections.abc import Iterator
from decimal import Decimal

import pytest
from django.utils import translation

from kits.rules.planning.quantities import Bar, Basis
from kits.rules.planning.records.recorded_use import Bears, RecordedUse
from kits.rules.planning.waste import YearlyCost
from kits.services.text.planning import cost_texts, fit_texts, planning_texts as texts, rate_texts


@pytest.fixture(autouse=True)
def in_english() -> Iterator[None]:
    with translation.override("en-gb"):
        yield


@pytest.mark.parametrize(
    ("chance", "quantity", "says"),
    [
        (0.0, 4, "Out of 100 trips like this, fewer than 1 needs more than 4."),
        (0.01, 4, "Out of 100 trips like this, 1 needs more than 4."),
        (0.03, 4, "Out of 100 trips like this, 3 need more than 4."),
        (0.996, 4, "Out of 100 trips like this, nearly all need more than 4."),
        (0.0, 0, "Out of 100 trips like this, fewer than 1 needs at least one."),
        (0.03, 0, "Out of 100 trips like this, 3 need at least one."),
    ],
)
def test_how_many_trips_want_more(chance: float, quantity: int, says: str) -> None:
    assert texts.wants_more(chance, quantity) == says


def test_a_need_without_a_rate_makes_it_at_least() -> None:
    assert texts.wants_more(0.03, 4, at_least=True) == (
        "Out of 100 trips like this, at least 3 need more than 4."
    )


@pytest.mark.parametrize(
    ("chance", "says"),
    [
        (
            0.001,
            "Expect this list to be short of something on fewer than 1 out of 100 trips like this.",
        ),
        (
            1 / 6,
            "Expect this list to be short of something on 1 trip in 6 (17 out of 100 trips "
            "like this).",
        ),
        (
            0.39,
            "Expect this list to be short of something on 1 trip in 3 (39 out of 100 trips "
            "like this).",
        ),
        (0.88, "Expect this list to be short of something on 88 out of 100 trips like this."),
        (1.0, "Expect this list to be short of something on nearly every trip like this."),
    ],
)
def test_how_often_a_whole_list_lacks_something(chance: float, says: str) -> None:
    assert texts.lacks_something(chance, lines=3, at_least=False) == says


def test_what_is_left_out_makes_it_at_least() -> None:
    def says(chance: float) -> str:
        return texts.lacks_something(chance, lines=3, at_least=True)

    assert "yet: no item" in texts.lacks_something(0.0, lines=0, at_least=True)
    assert says(1 / 6).startswith(
        "Expect this list to be short of something on at least 1 trip in 6"
    )
    assert says(0.88) == (
        "Expect this list to be short of something on at least 88 out of 100 trips like this."
    )
    assert says(0.001).startswith(
        "As far as can be worked out, this list is short of something on fewer than 1"
    )


def test_a_must_have_that_is_lacking_is_said_apart() -> None:
    assert texts.lacks_must_have(0.07, lines=2, at_least=False) == (
        "This list is short of a must-have on 7 out of 100 trips like this."
    )
    assert "on at least 7 out of 100" in texts.lacks_must_have(0.07, lines=2, at_least=True)
    assert texts.lacks_must_have(0.0, lines=0, at_least=True) == ""
    assert texts.lacks_must_have(0.0, lines=2, at_least=True).startswith("As far as can be")


def test_what_is_not_worked_out_is_said_apart_with_its_must_haves() -> None:
    assert texts.left_out(Basis.NO_RATE, 1, []) == "1 item has no rate and is not included."
    assert texts.left_out(Basis.NO_RATE, 3, ["Tourniquet"]) == (
        "3 items have no rate and are not included. A must-have among them: Tourniquet."
    )
    assert "Must-haves among them: A, B." in texts.left_out(Basis.NO_PURPOSE, 2, ["A", "B"])
    assert texts.left_out(Basis.LOOSE, 2, []).startswith("2 items are loose")
    assert texts.left_out(Basis.COMES_BACK, 2, []).startswith("2 items are reusable")


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
    assert [texts.of_100_trips(of) for of in (0.0, 0.02, 0.5, 1.0)] == [
        "fewer than 1", "2", "50", "nearly all",
    ]  # fmt: skip
    assert (
        texts.with_another(7, 0.004)
        == "Carrying 7: fewer than 1 out of 100 trips like this needs more."
    )
    assert texts.with_another(5, 0.04) == "Carrying 5: 4 out of 100 trips like this need more."


def test_why_a_kit_begins_with_an_activity() -> None:
    assert texts.usual_activity("hill walking", 31, 40).startswith(
        "This kit’s past trips were mostly for hill walking (31 of 40)"
    )


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
        (1, 1, "", "“A trip like this” means 1 person for 1 day."),
        (8, 2, "caving", "“A trip like this” means 8 people for 2 days, caving."),
    ],
)
def test_what_trips_are_spoken_of(people: int, days: int, activity: str, says: str) -> None:
    assert texts.such_a_trip(people, days, activity) == says


@pytest.mark.parametrize(
    ("use", "says"),
    [
        (
            RecordedUse(0, 0, False, Bears.NOTHING),
            ["None of these trips carried anything for this need."],
        ),
        (
            RecordedUse(0, 12, False, Bears.NOTHING),
            [
                "Nothing for this need was used in 12 participant-days.",
                "That is too little to draw a conclusion.",
            ],
        ),
        (
            RecordedUse(0, 693, False, Bears.NONE_USED, high=0.00432),
            [
                "Nothing for this need was used in 693 participant-days.",
                "That is too few to call the need rare: it may come up as often as 4.3 "
                "times per 1,000 participant-days.",
            ],
        ),
        (
            RecordedUse(0, 10_000, False, Bears.RARE, high=0.0003),
            [
                "Nothing for this need was used in 10,000 participant-days.",
                "The need is rare here: it very likely comes up less than 0.3 times "
                "per 1,000 participant-days.",
            ],
        ),
        (
            RecordedUse(1, 693, False, Bears.TOO_FEW),
            [
                "Needed once in 693 participant-days.",
                "Too few uses to say how often: the number is shown once there are 20 uses.",
            ],
        ),
        (
            RecordedUse(25, 1000, True, Bears.RATE, 0.018, 0.034),
            [
                "Needed at least 25 times in 1,000 participant-days.",
                "At least 25 per 1,000 participant-days; we can be 90 % sure that it is between 18 "
                "and 34.",
            ],
        ),
    ],
)
def test_records_say_what_they_bear(use: RecordedUse, says: list[str]) -> None:
    assert rate_texts.bears(use) == says


def test_at_least_is_said_where_more_may_have_been_used() -> None:
    assert rate_texts.recorded(0, 9, at_least=True) == (
        "It is not known whether anything for this need was used in 9 participant-days."
    )
    assert rate_texts.recorded(1, 9, at_least=True) == "Needed at least once in 9 participant-days."
    assert rate_texts.recorded(2, 9) == "Needed twice in 9 participant-days."


def test_what_a_line_costs() -> None:
    carrying, waste = Decimal("11.70"), Decimal("9.10")
    assert cost_texts.carrying_cost(carrying, waste, "GBP", if_unused=True) == (
        "Carrying this item costs 11.70 GBP a year here if none is used."
    )
    assert cost_texts.carrying_cost(carrying, waste, "GBP", if_unused=False) == (
        "Carrying this item costs 11.70 GBP a year here; 9.10 GBP of that is for units that go "
        "out of date unused."
    )
    assert cost_texts.carrying_cost(carrying, Decimal(0), "GBP", if_unused=False) == (
        "Carrying this item costs 11.70 GBP a year here."
    )


def test_what_a_list_costs_in_each_currency() -> None:
    assert "do not know what this list costs" in cost_texts.whole_cost({}, not_known=3)
    cost = YearlyCost(Decimal(10), Decimal(4))
    assert cost_texts.whole_cost({"GBP": cost, "EUR": cost}, not_known=0) == (
        "One kit costs 10.00 GBP + 10.00 EUR a year; 4.00 GBP + 4.00 EUR of that is for units "
        "that go out of date unused."
    )
    assert cost_texts.whole_cost({"GBP": cost}, not_known=1) == (
        "One kit costs at least 10.00 GBP a year; at least 4.00 GBP of that is for units that go "
        "out of date unused."
    )


def test_what_a_sum_leaves_out_is_said_apart() -> None:
    assert cost_texts.not_in_the_sum(not_known=0, loose=0) == []
    unknown, loose = cost_texts.not_in_the_sum(not_known=2, loose=1)
    assert unknown.startswith("2 items are not included")
    assert loose.startswith("1 item is loose")


def test_what_comes_back_has_no_cost_of_use() -> None:
    assert "costs nothing a year" in cost_texts.kept_cost(Decimal(0), "GBP")
    assert "Replacing expired or lost ones costs 2.10 GBP a year here" in cost_texts.kept_cost(
        Decimal("2.10"), "GBP"
    )


def test_no_use_is_too_few_to_call_it_rare() -> None:
    assert cost_texts.none_used(788, too_few=True, years=10) == (
        "Nothing for this need was used in 788 participant-days, which is too few to call the "
        "need rare. Something that one kit needs once in 10 years may simply not have come up "
        "yet."
    )
    assert "less than once in 10 years" in cost_texts.none_used(9008, too_few=False, years=10)
    assert cost_texts.hours_to_care(Decimal("6.0")) == (
        "On these trips, a hospital or doctor was up to 6 hours away."
    )
    assert "up to 1 hour away" in cost_texts.hours_to_care(Decimal(1))
    assert "not on record" in cost_texts.hours_to_care(None)
    assert (
        cost_texts.instead(["Gauze", "Tape"]) == "Also on this list for the same need: Gauze, Tape."
    )
    assert "Nothing else" in cost_texts.instead([])


def test_what_was_stated_is_said_to_be_part_of_a_rate() -> None:
    assert rate_texts.made_from(2, pooled=True, stated=True) == (
        "From 2 trips with any activity. Rates entered by hand or taken from studies are included."
    )


@pytest.mark.parametrize(
    ("days", "says"),
    [
        (1, "1 day"),
        (59, "59 days"),
        (61, "2 months"),
        (365, "1 year"),
        (1387, "3 years and 10 months"),
        (1095, "3 years"),
    ],
)
def test_how_long_it_keeps_is_said_in_months_and_years(days: int, says: str) -> None:
    assert cost_texts.keeps_for(days) == says


@pytest.mark.parametrize(
    ("known", "pooled", "says"),
    [
        (58, True, "From 58 trips with any activity."),
        (0, True, "Only from rates entered by hand or taken from studies: no trip is on record."),
        (12, False, "From 12 trips with this activity; trips with other activities count less."),
        (0, False, "No trip with this activity is on record, so the number may be far off."),
    ],
)
def test_what_a_rate_was_made_from(known: int, pooled: bool, says: str) -> None:
    assert rate_texts.made_from(known, pooled=pooled, stated=False) == says


@pytest.mark.parametrize(
    ("unused", "says"),
    [
        (0, "Out of 100 bought like this, hardly any go out of date unused."),
        (1, "Out of 100 bought like this, 1 goes out of date unused."),
        (61, "Out of 100 bought like this, 61 go out of date unused."),
        (100, "Out of 100 bought like this, nearly all go out of date unused."),
    ],
)
def test_how_many_of_a_hundred_expire(unused: int, says: str) -> None:
    assert cost_texts.of_100_units(unused) == says


@pytest.mark.parametrize(
    ("expected", "units", "says"),
    [
        (0.0, 1, "This item will probably be used in time."),
        (0.5, 1, "This item may be used in time, or it may go out of date unused."),
        (0.96, 1, "This item will probably go out of date unused."),
        (0.2, 3, "All 3 will probably be used in time."),
        (1.2, 3, "Of these 3, about one will probably go out of date unused."),
        (1.8, 2, "Both will probably go out of date unused."),
        (2.2, 3, "Of these 3, about 2 will probably go out of date unused."),
        (2.9, 3, "All 3 will probably go out of date unused."),
    ],
)
def test_what_is_left_of_a_batch(expected: float, units: int, says: str) -> None:
    assert cost_texts.batch_left(expected, units) == says


def test_what_would_throw_away_less_says_what_it_gives_up() -> None:
    assert cost_texts.fewer(
        4, now=6, saved=Decimal("7.20"), currency="GBP", runs_out=0.03, runs_out_now=0.003
    ) == (
        "With 4 instead of 6, 7.20 GBP less would go out of date each year. Out of 100 trips "
        "like this, 3 would need more than is carried; with 6 it is fewer than 1."
    )
    assert "holds 50, and this list carries 4" in cost_texts.smaller_pack(50, 4)
    assert cost_texts.undated(["Bandage"]).endswith("without an expiry date: Bandage.")
    assert cost_texts.shared(12, 41).startswith(
        "On 12 of 41 past trips another kit carried this item too"
    )


def test_what_is_carried_weighs_as_much_as_is_known() -> None:
    assert fit_texts.mass(0, []) == "This list has no items yet."
    assert fit_texts.mass(0, ["Bandage"]).startswith("The weight is not known")
    assert fit_texts.mass(1200, []) == "Everything carried weighs 1,200 g, without the bag."
    assert "1,200 g or more" in fit_texts.mass(1200, ["Bandage"])
