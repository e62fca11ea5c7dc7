"""A list on past trips."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from gearroom.core.acts import Actor
from gearroom.site.web.page.shell import actor, page, show
from kits.services.lists import packing_lists
from kits.services.lookup import find
from kits.services.planning import replays
from kits.services.planning.replays import Comparison
from kits.services.text import planning_texts as texts


@require_safe
@page()
def replay(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """A version (a draft too) on the past trips of all kits that follow the list, or of one."""
    who = actor(request)
    kit = find.kit(who, request.GET["kit"]) if request.GET.get("kit") else None
    done = replays.of_version(packing_lists.version_of(id, number), kit)
    return show(
        request,
        "site/planning/replay/replay.html",
        version=done.version,
        kit=kit,
        done=done,
        says=_says(done),
        shortages=_shortages(who, done),
        not_counted=len(done.done.not_counted) and texts.not_counted(len(done.done.not_counted)),
        caution=texts.CAUTION,
    )


def _says(of: Comparison) -> list[str]:
    said = [texts.replayed(of.done.counted, of.done.short_trips)]
    if of.now is not None and of.done.counted:
        said.append(texts.short_now(of.now.short_trips))
    if of.now is not None:
        said.append(texts.weighs_less(of.lighter_g, len(of.unweighed)))
        if of.done.counted:
            said.append(texts.wastes_less(of.saved, of.currency, len(of.unpriced)))
    return said


def _shortages(who: Actor, done: Comparison) -> list[dict[str, Any]]:
    """What was short, trip by trip; a trip of rooms that are not theirs without its name."""
    theirs = replays.visible_trips(who, done)
    return [
        {
            "trip": each.trip.trip if each.trip.trip.pk in theirs else None,
            "first_day": each.trip.trip.first_day,
            "says": texts.shortage(each.item.name, each.short),
        }
        for each in done.shortages
    ]
