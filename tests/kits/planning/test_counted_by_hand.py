"""What the pages count, beside a count by hand of the rows: no rule of ours is asked here."""

import random
from collections import Counter
from datetime import date, timedelta

import pytest

from gearroom.core import clock
from gearroom.core.acts import actor_of
from kits.models import AsFound, Checkout, Item, ListLine, Movement, UnmetNeed
from kits.services.custody.returns import NeedLine, Remarks
from kits.services.custody.use import UseLine
from kits.services.planning import back_tests, past_use, replays
from kits.services.restocking import sorting
from tests.kits import factories as make
from tests.kits.factories import World, act, fresh, world
from tests.kits.planning.school import past, serve
from tests.present import present

pytestmark = pytest.mark.django_db
Quarter = tuple[int, int]


def play(w: World, seed: int) -> int:
    """Trips over five quarters, of which one in five is not counted; the days that they took."""
    draw, splint = random.Random(seed), make.item("Splint")
    for n in range(15):
        with clock.pretending(clock.now() + timedelta(days=30 * n)):
            needed = [
                NeedLine(item) if item else NeedLine(words=draw.choice(("a crutch", "sun cream")))
                for item in draw.choices((w.dressing, splint, w.gauge, None), k=draw.randrange(2))
            ]
            if counted := draw.random() < 0.8:
                sorting.restock(act(w.keeper), fresh(w.day_01))
            taken = draw.randrange(7) if counted else 0
            past(
                w,
                *([UseLine(w.dressing, taken)] if taken else []),
                remarks=Remarks(needed=needed),
                counted=counted,
            )
    return 30 * 15


def quarter(day: date) -> Quarter:
    return day.year, (day.month - 1) // 3 + 1


def trip_of(row: UnmetNeed) -> tuple[Checkout, date]:
    checkout = present(row.entry.checkout)
    return checkout, present(checkout.trip).first_day


@pytest.mark.parametrize("seed", range(2))
def test_wants_by_season_and_by_item_are_the_rows(seed: int) -> None:
    w = world()
    serve(w)
    days = play(w, seed)
    rows = list(UnmetNeed.objects.all())
    with clock.pretending(clock.now() + timedelta(days=days)):
        done = past_use.past_use(actor_of(present(w.keeper.user)))
    by_quarter = Counter(quarter(trip_of(row)[1]) for row in rows)
    assert {(s.season.year, s.season.quarter): s.unmet for s in done.seasons if s.unmet} == (
        by_quarter
    )
    assert {(each.item, each.words): each.times for each in done.not_there} == Counter(
        (row.item, row.words) for row in rows
    )
    on_list = set(ListLine.objects.values_list("item", flat=True))
    assert sum(each.not_on_list for each in done.not_there) == sum(
        row.item_id is not None and row.item_id not in on_list for row in rows
    )
    assert sum(each.known for each in done.seasons) == len(known())


def known() -> list[Checkout]:
    """What is known: closed, or somebody said what was used."""
    return list(Checkout.objects.exclude(as_found=AsFound.SORT_LATER))


def wanted(of: Checkout) -> Counter[int]:
    found = Counter[int]()
    for leg in Movement.objects.filter(entry__checkout=of, to_place__kind="used"):
        found[leg.lot.item_id] += leg.units
    for row in UnmetNeed.objects.filter(entry__checkout=of, item__isnull=False):
        found[present(row.item_id)] += 1
    return found


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("carry", [1, 4])
def test_a_replay_lacks_what_the_rows_lack(seed: int, carry: int) -> None:
    w = world()
    serve(w)
    days = play(w, seed)
    ListLine.objects.filter(item=w.dressing).update(carry=carry, never_below=1)
    on_list = dict(ListLine.objects.values_list("item", "carry"))
    with clock.pretending(clock.now() + timedelta(days=days)):
        done = replays.of_version(w.day_01.list_version)
    absent, ran_out = set[int](), set[int]()
    for checkout in known():
        for item, units in wanted(checkout).items():
            if units > on_list.get(item, 0):
                (ran_out if item in on_list else absent).add(checkout.pk)
    assert (done.done.counted, len(done.done.not_counted)) == (len(known()), 15 - len(known()))
    assert done.done.not_on_list_trips == len(absent)
    assert done.done.ran_out_trips == len(ran_out)
    assert done.done.short_trips == len(absent | ran_out)
    assert Counter(words for _trip, words in done.own_words) == Counter(
        UnmetNeed.objects.filter(item=None).values_list("words", flat=True)
    )
    counted = {checkout.pk for checkout in known()}
    assert done.wants_not_counted == sum(
        row.item_id is not None and trip_of(row)[0].pk not in counted
        for row in UnmetNeed.objects.all()
    )


@pytest.mark.parametrize("seed", range(2))
def test_the_last_seasons_wants_are_compared_or_left_out_and_none_twice(seed: int) -> None:
    w = world()
    serve(w)
    days = play(w, seed)
    with clock.pretending(clock.now() + timedelta(days=days + 92)):
        done = present(back_tests.back_test())
    season = (done.season.year, done.season.quarter)
    rows = [row for row in UnmetNeed.objects.all() if quarter(trip_of(row)[1]) == season]
    assert sum(done.wants.values()) == len(rows)
    counted = {checkout.pk for checkout in known()}
    dressing = [
        trip_of(row)[0].pk
        for row in rows
        if row.item == w.dressing and trip_of(row)[0].pk in counted
    ]
    assert done.wants[None] == len(dressing)
    carried = Item.objects.get(pk=w.dressing.pk).list_lines.get().carry // 2
    uses = {
        checkout.pk: -(-wanted(checkout)[w.dressing.pk] // 2)
        for checkout in known()
        if quarter(present(checkout.trip).first_day) == season
    }
    beyond = sum(units > carried for pk, units in uses.items() if pk not in dressing)
    assert done.whole.shortages.happened == len(set(dressing)) + beyond
    assert done.beyond_list == beyond
