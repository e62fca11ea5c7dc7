"""Which kit of a room would be missed least."""

import pytest
from pytest_django import DjangoAssertNumQueries

from gearroom.core.acts import NotAllowed
from kits.services.custody import custody
from kits.services.kits import holds
from kits.services.leaving import missed
from kits.services.trips import reservations
from tests.kits import factories as make
from tests.kits.factories import act, actor
from tests.site.browsing import browser, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> make.World:
    made = make.world()
    custody.check_out(
        act(made.keeper), made.day_01, person=made.guide, trip=make.trip("Hill day", made.store)
    )
    custody.check_in(act(made.keeper), made.day_01)
    return made


def rows(w: make.World) -> dict[str, missed.SpareKit]:
    return {row.kit.name: row for row in missed.spare_kits(actor(w.keeper), w.store)}


def test_the_kit_that_was_nowhere_is_first_and_its_twin_would_do_for_the_other(
    w: make.World,
) -> None:
    assert next(iter(rows(w))) == "DAY-02"
    assert (rows(w)["DAY-02"].missed.past, rows(w)["DAY-01"].missed.past) == (0, 1)
    assert rows(w)["DAY-01"].past == []
    assert rows(w)["DAY-01"].units_ending == 8  # its tablets


def test_a_twin_in_storage_or_out_that_day_is_not_counted_on(w: make.World) -> None:
    holds.lay_up(act(w.keeper), w.day_02)
    assert [trip.name for trip in rows(w)["DAY-01"].past] == ["Hill day"]
    holds.wake(act(w.keeper), w.day_02)
    custody.check_out(act(w.keeper), w.day_02, person=w.guide, emergency=True)
    assert [trip.name for trip in rows(w)["DAY-01"].past] == ["Hill day"]


def test_coming_trips_count_before_past_ones(w: make.World) -> None:
    for kit in (w.day_01, w.day_02):
        reservations.reserve(act(w.keeper), kit, make.trip(f"Cave {kit.name}", w.store, 4, 4))
    assert [trip.name for trip in rows(w)["DAY-02"].coming] == ["Cave DAY-02"]
    make.kit("DAY-03", w.version, w.store)
    assert rows(w)["DAY-02"].coming == []
    assert next(iter(rows(w))) == "DAY-03"


def test_a_kit_of_a_fuller_list_will_do_and_one_of_a_smaller_will_not(w: make.World) -> None:
    holds.lay_up(act(w.keeper), w.day_02)
    small = make.kit_list("Small", {}, people=2, days=1)
    make.kit("SMALL-1", small, w.store)
    assert [trip.name for trip in rows(w)["DAY-01"].past] == ["Hill day"]
    full = make.kit_list("Expedition", {}, people=20, days=7)
    make.kit("EXPED-1", full, w.store)
    assert rows(w)["DAY-01"].past == []


def test_what_ends_within_a_year_is_what_it_costs_to_keep(w: make.World) -> None:
    soon = make.some(w.dressing, w.shelf, 2, "SOON", make.days(60))
    make.put_in(w.day_02, soon, w.shelf, 2)
    assert rows(w)["DAY-02"].units_ending == 2


def test_training_kits_and_lost_ones_are_left_out_and_only_keepers_ask(w: make.World) -> None:
    holds.mark_lost(act(w.keeper), w.day_02)
    assert "DAY-02" not in rows(w)
    with pytest.raises(NotAllowed):
        missed.spare_kits(actor(w.guide), w.store)


def test_its_queries_do_not_grow_with_kits(
    w: make.World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    with django_assert_max_num_queries(19) as few:
        rows(w)
    for n in range(5):
        make.kit(f"MORE-{n}", w.version, w.store)
    with django_assert_max_num_queries(len(few.captured_queries)):
        rows(w)


def test_the_page_says_why_in_words(w: make.World) -> None:
    text = text_of(browser(w.keeper).get("/stock/spare-kits/"))
    assert text.index("DAY-02") < text.index("DAY-01")
    assert "The kit was not on any trip in the last 12 months." in text
    assert (
        "The 1 trip that the kit was on in the last 12 months could have had another kit." in text
    )
    assert "This does not check whether the other kit was ready on the day" in text
    assert "/stock/spare-kits/" in browser(w.keeper).get("/kits/").content.decode()
