"""What lines cost to carry, what of a kit's batches expires unused, and what is said of less."""

from collections import Counter
from dataclasses import replace
from decimal import Decimal

import pytest

from kits.models import ItemNeed, ListLine, Need
from kits.rules.ledger.facts import Criticality
from kits.rules.planning.quantities import Basis
from kits.rules.planning.waste import LEAST_SAVING
from kits.services.custody.use import UseLine
from kits.services.planning import carrying, expiring, plans
from kits.services.planning.carrying import Carrying
from kits.services.planning.records import priors, rates
from kits.services.stock import catalogue, receiving
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


def bought(w: World, units: int = 10, price: str = "60", days: int = 730) -> None:
    receiving.receive(
        act(w.keeper), item=w.dressing, shelf=w.shelf, units=units, number="P",
        expiry=make.days(days), price=Decimal(price), currency="GBP",
    )  # fmt: skip


def stated(w: World, need: str, per_1000: str) -> None:
    priors.state(act(w.adviser), Need.objects.get(key=need), None, per_1000=Decimal(per_1000))


def of(w: World, item: str = "Wound dressing 10 × 12") -> Carrying:
    known = rates.records()
    costs = carrying.costs(plans.plan(w.version, known=known), known)
    return next(each for each in costs.lines if each.plan.line.item.name == item)


def test_without_a_rate_it_costs_what_it_would_if_none_were_used(w: World) -> None:
    bought(w)
    cost = present(of(w).plan.per_year)
    assert cost.carrying == cost.waste > 0
    assert of(w).plan.expires_unused is None


def test_without_a_price_or_a_shelf_life_nothing_is_said(w: World) -> None:
    assert of(w).plan.per_year is None
    assert of(w, "Shears").plan.unused_share is None  # it comes back


def test_what_is_used_more_wastes_less(w: World) -> None:
    bought(w)
    stated(w, "small-wound", "1")
    rare = of(w).plan
    stated(w, "small-wound", "40")
    often = of(w).plan
    assert present(often.unused_share) < present(rare.unused_share)
    assert present(often.per_year).waste < present(rare.per_year).waste


def test_no_use_in_a_few_days_is_too_few_to_judge_and_in_many_is_not(w: World) -> None:
    past(w)
    assert of(w).too_few
    for _each in range(3):
        past(w, people=3000)
    many = of(w)
    assert (many.uses, many.days) == (0, 9008)
    past(w, UseLine(w.dressing, 2))
    assert not of(w).too_few


def test_what_else_on_the_list_serves_the_same_is_named(w: World) -> None:
    assert of(w).instead == []
    ItemNeed.objects.create(item=w.tablets, need=Need.objects.get(key="small-wound"))
    assert of(w).instead == ["Pain tablets"]


def test_what_comes_back_costs_no_use_and_what_gets_lost(w: World) -> None:
    ItemNeed.objects.create(item=w.shears, need=Need.objects.get(key="small-wound"))
    stated(w, "small-wound", "200")
    receiving.receive(
        act(w.keeper), item=w.shears, shelf=w.shelf, units=10, number="S",
        price=Decimal(41), currency="GBP",
    )  # fmt: skip
    shears = of(w, "Shears").plan
    assert shears.basis is Basis.COMES_BACK
    assert present(shears.per_year).carrying == 0
    assert shears.unused_share is None
    past(w)
    known = rates.records()
    lost = replace(
        known, trips=[replace(t, lost_at_count=Counter({w.shears.pk: 1})) for t in known.trips]
    )
    line = next(
        each for each in plans.plan(w.version, known=lost).lines if each.line.item == w.shears
    )
    assert present(line.per_year).carrying == Decimal("4.10")  # one kit, one year or less


def test_the_sum_is_that_of_its_lines_and_says_what_it_leaves_out(w: World) -> None:
    bought(w)
    known = rates.records()
    costs = carrying.costs(plans.plan(w.version, known=known), known)
    per_year = [each.plan.per_year for each in costs.lines if each.plan.per_year]
    assert costs.by_currency["GBP"].carrying == sum(each.carrying for each in per_year)
    assert costs.by_currency["GBP"].waste == sum(each.waste for each in per_year)
    assert (costs.loose, costs.not_known) == (1, len(costs.lines) - 1 - len(per_year))


def less_of(w: World, criticality: Criticality) -> carrying.LessWaste:
    bought(w)
    stated(w, "small-wound", "1")
    ListLine.objects.filter(item=w.dressing).update(criticality=criticality.value, never_below=0)
    return of(w).less_waste


def test_fewer_are_spoken_of_where_they_are_enough(w: World) -> None:
    fewer = present(less_of(w, Criticality.ROUTINE).fewer)
    assert fewer.quantity == 2  # one use
    assert fewer.saved >= LEAST_SAVING
    assert fewer.runs_out > fewer.runs_out_now


def test_for_pennies_nobody_is_offered_to_carry_fewer(w: World) -> None:
    bought(w, price="2")
    stated(w, "small-wound", "1")
    ListLine.objects.filter(item=w.dressing).update(criticality="routine", never_below=0)
    assert present(of(w).plan.per_year).waste > 0
    assert of(w).less_waste.fewer is None


def test_fewer_of_a_must_have_are_never_spoken_of(w: World) -> None:
    less = less_of(w, Criticality.MUST_HAVE)
    assert less.fewer is None
    assert less.shared is None


def test_a_smaller_pack_and_an_undated_item_are_named(w: World) -> None:
    catalogue.put_pack_code(act(w.keeper), w.dressing, gtin="09506000134352", units_per_pack=50)
    ItemNeed.objects.create(item=w.shears, need=Need.objects.get(key="small-wound"))
    less = less_of(w, Criticality.IMPORTANT)
    assert less.smaller_pack == 50
    assert less.undated == ["Shears"]


def test_the_batches_in_a_kit_are_used_in_the_order_of_their_dates(w: World) -> None:
    stated(w, "small-wound", "40")
    make.put_in(w.day_01, w.lots["d2"], w.upper, 2)
    known = rates.records()
    plan = plans.plan(w.version, known=known)
    first, second = expiring.of_kit(fresh(w.day_01), plan, make.days(0))[w.dressing.pk]
    assert [each.lot.number for each in (first, second)] == ["D1", "D2"]
    assert 0 <= first.unused <= first.units == 6
    assert 0 <= second.unused <= second.units == 2
    assert not first.use_first  # it is good for more than half a year
    soon = expiring.of_kit(fresh(w.day_01), plan, make.days(395))[w.dressing.pk]
    assert soon[0].use_first


def test_a_kit_without_rates_says_nothing_of_its_batches(w: World) -> None:
    known = rates.records()
    plan = plans.plan(w.version, known=known)
    assert expiring.of_kit(fresh(w.day_01), plan, make.days(0)) == {}


def test_hours_to_care_are_the_most_on_record(w: World) -> None:
    trip = past(w)
    trip.hours_to_care = Decimal(6)
    trip.save(update_fields=["hours_to_care"])
    past(w)
    known = rates.records()
    assert carrying.costs(plans.plan(w.version, known=known), known).hours == 6
