"""What stands first on the pages of a plan: the few lines that matter most, in words."""

from collections.abc import Sequence
from dataclasses import dataclass

from kits.rules.planning.highlights import foremost
from kits.rules.planning.quantities import Basis
from kits.rules.planning.shares import LEAST_CHANCE
from kits.rules.planning.waste import CENT
from kits.services.planning.carrying import Carrying, Costs
from kits.services.planning.plans import LinePlan, Plan
from kits.services.text.planning import cost_texts, planning_texts as texts


@dataclass(frozen=True)
class ShortLine:
    """A line that runs out on so many of a hundred trips, and how many would be enough."""

    plan: LinePlan
    trips: str
    enough: str


@dataclass(frozen=True)
class ThrownAway:
    """A line of which so much money a year goes out of date unused."""

    plan: LinePlan
    money: str


def short_most(of: Plan) -> list[ShortLine]:
    """The lines that run out most often."""
    return [
        ShortLine(each, trips_short(each), _enough(each))
        for each in foremost(of.lines, _runs_out, least=LEAST_CHANCE)
    ]


def _runs_out(of: LinePlan) -> float | None:
    return of.change.runs_out if of.change else None


def trips_short(of: LinePlan) -> str:
    """Out of how many of a hundred trips a line runs out, or why that is not known, shortly."""
    if of.change is None:
        return texts.not_worked_out(of.basis)
    return texts.of_100_trips(of.change.runs_out, at_least=of.at_least)


def _enough(of: LinePlan) -> str:
    if of.enough <= of.quantity:
        return texts.enough_as_it_is()
    return texts.would_be_enough(of.enough, at_least=of.at_least)


def thrown_away_most(of: Costs) -> list[ThrownAway]:
    """The lines of which the most money is known to go out of date unused."""
    lines = [each.plan for each in of.lines if each.plan.basis is Basis.DEMAND]
    first = foremost(lines, lambda each: each.per_year.waste if each.per_year else None, least=CENT)
    return [
        ThrownAway(each, texts.money(each.per_year.waste, each.purchase.currency))
        for each in first
        if each.per_year
    ]


def savings(of: Costs) -> list[str]:
    """Where fewer would be enough and the most would be saved."""
    first = foremost(
        of.lines,
        lambda each: each.less_waste.fewer.saved if each.less_waste.fewer else None,
        least=CENT,
    )
    return [cost_texts.fewer_of(each.plan.line.item.name, fewer(each)) for each in first]


def fewer(of: Carrying) -> str:
    """What a smaller quantity of a line comes to; empty where none is spoken of."""
    if of.less_waste.fewer is None:
        return ""
    return cost_texts.fewer(
        **vars(of.less_waste.fewer),
        now=of.plan.quantity,
        currency=of.plan.purchase.currency,
    )


def never_used(of: Costs) -> Sequence[str]:
    """The items of which the record says that nothing was used for what they are for."""
    return [
        cost_texts.named(each.plan.line.item.name, must_have=each.plan.must_have)
        for each in of.lines
        if each.plan.needs and each.days and not each.uses and not each.at_least
    ]
