"""What happened, from the record: what was used, wanted, never used and thrown out."""

from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from gearroom.site.web.page.shell import actor, read_page, show
from gearroom.site.web.planning import season_chart
from kits.models import Activity, Need
from kits.rules.planning.records.recorded_use import Bears
from kits.services.planning import past_use as service
from kits.services.planning.past_use import NeedUse, NeverUsed, SeasonUse, Use
from kits.services.text.planning import (
    past_use_texts as own_texts,
    planning_texts as texts,
    rate_texts,
)


def _season(of: SeasonUse) -> str:
    return own_texts.in_season(
        of.season, over=of.over, met=of.met, at_least=of.at_least, unmet=of.unmet,
        known=of.known, trips=of.trips,
    )  # fmt: skip


@read_page()
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
        chart=season_chart.chart(found.seasons, _season, _("Uses")),
        seasons=[
            (
                own_texts.season_name(each.season, over=each.over),
                own_texts.used(each.met, at_least=each.at_least),
                each,
            )
            for each in found.seasons
        ],
        needs=[_need(each) for each in found.needs if _any(each)],
        not_needed=[_need(each) for each in found.needs if not _any(each)],
        wants=own_texts.total_not_there(sum(each.times for each in found.not_there)),
        not_there=[
            (each, own_texts.not_there(each.times, each.not_on_list)) for each in found.not_there
        ],
        never_used=[
            (says, [(each, _met_otherwise(each)) for each in items])
            for says, items in groupby(found.never_used, _never_used)
        ],
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
    return own_texts.never_used(of.recorded, of.known, of.trips)


def _met_otherwise(of: NeverUsed) -> str:
    return own_texts.met_otherwise(of.met_otherwise, at_least=of.at_least)


def _any(of: NeedUse) -> bool:
    return of.whole.recorded.bears not in (Bears.NONE_USED, Bears.NOTHING)


def _need(of: NeedUse) -> dict[str, Any]:
    return {
        "need": of.whole.need,
        "short": _uses(of.whole),
        "says": _says(of.whole),
        "activities": [(use.activity, _says(use)) for use in of.activities],
    }


def _uses(use: Use) -> str:
    recorded = use.recorded
    return rate_texts.uses_in_days(recorded.uses, recorded.days, at_least=recorded.at_least)


def _says(use: Use) -> str:
    return " ".join(rate_texts.bears(use.recorded))
