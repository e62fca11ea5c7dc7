"""What happened, from the record, and how the last season went beside what was expected of it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from gearroom.site.web.page.shell import actor, page, show
from kits.models import Activity, Need
from kits.rules.planning.back_test import Spread
from kits.rules.planning.recorded_use import Bears
from kits.services.planning import back_tests, past_use as service, rates
from kits.services.planning.past_use import NeedUse, NeverUsed, SeasonUse, Use
from kits.services.text import past_use_texts as own_texts, planning_texts as texts, rate_texts

_HIGH, _STEP, _BAR, _TOP = 120, 52, 34, 18
_MOST_SEASONS = 8


@dataclass(frozen=True)
class Column:
    """A season's column: what was met below, what was not there above it, from the top down."""

    of: SeasonUse
    x: int
    met_y: int
    met: int
    unmet_y: int
    unmet: int
    total: str

    @property
    def middle(self) -> int:
        """Where its words stand."""
        return self.x + _BAR // 2


@dataclass(frozen=True)
class SeasonChart:
    """Columns of uses by season."""

    columns: Sequence[Column]
    says: str
    height: int = _HIGH
    bar: int = _BAR

    @property
    def width(self) -> int:
        """How wide it is."""
        return _STEP * len(self.columns)


def _chart(seasons: Sequence[SeasonUse]) -> SeasonChart | None:
    """The latest seasons; None where nothing was used or wanted."""
    latest = seasons[-_MOST_SEASONS:]
    most = max((each.met + each.unmet for each in latest), default=0)
    if not most:
        return None
    scale = (_HIGH - _TOP) / most
    columns = []
    for at, each in enumerate(latest):
        met, unmet = round(each.met * scale), math.ceil(each.unmet * scale)
        columns.append(
            Column(
                of=each,
                x=at * _STEP + (_STEP - _BAR) // 2,
                met_y=_HIGH - met,
                met=met,
                unmet_y=_HIGH - met - unmet,
                unmet=unmet,
                total=texts.number(each.met + each.unmet),
            )
        )
    return SeasonChart(columns, " ".join(_season(each) for each in latest))


def _season(of: SeasonUse) -> str:
    return own_texts.in_season(
        of.season, met=of.met, unmet=of.unmet, known=of.known, trips=of.trips
    )


@require_safe
@page()
def past_use(request: HttpRequest) -> HttpResponse:
    """What was used by need, activity and season; what was not there, never used, thrown out."""
    activity = Activity.objects.filter(key=request.GET.get("activity", "")).first()
    need = Need.objects.filter(key=request.GET.get("need", "")).first()
    found = service.past_use(actor(request), need=need, activity=activity)
    unpriced = sum(each.cost is None for each in found.thrown_out)
    return show(
        request,
        "site/planning/past_use/past_use.html",
        found=found,
        known=own_texts.known_trips(found.known, found.trips),
        chart=_chart(found.seasons),
        seasons=[(own_texts.season(each.season), each) for each in found.seasons],
        needs=[_need(each) for each in found.needs if _any(each)],
        not_needed=[_need(each) for each in found.needs if not _any(each)],
        not_there=[(each, own_texts.times(each.times)) for each in found.not_there],
        never_used=[(says, list(items)) for says, items in groupby(found.never_used, _never_used)],
        thrown_out=[
            (each, "" if each.cost is None else texts.money(each.cost, each.currency))
            for each in found.thrown_out
        ],
        spent=own_texts.spent(found.spent, unpriced),
        all_needs=Need.objects.order_by("name"),
        all_activities=Activity.objects.order_by("name"),
        need=need,
        activity=activity,
        caution=texts.CAUTION,
    )


def _never_used(of: NeverUsed) -> str:
    return own_texts.never_used(days=of.days, known=of.known, trips=of.trips, below=of.below)


def _any(of: NeedUse) -> bool:
    return of.whole.recorded.bears not in (Bears.NONE_USED, Bears.NOTHING)


def _need(of: NeedUse) -> dict[str, Any]:
    return {
        "need": of.whole.need,
        "says": _says(of.whole),
        "activities": [(use.activity, _says(use)) for use in of.activities],
    }


def _says(use: Use) -> str:
    return " ".join(rate_texts.bears(use.recorded))


@require_safe
@page()
def back_test(request: HttpRequest) -> HttpResponse:
    """How the last season went beside what was expected of it from all before."""
    known = rates.records()
    done = back_tests.back_test(known)
    facts: dict[str, Any] = {"done": done, "no_test": own_texts.no_test()}
    if done:
        seasons = (done.earlier, done.season)
        facts |= {
            "shortages": own_texts.expected_shortages(*seasons, done.whole.shortages),
            "shortages_by_chance": own_texts.chance_alone(done.whole.shortages),
            "uses": own_texts.expected_uses(*seasons, done.whole.uses),
            "uses_by_chance": own_texts.chance_alone(done.whole.uses),
            "trips": own_texts.tested_trips(done.trips, done.not_counted),
            "needs": [
                (each.need, _spread(each.done.uses), _spread(each.done.shortages))
                for each in done.needs
            ],
            "without_rate": [
                own_texts.without_rate(need.name, uses) for need, uses in done.without_rate.items()
            ],
        }
    return show(request, "site/planning/back_test/back_test.html", caution=texts.CAUTION, **facts)


def _spread(of: Spread) -> dict[str, Any]:
    return {
        "expected": own_texts.average(of.expected),
        "low": of.low,
        "high": of.high,
        "happened": texts.number(of.happened),
        "by_chance": of.by_chance,
    }
