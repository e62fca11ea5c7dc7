"""Rates, plans and replays out of our own records."""

from decimal import Decimal

import pytest

from gearroom.core.acts import Invalid, NotAllowed
from kits.models import Activity, ItemNeed, Need
from kits.rules.planning import demand
from kits.rules.planning.quantities import Basis
from kits.rules.planning.records import units_per_use
from kits.rules.planning.shares import Most
from kits.services.custody.use import UseLine
from kits.services.lists import drafts, packing_lists
from kits.services.lists.drafts import Draft, LineDraft, SectionDraft
from kits.services.planning import plans, replays
from kits.services.planning.records import priors, rates
from kits.services.planning.records.history import usual_activity
from tests.kits.factories import World, act, fresh, world
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
    assert known.rate(small_wound(), "camp").uses == 0
    assert known.rate(small_wound(), rates.NO_ACTIVITY).uses == 1


def test_the_rate_of_no_activity_is_that_of_all_trips(w: World) -> None:
    for key in ("caving", "camp"):
        past(w, UseLine(w.dressing, 2), activity=Activity.objects.get(key=key))
    known = rates.records()
    every = known.rate(small_wound(), rates.NO_ACTIVITY)
    assert (every.pooled, every.uses, every.known_trips, every.days) == (True, 2, 2, 16)
    assert present(every.rate).mean == pytest.approx(2.5 / 16)
    assert not known.rate(small_wound(), "caving").pooled


def test_a_kit_has_the_activity_that_most_of_its_trips_had(w: World) -> None:
    caving = Activity.objects.get(key="caving")
    kit = fresh(w.day_01)
    assert usual_activity(kit, rates.records().trips) is None
    past(w, activity=caving)
    past(w)
    assert usual_activity(kit, rates.records().trips) is None
    past(w, activity=caving)
    assert usual_activity(kit, rates.records().trips) == Most(caving.pk, 2, 3)
    past(w)
    past(w)
    assert usual_activity(kit, rates.records().trips) is None  # most trips do not say


def test_a_must_have_is_lacking_less_often_than_something(w: World) -> None:
    for need in ("small-wound", "headache"):
        priors.state(act(w.adviser), Need.objects.get(key=need), None, per_1000=Decimal(40))
    done = plans.plan(w.version, people=30)
    by_item = {each.line.item_id: each for each in done.lines}
    assert by_item[w.dressing.pk].must_have
    dressing, tablets = (present(by_item[each.pk].change) for each in (w.dressing, w.tablets))
    assert done.lacks_must_have == dressing.runs_out
    assert done.lacks_something == pytest.approx(
        1 - (1 - dressing.runs_out) * (1 - tablets.runs_out)
    )


def test_what_comes_back_does_not_run_out(w: World) -> None:
    ItemNeed.objects.create(item=w.shears, need=small_wound())
    priors.state(act(w.adviser), small_wound(), None, per_1000=Decimal(500))
    done = plans.plan(w.version)
    shears = next(each for each in done.lines if each.line.item_id == w.shears.pk)
    assert (shears.basis, shears.demand, shears.change) == (Basis.COMES_BACK, None, None)


def test_a_need_without_a_rate_makes_a_line_at_least(w: World) -> None:
    ItemNeed.objects.create(item=w.dressing, need=Need.objects.get(key="large-wound"))
    past(w, UseLine(w.tablets, 1))
    priors.state(act(w.adviser), small_wound(), None, per_1000=Decimal(5))
    line = next(each for each in plans.plan(w.version).lines if each.line.item_id == w.dressing.pk)
    assert line.at_least


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
    assert {each.line.item_id: each.basis for each in done.lines} == {
        w.dressing.pk: Basis.NO_RATE,
        w.shears.pk: Basis.COMES_BACK,
        w.plasters.pk: Basis.LOOSE,
        w.tablets.pk: Basis.NO_RATE,
    }
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
