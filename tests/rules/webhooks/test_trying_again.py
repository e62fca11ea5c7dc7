"""What was not accepted is tried again for three days, ever more rarely."""

from datetime import UTC, datetime, timedelta
from email.utils import format_datetime

from hypothesis import example, given, strategies as some

from kits.rules.webhooks.trying_again import LONGEST_ASKED_FOR, WAITS, asked_to_wait, wait_after

CHANCES = some.floats(0, 1)
ASKED_FOR = some.timedeltas(timedelta(), timedelta(days=400))
NOW = datetime(2027, 5, 4, 7, tzinfo=UTC)


@given(some.lists(CHANCES, min_size=len(WAITS), max_size=len(WAITS)))
def test_it_is_given_up_after_about_three_days(chances: list[float]) -> None:
    waits = [wait_after(tries, chance) for tries, chance in enumerate(chances, start=1)]
    total = sum((wait for wait in waits if wait is not None), timedelta())
    assert None not in waits and wait_after(len(WAITS) + 1, 0.5) is None
    assert timedelta(days=3) * 0.89 < total < timedelta(days=3) * 1.1


@given(some.integers(1, len(WAITS)), CHANCES, CHANCES, ASKED_FOR)
def test_a_wait_is_spread_grows_and_is_never_less_than_was_asked_for(
    tries: int, chance: float, later: float, asked_for: timedelta
) -> None:
    wait = wait_after(tries, chance)
    longer = wait_after(tries, chance, asked_for)
    assert wait is not None and longer is not None and abs(wait / WAITS[tries - 1] - 1) < 0.101
    assert wait <= longer <= max(wait, LONGEST_ASKED_FOR)
    assert longer >= min(asked_for, LONGEST_ASKED_FOR)
    if tries < len(WAITS) and WAITS[tries] > WAITS[tries - 1]:
        following = wait_after(tries + 1, later)
        assert following is not None and following > wait


@given(ASKED_FOR, some.sampled_from([429, 503]), some.booleans())
def test_what_a_server_asks_for_is_read_in_either_form(
    asked_for: timedelta, status: int, as_date: bool
) -> None:
    whole = timedelta(seconds=int(asked_for.total_seconds()))
    seconds = str(int(whole.total_seconds()))
    text = format_datetime(NOW + whole, usegmt=True) if as_date else seconds
    assert asked_to_wait(status, text, NOW) == min(whole, LONGEST_ASKED_FOR)
    assert asked_to_wait(500, text, NOW) == timedelta()


@given(some.one_of(some.text(), some.from_regex(r"\w{3}, \d+ \w{3} \d+ \d+:\d+:\d+ \S*")))
@example("Mon, 01 Jan 99999999999999999999 00:00:00 GMT")
@example("Mon, 01 Jan 2027 00:00:00 +99999999999999999999")
def test_whatever_a_server_writes_there_breaks_nothing(text: str) -> None:
    assert timedelta() <= asked_to_wait(503, text, NOW) <= LONGEST_ASKED_FOR
