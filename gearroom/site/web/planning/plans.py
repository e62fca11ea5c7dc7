"""What a list comes to for so many people and days, and what its lines cost to carry: of a version
of a list (a draft too), or of the one that a kit follows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from gearroom.core.acts import Invalid, Problem
from gearroom.site.web.lists.packing_lists import kits_of_list
from gearroom.site.web.page.forms import PageForm, ShortText, WholeNumber
from gearroom.site.web.page.shell import actor, page, show, today_here
from gearroom.site.web.planning import fits, pictures
from gearroom.site.web.planning.vocabulary import chosen_activity
from kits.models import Activity, Kit, PackingListVersion
from kits.rules.planning import quantities, shares
from kits.services.lists import drafts, packing_lists
from kits.services.lookup import find
from kits.services.planning import carrying, expiring, plans, rates
from kits.services.planning.carrying import Carrying
from kits.services.planning.expiring import BatchInKit
from kits.services.planning.plans import LinePlan, Plan
from kits.services.text import cost_texts, planning_texts as texts, rate_texts


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


def _plan(
    request: HttpRequest, of: _Subject, known: rates.Records
) -> tuple[Plan, Activity | None, Problem | None]:
    """The plan for what was asked, or for what the list is made for where that was wrong."""
    problem = None
    asked: dict[str, Any] = {}
    try:
        asked = QuestionForm.read(request.GET)
        asked["activity"] = chosen_activity(asked["activity"])
    except Invalid as wrong:
        problem, asked = wrong, {}
    return plans.plan(of.version, known=known, **asked), asked.get("activity"), problem


def _facts(
    request: HttpRequest, of: _Subject, plan: Plan, activity: Activity | None
) -> dict[str, Any]:
    """What both pages show above their lines."""
    return {
        "version": of.version,
        "kit": of.kit,
        "plan": plan,
        "activity": activity,
        "activities": Activity.objects.filter(retired_on__isnull=True).order_by("name"),
        "such": texts.such_a_trip(plan.people, plan.days, activity.name if activity else ""),
        "asked": request.GET.urlencode(),
        "caution": texts.CAUTION,
    }


# -------------------------------------------------------------------------------------- how many
@require_safe
@page()
def of_version(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """What a version of a list comes to."""
    return _how_many(request, _Subject(packing_lists.version_of(id, number)))


@require_safe
@page()
def of_kit(request: HttpRequest, kit: str) -> HttpResponse:
    """What the list that a kit follows comes to."""
    found = find.kit(actor(request), kit)
    return _how_many(request, _Subject(found.list_version, found))


def _how_many(request: HttpRequest, of: _Subject) -> HttpResponse:
    known = rates.records()
    plan, activity, problem = _plan(request, of, known)
    return show(
        request,
        "site/planning/plan/plan.html",
        problem=problem,
        whole=texts.lacks_something(
            plan.lacks_something,
            lines=len(plan.lines) - len(plan.without_rate),
            without_rate=len(plan.without_rate),
        ),
        lines=[_line(each, plan, known) for each in plan.lines],
        fit=fits.shown(
            of.version,
            [of.kit] if of.kit else kits_of_list(actor(request), of.version.packing_list_id),
        ),
        **_facts(request, of, plan, activity),
    )


def _line(of: LinePlan, plan: Plan, known: rates.Records) -> dict[str, Any]:
    return {
        "plan": of,
        "says": _says(of),
        "chart": _chart(of),
        "table": _table(of),
        "changes": _changes(of),
        "needs": [_need(part.rate, plan, known) for part in of.needs],
    }


def _says(of: LinePlan) -> str:
    if of.line.item.by_eye:
        return texts.loose()
    if not of.needs:
        return texts.serves_nothing()
    if of.change is None:
        return texts.no_rate()
    return texts.wants_more(of.change.runs_out, of.quantity)


def _bars(of: LinePlan) -> Sequence[quantities.Bar]:
    if of.demand is None or of.line.item.by_eye:
        return ()
    return quantities.bars(of.demand, of.quantity)


def _chart(of: LinePlan) -> pictures.Chart | None:
    bars = _bars(of)
    return pictures.chart(bars) if bars else None


def _table(of: LinePlan) -> list[tuple[str, str]]:
    return [(texts.units_wanted(bar), texts.chance(bar.chance)) for bar in _bars(of)]


def _changes(of: LinePlan) -> list[str]:
    """What one more and one fewer come to."""
    if of.change is None or of.line.item.by_eye:
        return []
    found = [texts.with_another(of.quantity + 1, of.change.with_one_more)]
    if of.change.with_one_fewer is not None and of.quantity > of.line.never_below:
        found.append(texts.with_another(of.quantity - 1, of.change.with_one_fewer))
    return found


def _need(of: rates.NeedRate, plan: Plan, known: rates.Records) -> dict[str, Any]:
    """A need of a line: its rate, and what that rests on; our records of the activity, or of all
    of them where none was asked for."""
    low_high = of.interval
    ours = known.recorded(of.need.pk, plan.activity or None)
    cell = ours.closed()
    return {
        "need": of.need,
        "prior": rate_texts.prior(of.stated),
        "recorded": rate_texts.recorded(cell.least, cell.exposure),
        "known": rate_texts.known_trips(ours.known, ours.trips) if ours.trips else "",
        "rate": rate_texts.between(of.rate.mean * 1000, low_high[0] * 1000, low_high[1] * 1000)
        if of.rate and low_high
        else texts.no_rate(),
        "blank": of.rate is None,
    }


# ------------------------------------------------------------------------------- what it costs
@require_safe
@page()
def costs_of_version(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """What the lines of a version cost to carry."""
    return _costs(request, _Subject(packing_lists.version_of(id, number)))


@require_safe
@page()
def costs_of_kit(request: HttpRequest, kit: str) -> HttpResponse:
    """What a kit's lines cost to carry, and what of the batches in it expires unused."""
    found = find.kit(actor(request), kit)
    return _costs(request, _Subject(found.list_version, found))


