"""What counts as a want that was not met, and which of them a comparison leaves out."""

import pytest

from kits.rules.planning.back_test import LeftOut, left_out
from kits.rules.planning.records.wants import Lack, want


@pytest.mark.parametrize(
    ("item", "words", "lack"),
    [(1, "", Lack.GONE), (2, "", Lack.NOT_ON_LIST), (None, "a crutch", Lack.OWN_WORDS)],
)
def test_why_something_was_not_there(item: int | None, words: str, lack: Lack) -> None:
    assert want(7, item, words, on_list={1}).lack is lack


@pytest.mark.parametrize(
    ("item", "counted", "rated", "unrated", "why"),
    [
        (1, True, {5}, set(), None),
        (1, True, {5}, {6}, None),
        (1, True, set(), {6}, LeftOut.WITHOUT_RATE),
        (1, True, set(), set(), LeftOut.NO_NEED),
        (2, True, set(), set(), LeftOut.NOT_ON_LIST),
        (1, False, {5}, set(), LeftOut.NOT_COUNTED),
        (None, False, set(), set(), LeftOut.OWN_WORDS),
    ],
)
def test_every_want_is_compared_or_has_one_reason(
    item: int | None, counted: bool, rated: set[int], unrated: set[int], why: LeftOut | None
) -> None:
    found = left_out(want(7, item, "", on_list={1}), counted=counted, rated=rated, unrated=unrated)
    assert found is why
