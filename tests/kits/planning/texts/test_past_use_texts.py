"""Sentences of what was used and of how the last season went: of none, of one, of several."""

from collections import Counter
from collections.abc import Iterator

import pytest
from django.utils import translation

from kits.rules.planning.back_test import LeftOut, Spread
from kits.rules.planning.seasons import Season
from kits.services.text.planning import back_test_texts, past_use_texts as texts
from kits.services.text.planning.planning_texts import times

SUMMER = Season(2026, 3)


@pytest.fixture(autouse=True)
def in_english() -> Iterator[None]:
    with translation.override("en-gb"):
        yield


@pytest.mark.parametrize(
    ("count", "says"),
    [(1, "once"), (2, "twice"), (2.0, "twice"), (3, "3 times"), (2.5, "about 2.5 times")],
)
def test_how_often(count: float, says: str) -> None:
    assert times(count) == says


def test_a_season_says_at_least_and_that_it_is_not_over() -> None:
    assert texts.in_season(
        SUMMER, over=False, met=12.0, at_least=True, unmet=5, known=4, trips=5
    ) == (
        "Jul – Sep 2026 (not finished): at least 12 used, 5 needed but not in the kit; "
        "known for 4 of 5 trips."
    )
    assert texts.in_season(
        SUMMER, over=True, met=12.0, at_least=False, unmet=5, known=4, trips=5
    ).startswith("Jul – Sep 2026: 12 used")


@pytest.mark.parametrize(
    ("count", "absent", "says"),
    [
        (1, 0, "once"),
        (7, 7, "7 times, with nothing for this need on the kit’s list"),
        (3, 1, "3 times, of which once with nothing for this need on the kit’s list"),
    ],
)
def test_what_was_not_there_says_how_often_no_list_carried_it(
    count: int, absent: int, says: str
) -> None:
    assert texts.not_there(count, absent) == says


def test_what_was_met_with_other_items_says_at_least() -> None:
    assert texts.met_otherwise(0, at_least=True) == ""
    assert texts.met_otherwise(25, at_least=True) == (
        "the need that this item is for came up at least 25 times and was met with other items"
    )


@pytest.mark.parametrize(
    ("spread", "ends"),
    [
        (Spread(9, 5, 14, 11), "from 5 to 14. The actual number agrees with that."),
        (Spread(9, 5, 14, 15), "is above that: rely less on these numbers."),
        (Spread(9, 5, 14, 4), "is below that: rely less on these numbers."),
        (Spread(0, 0, 0, 0), "would have 0. The actual number agrees with that."),
    ],
)
def test_what_chance_does_is_said_as_ten_seasons(spread: Spread, ends: str) -> None:
    assert back_test_texts.chance_alone(spread).endswith(ends)


@pytest.mark.parametrize("happened", [4, 9, 14])
def test_what_was_not_all_counted_is_not_said_to_lie_within(happened: float) -> None:
    said = back_test_texts.chance_alone(Spread(9, 5, 14, happened), at_least=True)
    assert said.endswith("but not everything was counted: there may have been more.")
    above = back_test_texts.chance_alone(Spread(9, 5, 14, 15), at_least=True)
    assert above.endswith("is above that: rely less on these numbers.")


def test_what_was_expected_names_its_seasons() -> None:
    earlier = [Season(2025, 4), Season(2026, 1), Season(2026, 2)]
    assert back_test_texts.expected_shortages(
        earlier, SUMMER, Spread(9, 5, 14, 11), at_least=False
    ) == (
        "Jul – Sep 2026: about 9 shortages were expected, based on the records of Oct 2025 – "
        "Jun 2026. On record: 11."
    )
    assert "of Oct – Dec 2025." in back_test_texts.expected_uses(
        earlier[:1], Season(2026, 1), Spread(1.25, 0, 3, 1), at_least=False
    )
    assert back_test_texts.expected_uses(
        earlier, SUMMER, Spread(9, 5, 14, 11), at_least=True
    ).endswith("On record: at least 11.")


def test_the_needs_outside_are_named_with_their_direction() -> None:
    assert back_test_texts.outside(12, ["gloves", "sprain"], ["tick"]) == (
        "3 of 12 needs came up more or less often than chance alone explains. More often than "
        "expected: gloves, sprain. Plans may include too few items for these needs. Less often "
        "than expected: tick. By chance alone, about 1 need in 10 would come up more or less "
        "often than expected."
    )
    assert back_test_texts.outside(12, [], []) == (
        "Each of the 12 needs that had a rate came up about as often as expected."
    )
    assert back_test_texts.outside(0, [], []) == ""


def test_noted_wants_come_to_the_shortages_compared() -> None:
    wants: Counter[LeftOut | None] = Counter(
        {None: 2, LeftOut.NOT_ON_LIST: 2, LeftOut.WITHOUT_RATE: 1}
    )
    assert back_test_texts.noted_wants(SUMMER, wants, 1) == (
        "In Jul – Sep 2026, 5 items were noted as needed but not in the kit. 2 of them are "
        "among these shortages. Left out: 2 for which the kit’s list carried nothing; 1 for a "
        "need that had no rate before. 1 shortage was not noted: more was used than the list "
        "says."
    )
    assert back_test_texts.noted_wants(SUMMER, Counter(), 0) == (
        "In Jul – Sep 2026, nothing was noted as needed but not in the kit."
    )


def test_how_many_trips_are_known_is_said_in_full() -> None:
    assert texts.known_trips(59, 59).endswith("for all of them.")
    assert texts.known_trips(41, 59).startswith("We know what was used on 41 of 59 trips")
    assert back_test_texts.tested_trips(1, 0) == "1 trip with a kit is compared."
    assert back_test_texts.tested_trips(2, 1).endswith(
        "1 more is left out: the kit was not counted afterwards."
    )


@pytest.mark.parametrize(
    ("of", "says"), [(0, "0"), (1e-12, "under 0.1"), (0.12, "0.12"), (15, "15")]
)
def test_a_tiny_expectation_is_not_written_out(of: float, says: str) -> None:
    assert back_test_texts.average(of) == says