def _costs(request: HttpRequest, of: _Subject) -> HttpResponse:
    known = rates.records()
    plan, activity, problem = _plan(request, of, known)
    costs = carrying.costs(plan, known)
    batches: Mapping[int, Sequence[BatchInKit]] = (
        expiring.of_kit(of.kit, plan, today_here(request)) if of.kit else {}
    )
    return show(
        request,
        "site/planning/costs/costs.html",
        problem=problem,
        whole=cost_texts.whole_cost(costs.by_currency),
        hours=cost_texts.hours_to_care(costs.hours),
        adviser=cost_texts.ADVISER_DECIDES,
        lines=[_cost_line(each, batches.get(each.plan.line.item_id, ())) for each in costs.lines],
        **_facts(request, of, plan, activity),
    )


def _cost_line(of: Carrying, batches: Sequence[BatchInKit]) -> dict[str, Any]:
    line = of.plan
    marked = shares.icons(line.unused_share) if line.unused_share is not None else None
    dated = line.purchase.shelf_life_days is not None
    return {
        "of": of,
        "plan": line,
        "cost": _cost_says(line),
        "needed": _needed(of),
        "instead": cost_texts.instead(of.instead),
        "icons": pictures.Icons(marked) if dated and marked is not None else None,
        "unused": _unused_says(line, marked),
        "less": _less(of),
        "price": texts.money(line.purchase.price, line.purchase.currency)
        if line.purchase.price is not None
        else "",
        "known": rate_texts.known_trips(of.known_trips, of.trips) if of.trips else "",
        "batches": [(each, cost_texts.batch_left(each.unused, each.units)) for each in batches],
    }


def _cost_says(of: LinePlan) -> str:
    if of.per_year is not None:
        return cost_texts.carrying_cost(
            of.per_year.carrying,
            of.per_year.waste,
            of.purchase.currency,
            if_unused=of.demand is None,
        )
    return cost_texts.no_price() if of.purchase.price is None else cost_texts.no_shelf_life()


def _needed(of: Carrying) -> list[str]:
    """How often it was needed here, and what that can bear."""
    if not of.plan.needs:
        return [texts.serves_nothing()]
    said = [rate_texts.recorded(of.uses, of.days)]
    if of.too_few:
        said.append(cost_texts.too_few_to_judge(carrying.YEARS, of.once_in_years * 1000))
    elif of.below is not None:
        said.append(rate_texts.below(of.below * 1000))
    return said


def _unused_says(of: LinePlan, marked: int | None) -> str:
    if not of.line.item.needs_date and of.purchase.shelf_life_days is None:
        return cost_texts.no_date()
    if of.purchase.shelf_life_days is None:
        return cost_texts.no_shelf_life()
    return texts.no_rate() if marked is None else cost_texts.of_100_units(marked)


def _less(of: Carrying) -> list[str]:
    """What would throw away less money."""
    less, line = of.less_waste, of.plan
    said = []
    if (fewer := less.fewer) is not None:
        currency = line.purchase.currency
        said.append(
            cost_texts.fewer(line.quantity, fewer.quantity, fewer.runs_out, fewer.saved, currency)
        )
    if less.smaller_pack:
        said.append(cost_texts.smaller_pack(less.smaller_pack, line.quantity))
    if less.undated:
        said.append(cost_texts.undated(less.undated))
    if less.shared:
        said.append(cost_texts.shared(*less.shared))
    return said
