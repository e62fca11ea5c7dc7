"""The last season beside what was expected of it."""

from contextlib import AbstractContextManager
from datetime import timedelta
from decimal import Decimal

import pytest

from gearroom.core import clock
from kits.models import Need
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.custody.use import UseLine
from kits.services.planning import back_tests
from kits.services.planning.records import priors
from tests.kits.factories import World, act, world
from tests.kits.planning.school import past, serve
from tests.present import present

pytestmark = pytest.mark.django_db
SEASON = 92


@pytest.fixture
def w() -> World:
    made = world()
    serve(made)
    return made


def after(seasons: int) -> AbstractContextManager[None]:
    """So many seasons from now."""
    return clock.pretending(clock.now() + timedelta(days=SEASON * seasons))


def test_with_fewer_than_two_seasons_over_there_is_none(w: World) -> None:
    assert back_tests.back_test() is None
    past(w, UseLine(w.dressing, 2))
    assert back_tests.back_test() is None  # it is not over
    with after(2):
        past(w)
        assert back_tests.back_test() is None  # one is over, the other is not


def test_what_the_first_season_lets_expect_stands_beside_what_the_next_brought(w: World) -> None:
    past(w, UseLine(w.dressing, 2))  # one use in 8 participant-days
    with after(1):
        past(w, UseLine(w.dressing, 2), people=16)
        past(w, people=16, remarks=Remarks(needed=[NeedLine(w.dressing)]))
    with after(3):
        done = present(back_tests.back_test())
    (only,) = [each for each in done.needs if each.need.key == "small-wound"]
    assert (done.trips, done.not_counted, len(done.earlier)) == (2, 0, 1)
    assert only.done.uses.expected == pytest.approx(1.5 / 8 * 32, rel=1e-3)
    assert only.done.uses.happened == 2
    assert only.done.shortages.happened == 1
    assert done.whole == only.done
    assert done.without_rate == {}


def test_a_need_that_had_no_rate_then_is_named_and_not_expected(w: World) -> None:
    past(w)
    with after(1):
        past(w, UseLine(w.tablets, 3))
    with after(3):
        done = present(back_tests.back_test())
    assert {need.key: uses for need, uses in done.without_rate.items()} == {"headache": 3}
    assert done.whole.uses.happened == 0


def test_what_was_stated_later_was_not_known_then(w: World) -> None:
    past(w)
    with after(1):
        past(w, UseLine(w.tablets, 3))
        priors.state(act(w.adviser), Need.objects.get(key="headache"), None, per_1000=Decimal(50))
    with after(3):
        done = present(back_tests.back_test())
    assert [need.key for need in done.without_rate] == ["headache"]


def test_what_nobody_counted_is_left_out_and_said(w: World) -> None:
    past(w, UseLine(w.dressing, 2))
    with after(1):
        past(w, UseLine(w.dressing, 2))
        past(w, counted=False)
    with after(3):
        done = present(back_tests.back_test())
    assert (done.trips, done.not_counted) == (1, 1)
