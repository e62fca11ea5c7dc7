"""What a list comes to for so many people and days, and what its lines cost to carry: of a version
of a list (a draft too), or of the one that a kit follows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy

from gearroom.core.acts import Invalid, Problem
from gearroom.site.web.lists.packing_lists import kits_of_list
from gearroom.site.web.page.forms import PageForm, ShortText, WholeNumber
from gearroom.site.web.page.shell import actor, read_page, show, today_here
from gearroom.site.web.planning import fits, highlights, pictures, shown_rates
from gearroom.site.web.planning.vocabulary import chosen_activity
from kits.models import Activity, Kit, PackingListVersion
from kits.rules.planning import quantities, shares
from kits.rules.planning.quantities import Basis
from kits.services.lists import drafts, packing_lists
from kits.services.lookup import find
from kits.services.planning import carrying, expiring, plans
from kits.services.planning.carrying import Carrying
from kits.services.planning.expiring import BatchInKit
from kits.services.planning.plans import LinePlan, Plan
from kits.services.planning.records import rates
from kits.services.planning.records.history import usual_activity
from kits.services.text.planning import cost_texts, planning_texts as texts, rate_texts


class QuestionForm(PageForm):
    """For whom and what a plan is."""

    people = WholeNumber(
        least=1, most=drafts.MOST_PEOPLE, required=False, label=gettext_lazy("People")
    )
    days = WholeNumber(least=1, most=drafts.MOST_DAYS, required=False, label=gettext_lazy("Days"))
    activity = ShortText(40)


@dataclass(frozen=True)
class _Subject:
    """Whose plan it is: a version, or a kit that follows it."""

    version: PackingListVersion
    kit: Kit | None = None


@dataclass(frozen=True)
class _Answer:
    """The plan for what was asked, or for what the list is made for where that was wrong; `usual`:
    why it is for an activity that nobody asked for."""

    plan: Plan
    activity: Activity | None
    usual: str
    problem: Problem | None


def _answer(request: HttpRequest, of: _Subject, known: rates.Records) -> _Answer:
    problem, usual = None, ""
    asked: dict[str, Any] = {}
    try:
        asked = QuestionForm.read(request.GET)
        asked["activity"] = chosen_activity(asked["activity"])
    except Invalid as wrong:
        problem, asked = wrong, {}
    if of.kit and "activity" not in request.GET:
        asked["activity"], usual = _usual(of.kit, known)
    return _Answer(
        plans.plan(of.version, known=known, **asked), asked.get("activity"), usual, problem
    )


def _usual(kit: Kit, known: rates.Records) -> tuple[Activity | None, str]:
    """The activity that most of a kit's trips had, where it is still offered, and why it is."""
    most = usual_activity(kit, known.trips)
    found = Activity.objects.filter(retired_on=None, pk=most.key).first() if most else None
    if most is None or found is None:
        return None, ""
    return found, texts.usual_activity(rate_texts.word(found.name), most.n, most.of)


def _facts(request: HttpRequest, of: _Subject, answer: _Answer) -> dict[str, Any]:
    """What both pages show above their lines."""
    plan, activity = answer.plan, answer.activity
    return {
        "version": of.version,
        "kit": of.kit,
        "plan": plan,
        "problem": answer.problem,
        "activity": activity,
        "activities": Activity.objects.filter(retired_on__isnull=True).order_by("name"),
        "such": texts.such_a_trip(
            plan.people, plan.days, rate_texts.word(activity.name) if activity else ""
        ),
        "usual": answer.usual,
        "asked": request.GET.urlencode(),
        "caution": texts.CAUTION,
    }


