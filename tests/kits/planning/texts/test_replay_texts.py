"""Sentences of a list taken on past trips: of none, of one, of several."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

import pytest
from django.utils import translation

from kits.rules.planning.replay import Replay, Shortage
from kits.services.text.planning import replay_texts as texts


@pytest.fixture(autouse=True)
def in_english() -> Iterator[None]:
    with translation.override("en-gb"):
        yield


def short(trip: int, *, on_list: bool, lacking: int = 1, at_least: bool = False) -> Shortage:
    return Shortage(trip, 1, 5, lacking, at_least=at_least, on_list=on_list)


def done(
    counted: int, *shortages: Shortage, perhaps: int = 0, stood_in: Sequence[Shortage] = ()
) -> Replay:
    return Replay(
        counted=counted,
        not_counted=[],
        shortages=shortages,
        perhaps=[short(100 + n, on_list=True, lacking=0, at_least=True) for n in range(perhaps)],
        stood_in=stood_in,
        thrown_out={},
        waste=Decimal(0),
        mass_g=0,
        unpriced=frozenset(),
        unweighed=frozenset(),
    )


def test_what_is_not_on_the_list_and_what_ran_out_are_two_sentences() -> None:
    absent = [short(n, on_list=False) for n in range(1, 9)]
    ran_out = [short(n, on_list=True) for n in (8, 9)]
    assert texts.replayed(done(34, *absent, *ran_out, perhaps=1)) == [
        "On 8 trips, something was needed that is not on this list at all.",
        "On 2 trips, something on this list would have run out.",
        "On 1 more trip, something may have run out: everything that was carried was used up.",
    ]


@pytest.mark.parametrize(
    ("of", "says"),
    [
        (done(0), ["No past trip has a record yet of what was used."]),
        (done(1), ["On that trip, this list would have had enough of everything that was needed."]),
        (
            done(9),
            ["On all these trips, this list would have had enough of everything that was needed."],
        ),
        (
            done(9, perhaps=2),
            [
                "Nothing was noted as missing.",
                "On 2 trips, something may have run out: everything that was carried was used up.",
            ],
        ),
        (
            done(9, short(1, on_list=True)),
            [
                "Nothing was needed that is not on this list.",
                "On 1 trip, something on this list would have run out.",
            ],
        ),
        (
            done(9, short(1, on_list=False)),
            [
                "On 1 trip, something was needed that is not on this list at all.",
                "As far as is known, nothing on this list would have run out.",
            ],
        ),
    ],
)
def test_of_none_and_of_one(of: Replay, says: list[str]) -> None:
    assert texts.replayed(of) == says


def test_what_something_else_did_instead_of_is_said_and_no_shortage() -> None:
    covered = Shortage(1, 1, 5, 0, at_least=False, on_list=True, stood_in=2)
    assert texts.replayed(done(9, stood_in=[covered])) == [
        "On all these trips, this list would have had enough of everything that was needed.",
        "On 1 trip, there was not enough of an item, but something else on this list would "
        "have done instead.",
    ]
    assert texts.shortage("Blanket", covered) == (
        "Blanket: 5 needed; for 2 of them something else would have done"
    )
    assert texts.shortage("Blanket", replace(covered, at_least=True)) == (
        "Blanket: at least 5 needed; for 2 of them something else would have done"
    )


def test_the_version_in_use_has_the_same_two_counts() -> None:
    assert texts.as_now(done(9, short(1, on_list=False), short(2, on_list=False))) == (
        "The version in use: something that is not on it was needed on 2 trips; something on "
        "it would have run out on no trip."
    )
    assert texts.as_now(done(9)) == (
        "The version in use would have had enough of everything that was needed."
    )


@pytest.mark.parametrize(
    ("trips", "kits", "others", "says"),
    [
        (34, ["DAY-01", "DAY-02"], 0, "Based on 34 recorded trips with DAY-01, DAY-02."),
        (1, ["DAY-01"], 0, "Based on 1 recorded trip with DAY-01."),
        (2, ["DAY-01"], 1, "Based on 2 recorded trips with DAY-01, 1 kit from another gear room."),
        (0, ["DAY-01"], 0, "No trip with DAY-01 is on record yet."),
    ],
)
def test_whose_trips_is_said(trips: int, kits: list[str], others: int, says: str) -> None:
    assert texts.whose_trips(trips, kits, others) == says


def test_wants_in_own_words_are_named_and_said_not_to_be_counted() -> None:
    assert texts.own_words(["sun cream", "nail scissors", "nail scissors"], 0) == (
        "3 missing items that were noted in people’s own words are not counted here: sun "
        "cream, nail scissors (twice)."
    )
    assert texts.own_words([], 1) == (
        "1 missing item that was noted in somebody’s own words is not counted here: 1 "
        "from another gear room."
    )


def test_differences_are_said_where_they_are_known() -> None:
    assert texts.weighs_less(340, 0) == "This version weighs 340 g less than the version in use."
    assert texts.weighs_less(-1, 0) == "This version weighs 1 g more than the version in use."
    assert texts.weighs_less(0, 0) == "This version weighs the same as the version in use."
    assert "1 changed item has no weight" in texts.weighs_less(340, 1)
    assert (
        texts.wastes_less(Decimal(41), "GBP", 0) == "With this list, 41.00 GBP less is thrown away."
    )
    assert (
        texts.wastes_less(Decimal(-41), "GBP", 0)
        == "With this list, 41.00 GBP more is thrown away."
    )
    assert "2 changed items have no price" in texts.wastes_less(Decimal(41), "GBP", 2)


def test_a_shortage_says_at_least_where_all_went() -> None:
    assert texts.shortage("Gauze", short(1, on_list=True, lacking=3)) == "Gauze: 5 needed, 3 short"
    assert texts.shortage("Gauze", short(1, on_list=True, lacking=3, at_least=True)) == (
        "Gauze: at least 5 needed, at least 3 short (everything was used up)"
    )
    assert texts.shortage("Gauze", short(1, on_list=True, lacking=0, at_least=True)) == (
        "Gauze: at least 5 needed"
    )
    assert texts.shortage("Gauze", short(1, on_list=False, lacking=5)) == "Gauze: 5 needed"


def test_what_is_left_out_says_what_was_noted_there() -> None:
    assert texts.not_counted(1, 0) == (
        "1 trip is left out: what was used was not counted when the kit came back."
    )
    assert texts.not_counted(2, 1).endswith(
        "1 item noted as missing on those trips is also left out."
    )
