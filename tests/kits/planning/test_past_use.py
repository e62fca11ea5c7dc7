"""What happened, from the record, of the kits that somebody may see."""

from datetime import timedelta
from decimal import Decimal

import pytest

from gearroom.core import clock
from gearroom.core.acts import Actor, actor_of
from gearroom.core.models import Person
from kits.models import Activity, Need
from kits.rules.planning.records.recorded_use import Bears
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.custody.use import UseLine
from kits.services.ledger.undo import reversal
from kits.services.planning.past_use import PastUse, past_use
from kits.services.restocking import sorting
from kits.services.stock import disposing, receiving
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh, world
from tests.kits.planning.school import past, serve
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    made = world()
    serve(made)
    return made


def who(person: Person) -> Actor:
    return actor_of(present(person.user))


def of(w: World, **only: object) -> PastUse:
    return past_use(who(w.keeper), **only)  # type: ignore[arg-type]  # as each test names them


def test_without_a_trip_nothing_is_said(w: World) -> None:
    done = of(w)
    assert (done.known, done.trips) == (0, 0)
    assert not any((done.needs, done.seasons, done.not_there, done.never_used, done.thrown_out))
    assert done.spent == {}


def test_uses_are_told_by_need_and_activity(w: World) -> None:
    caving = Activity.objects.get(key="caving")
    past(w, UseLine(w.dressing, 4), activity=caving)
    past(w, UseLine(w.tablets, 1))
    past(w, counted=False)
    small, pain = of(w).needs
    assert (small.whole.need.key, small.whole.recorded.uses) == ("small-wound", 2)
    assert (small.whole.known, small.whole.trips) == (2, 3)
    assert [(use.activity, use.recorded.uses) for use in small.activities] == [
        (caving, 2),
        (None, 0),
    ]
    assert small.whole.recorded.bears is Bears.TOO_FEW
    assert pain.whole.recorded.uses == 1
    (only,) = of(w, activity=caving, need=small.whole.need).needs
    assert only.whole.recorded.uses == 2


def test_twenty_uses_say_how_often(w: World) -> None:
    past(w, UseLine(w.tablets, 8))
    for _ in range(2):
        sorting.restock(act(w.keeper), fresh(w.day_01))
        past(w, UseLine(w.tablets, 8))
    pain = of(w, need=Need.objects.get(key="headache")).needs[0].whole.recorded
    assert (pain.uses, pain.bears) == (24, Bears.RATE)


def test_seasons_follow_each_other_with_what_was_met_and_what_was_not(w: World) -> None:
    past(w, UseLine(w.dressing, 2), remarks=Remarks(needed=[NeedLine(w.tablets)]))
    with clock.pretending(clock.now() + timedelta(days=2 * 92)):
        past(w)
    with clock.pretending(clock.now() + timedelta(days=3 * 92)):
        seasons = of(w).seasons
    assert (seasons[0].met, seasons[0].unmet, seasons[0].known) == (1, 1, 1)
    assert (seasons[1].known, seasons[1].trips) == (0, 0)
    assert (seasons[-1].met, seasons[-1].known) == (0, 1)


def test_what_was_not_there_is_told_with_its_trips_by_item_or_in_words(w: World) -> None:
    first = past(w, remarks=Remarks(needed=[NeedLine(w.gauge), NeedLine(words="crutch")]))
    second = past(w, remarks=Remarks(needed=[NeedLine(w.gauge)]))
    told = [(each.item, each.words, list(each.trips)) for each in of(w).not_there]
    assert told == [(w.gauge, "", [first, second]), (None, "crutch", [first])]


def test_never_used_says_of_how_many_trips_that_is_known(w: World) -> None:
    past(w, UseLine(w.tablets, 1))
    past(w, counted=False)
    (never,) = of(w).never_used  # neither a tool nor what is judged by eye
    assert (never.item, never.must_have, never.known, never.trips) == (w.dressing, True, 1, 2)
    assert (never.recorded.uses, never.recorded.days) == (0, 8)


def test_what_was_needed_and_not_there_is_not_never_used(w: World) -> None:
    past(w, remarks=Remarks(needed=[NeedLine(w.dressing)]))
    assert w.dressing not in [each.item for each in of(w).never_used]


def test_what_is_thrown_out_has_its_price_and_what_is_undone_has_not(w: World) -> None:
    arrived = receiving.receive(
        act(w.keeper), item=w.dressing, units=10, number="N1", expiry=make.days(3),
        shelf=w.shelf, price=Decimal(15), currency="GBP",
    )  # fmt: skip
    with clock.pretending(clock.now() + timedelta(days=9)):
        thrown = disposing.dispose(act(w.keeper), place=w.shelf, lot=arrived.lot, units=4)
    (one,) = of(w).thrown_out
    assert (one.item, one.units, one.expired) == (w.dressing, 4, 4)
    assert of(w).spent == {"GBP": Decimal("6.00")}
    with clock.pretending(clock.now() + timedelta(days=9)):
        reversal.reverse(act(w.keeper), thrown.pk)
    assert of(w).thrown_out == []


def test_another_room_sees_nothing_of_it(w: World) -> None:
    past(w, UseLine(w.dressing, 2), remarks=Remarks(needed=[NeedLine(words="crutch")]))
    done = past_use(who(w.stranger))
    assert (done.trips, done.needs, done.not_there, done.never_used) == (0, [], [], [])