# -------------------------------------------------------------------------------------- how many
@read_page()
def of_version(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """What a version of a list comes to."""
    return _how_many(request, _Subject(packing_lists.version_of(id, number)))


@read_page()
def of_kit(request: HttpRequest, kit: str) -> HttpResponse:
    """What the list that a kit follows comes to."""
    found = find.kit(actor(request), kit)
    return _how_many(request, _Subject(found.list_version, found))


def _how_many(request: HttpRequest, of: _Subject) -> HttpResponse:
    known = rates.records()
    answer = _answer(request, of, known)
    plan, who = answer.plan, actor(request)
    return show(
        request,
        "site/planning/plan/plan.html",
        whole=_whole(plan),
        first=highlights.short_most(plan),
        left_out=_left_out(plan, UNKNOWN, with_must_have=True),
        also_left_out=_also_left_out(plan),
        lines=[_line(each, plan, known) for each in plan.lines],
        may_state=who.may("state_rate"),
        may_edit=who.may("edit_list"),
        fit=fits.shown(
            of.version,
            [of.kit] if of.kit else kits_of_list(who, of.version.packing_list_id),
        ),
        **_facts(request, of, answer),
    )


UNKNOWN = (Basis.NO_RATE, Basis.NO_PURPOSE, Basis.LOOSE)
"""Of these more may be wanted than the whole of a plan counts."""


def _whole(plan: Plan) -> list[str]:
    """What all lines with a rate come to: whether something is lacking, and whether a must-have."""
    counted = plan.on(Basis.DEMAND)
    more = [each for each in plan.lines if each.basis in UNKNOWN or each.at_least]
    said = [
        texts.lacks_something(plan.lacks_something, lines=len(counted), at_least=bool(more)),
        texts.lacks_must_have(
            plan.lacks_must_have,
            lines=sum(each.must_have for each in counted),
            at_least=any(each.must_have for each in more),
        ),
    ]
    return [each for each in said if each]


def _left_out(plan: Plan, bases: Sequence[Basis], *, with_must_have: bool) -> list[str]:
    """What the whole of a plan does not count, where that is must-haves too, or where it is not."""
    said = []
    for basis in bases:
        lines = plan.on(basis)
        must = [each.line.item.name for each in lines if each.must_have]
        if lines and bool(must) is with_must_have:
            said.append(texts.left_out(basis, len(lines), must))
    return said


def _also_left_out(plan: Plan) -> list[str]:
    """What it does not count besides, so that nobody has to read it first."""
    return [
        *_left_out(plan, UNKNOWN, with_must_have=False),
        *_left_out(plan, (Basis.COMES_BACK,), with_must_have=True),
        *_left_out(plan, (Basis.COMES_BACK,), with_must_have=False),
        texts.not_on_the_list(),
    ]


def _line(of: LinePlan, plan: Plan, known: rates.Records) -> dict[str, Any]:
    return {
        "plan": of,
        "says": _says(of),
        "trips": highlights.trips_short(of),
        "chart": _chart(of),
        "table": _table(of),
        "changes": _changes(of),
        "needs": [shown_rates.shown(part.rate, plan.activity, known) for part in of.needs],
        "no_purpose": of.basis is Basis.NO_PURPOSE,
        "no_rate": of.basis is Basis.NO_RATE,
        "opens": of.basis in (Basis.DEMAND, Basis.NO_RATE),
    }


def _says(of: LinePlan) -> str:
    match of.basis:
        case Basis.LOOSE:
            return texts.loose()
        case Basis.COMES_BACK:
            return texts.comes_back()
        case Basis.NO_PURPOSE:
            return texts.serves_nothing()
        case Basis.DEMAND if of.change is not None:
            return texts.wants_more(of.change.runs_out, of.quantity, at_least=of.at_least)
    return texts.no_rate()


def _bars(of: LinePlan) -> Sequence[quantities.Bar]:
    if of.demand is None:
        return ()
    return quantities.bars(of.demand, of.quantity)


def _chart(of: LinePlan) -> pictures.Chart | None:
    bars = _bars(of)
    return pictures.chart(bars) if bars else None


def _table(of: LinePlan) -> list[tuple[str, str]]:
    return [(texts.units_wanted(bar), texts.of_100_trips(bar.chance)) for bar in _bars(of)]


def _changes(of: LinePlan) -> list[str]:
    """What one more and one fewer come to, where it is said otherwise than of today's quantity."""
    if of.change is None:
        return []
    others = [(of.quantity + 1, of.change.with_one_more)]
    if of.change.with_one_fewer is not None and of.quantity > of.line.never_below:
        others.append((of.quantity - 1, of.change.with_one_fewer))
    now = shares.of_100(of.change.runs_out)
    return [
        texts.with_another(n, chance, at_least=of.at_least)
        for n, chance in others
        if shares.of_100(chance) != now
    ]


# ------------------------------------------------------------------------------- what it costs
@read_page()
def costs_of_version(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """What the lines of a version cost to carry."""
    return _costs(request, _Subject(packing_lists.version_of(id, number)))


@read_page()
def costs_of_kit(request: HttpRequest, kit: str) -> HttpResponse:
    """What a kit's lines cost to carry, and what of the batches in it expires unused."""
    found = find.kit(actor(request), kit)
    return _costs(request, _Subject(found.list_version, found))


def _costs(request: HttpRequest, of: _Subject) -> HttpResponse:
    known = rates.records()
    answer = _answer(request, of, known)
    costs = carrying.costs(answer.plan, known)
    batches: Mapping[int, Sequence[BatchInKit]] = (
        expiring.of_kit(of.kit, answer.plan, today_here(request)) if of.kit else {}
    )
    return show(
        request,
        "site/planning/costs/costs.html",
        whole=cost_texts.whole_cost(costs.by_currency, not_known=costs.not_known),
        left_out=cost_texts.not_in_the_sum(not_known=costs.not_known, loose=costs.loose),
        first=highlights.thrown_away_most(costs),
        savings=highlights.savings(costs),
        never_used=highlights.never_used(costs),
        hours=cost_texts.hours_to_care(costs.hours),
        adviser=cost_texts.ADVISER_DECIDES,
        lines=[_cost_line(each, batches.get(each.plan.line.item_id, ())) for each in costs.lines],
        **_facts(request, of, answer),
    )


def _cost_line(of: Carrying, batches: Sequence[BatchInKit]) -> dict[str, Any]:
    line, life = of.plan, of.plan.purchase.shelf_life_days
    marked = shares.icons(line.unused_share) if line.unused_share is not None else None
    return {
        "of": of,
        "plan": line,
        "cost": _cost_says(line),
        "yearly": texts.money(line.per_year.carrying, line.purchase.currency)
        if line.per_year
        else "",
        "needed": _needed(of),
        "instead": cost_texts.instead(of.instead) if line.needs else "",
        "icons": pictures.Icons(marked) if life is not None and marked is not None else None,
        "unused": _unused_says(line, marked),
        "less": _less(of),
        "price": texts.money(line.purchase.price, line.purchase.currency)
        if line.purchase.price is not None
        else "",
        "keeps": cost_texts.keeps_for(life) if life is not None else "",
        "known": rate_texts.known_trips(of.known_trips, of.trips) if of.trips else "",
        "batches": [(each, cost_texts.batch_left(each.unused, each.units)) for each in batches],
    }


def _cost_says(of: LinePlan) -> str:
    cost, currency = of.per_year, of.purchase.currency
    if cost is None:
        return cost_texts.no_price() if of.purchase.price is None else cost_texts.no_shelf_life()
    if of.basis is Basis.COMES_BACK:
        return cost_texts.kept_cost(cost.carrying, currency)
    return cost_texts.carrying_cost(
        cost.carrying, cost.waste, currency, if_unused=of.basis is not Basis.DEMAND
    )


def _needed(of: Carrying) -> str:
    """How often it was needed here, and what that can bear."""
    if not of.plan.needs:
        return cost_texts.no_purpose()
    if of.uses or of.at_least or not of.days:
        return rate_texts.recorded(of.uses, of.days, at_least=of.at_least)
    return cost_texts.none_used(of.days, too_few=of.too_few, years=carrying.YEARS)


def _unused_says(of: LinePlan, marked: int | None) -> str:
    if of.purchase.shelf_life_days is None:
        return cost_texts.no_shelf_life() if of.line.item.needs_date else cost_texts.no_date()
    if of.basis is Basis.COMES_BACK:
        return cost_texts.replaced_at_its_date()
    return cost_texts.unused_not_known() if marked is None else cost_texts.of_100_units(marked)


def _less(of: Carrying) -> list[str]:
    """What would throw away less money."""
    less, line = of.less_waste, of.plan
    said = []
    if fewer := highlights.fewer(of):
        said.append(fewer)
    if less.smaller_pack:
        said.append(cost_texts.smaller_pack(less.smaller_pack, line.quantity))
    if less.undated:
        said.append(cost_texts.undated(less.undated))
    if less.shared:
        said.append(cost_texts.shared(*less.shared))
    return said
