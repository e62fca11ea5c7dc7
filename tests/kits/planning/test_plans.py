"""Rates, plans and replays out of our own records."""

from decimal import Decimal

import pytest

from gearroom.core.acts import Invalid, NotAllowed
from kits.models import Activity, Need
from kits.rules.planning import demand, units_per_use
from kits.services.custody.use import UseLine
from kits.services.lists import drafts, packing_lists
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.planning import plans, priors, rates, replays
from tests.kits.factories import World, act, world
from tests.kits.planning.school import past, serve
from tests.present import present

pytestmark = pytest.mark.django_db


@pytest.fixture
def w() -> World:
    made = world()
    serve(made)
    return made


def small_wound() -> Need:
    return Need.objects.get(key="small-wound")


def test_without_a_prior_and_without_a_use_there_is_no_rate(w: World) -> None:
    past(w)
    of = rates.records().rate(small_wound(), rates.NO_ACTIVITY)
    assert (of.rate, of.prior, of.uses, of.days) == (None, None, 0, 8)


def test_uses_and_days_of_past_trips_make_a_rate(w: World) -> None:
    past(w, UseLine(w.dressing, 3))  # two a use: two uses
    past(w)
    of = rates.records().rate(small_wound(), rates.NO_ACTIVITY)
    assert (of.uses, of.days, of.known_trips, of.trips) == (2, 16, 2, 2)
    assert of.interval is not None
    low, high = of.interval
    assert low < 2 / 16 < high


def test_a_trip_of_an_activity_counts_for_it_alone(w: World) -> None:
    caving = Activity.objects.get(key="caving")
    past(w, UseLine(w.dressing, 2), activity=caving)
    known = rates.records()
    assert known.rate(small_wound(), "caving", caving.pk).uses == 1
    assert known.rate(small_wound(), rates.NO_ACTIVITY).uses == 0


def test_only_the_adviser_states_a_rate_and_the_latest_counts(w: World) -> None:
    with pytest.raises(NotAllowed):
        priors.state(act(w.keeper), small_wound(), None, per_1000=Decimal(5))
    with pytest.raises(Invalid):
        priors.state(act(w.adviser), small_wound(), None, per_1000=Decimal(0))
    priors.state(act(w.adviser), small_wound(), None, per_1000=Decimal(5))
    priors.state(act(w.adviser), small_wound(), None, per_1000=Decimal(8), weight=Decimal(2))
    prior = present(rates.records().rate(small_wound(), rates.NO_ACTIVITY).prior)
    assert (prior.mean, prior.weight) == (0.008, 2)
    priors.state(act(w.adviser), small_wound(), None, per_1000=None)
    assert rates.records().rate(small_wound(), rates.NO_ACTIVITY).prior is None


def test_with_no_history_the_prior_comes_back(w: World) -> None:
    priors.state(act(w.adviser), small_wound(), None, per_1000=Decimal(5))
    of = present(rates.records().rate(small_wound(), rates.NO_ACTIVITY).rate)
    assert of.mean == pytest.approx(0.005)


def test_demand_can_be_computed_again_from_what_stands_beside_it(w: World) -> None:
    past(w, UseLine(w.dressing, 3))
    done = plans.plan(w.version, people=10, days=2)
    line = next(each for each in done.lines if each.line.item_id == w.dressing.pk)
    (part,) = line.needs
    units = demand.units_of_use(part.units_per_use)
    again = demand.demand(present(part.rate.rate), done.planned_days, units)
    assert list(again) == list(present(line.demand))
    assert part.units_per_use == units_per_use.chances(2, {})
    assert done.planned_days == 20


def test_a_line_without_a_rate_is_named_and_nothing_is_said_of_how_many(w: World) -> None:
    done = plans.plan(w.version)
    assert {line.item_id for line in done.without_rate} == {
        w.dressing.pk, w.shears.pk, w.plasters.pk, w.tablets.pk,
    }  # fmt: skip
    assert done.lacks_something == 0
    assert all(line.change is None for line in done.lines)


def test_more_people_never_make_it_last_longer(w: World) -> None:
    past(w, UseLine(w.dressing, 3))
    few, many = (plans.plan(w.version, people=people) for people in (4, 20))
    assert few.lacks_something < many.lacks_something


def test_what_a_must_have_proposes_is_one_use_at_least(w: World) -> None:
    past(w, UseLine(w.dressing, 1))
    done = plans.plan(w.version, people=1)
    line = next(each for each in done.lines if each.line.item_id == w.dressing.pk)
    assert line.enough >= max(line.line.never_below, 2)


def test_a_draft_is_taken_on_past_trips_beside_what_is_followed(w: World) -> None:
    past(w, UseLine(w.dressing, 5))
    past(w, UseLine(w.dressing, 1))
    w.dressing.mass_g = 20
    w.dressing.save()
    w.version.packing_list.versions.update(published_at=w.version.published_at)
    draft = drafts.new_draft(act(w.keeper), w.version.packing_list)
    drafts.edit_draft(
        act(w.keeper),
        draft,
        Draft(people=10, days=1, sections=[SectionDraft("main", [LineDraft(w.dressing, 4)])]),
    )
    done = replays.of_version(packing_lists.version_of(draft.packing_list_id, draft.number))
    assert done.done.counted == 2
    (short,) = done.shortages
    assert (short.item, short.short.wanted, short.short.lacking) == (w.dressing, 5, 1)
    assert done.lighter_g == 2 * 20
