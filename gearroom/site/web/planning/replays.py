"""A list on past trips."""

from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse

from gearroom.core.acts import Actor
from gearroom.site.web.page.shell import actor, read_page, show
from kits.services.lists import packing_lists
from kits.services.lookup import find
from kits.services.planning import replays
from kits.services.planning.replays import Comparison, TripShortage
from kits.services.text.planning import planning_texts, replay_texts as texts


@read_page()
def replay(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """A version (a draft too) on the past trips of all kits that follow the list, or of one."""
    who = actor(request)
    kit = find.kit(who, request.GET["kit"]) if request.GET.get("kit") else None
    done = replays.of_version(packing_lists.version_of(id, number), kit)
    theirs = replays.visible_trips(who, done)
    left_out = len(done.done.not_counted)
    return show(
        request,
        "site/planning/replay/replay.html",
        version=done.version,
        replaced_by=packing_lists.replaced_by(done.version),
        kit=kit,
        done=done,
        whose=_whose(who, done),
        says=texts.replayed(done.done),
        beside=_beside(done),
        trips=_by_trip(who, theirs, done.shortages),
        stood_in=_by_trip(who, theirs, done.stood_in),
        perhaps=_by_trip(who, theirs, done.perhaps),
        not_counted=left_out and texts.not_counted(left_out, done.wants_not_counted),
        own_words=_own_words(who, done),
        caution=planning_texts.CAUTION,
    )


def _whose(who: Actor, done: Comparison) -> str:
    if done.nobody_follows:
        return texts.of_all_kits(done.done.counted)
    names = [kit.name for kit in done.kits if find.sees_kit(who, kit)]
    return texts.whose_trips(done.done.counted, names, len(done.kits) - len(names))


def _own_words(who: Actor, done: Comparison) -> str:
    words = replays.visible_words(who, done)
    count = len(done.own_words)
    return texts.own_words(words, count - len(words)) if count else ""


def _beside(of: Comparison) -> list[str]:
    """What it comes to beside the version in use; nothing of that version itself."""
    if of.now is None:
        return []
    said = [texts.as_now(of.now)] if of.done.counted else []
    said.append(texts.weighs_less(of.lighter_g, len(of.unweighed)))
    if of.done.counted:
        said.append(texts.wastes_less(of.saved, of.currency, len(of.unpriced)))
    return said


def _by_trip(who: Actor, theirs: set[int], short: list[TripShortage]) -> list[dict[str, Any]]:
    """What was short on each kit's trip, by whether it is on the list; a trip or a kit of rooms
    that are not theirs without its name."""
    rows = []
    for _checkout, of_trip in groupby(short, key=lambda each: each.trip.checkout):
        shortages = list(of_trip)
        first = shortages[0]
        rows.append(
            {
                "trip": first.trip.trip if first.trip.trip.pk in theirs else None,
                "kit": first.kit if find.sees_kit(who, first.kit) else None,
                "first_day": first.trip.trip.first_day,
                "absent": [_says(each) for each in shortages if not each.short.on_list],
                "ran_out": [_says(each) for each in shortages if each.short.on_list],
            }
        )
    return rows


def _says(of: TripShortage) -> str:
    return texts.shortage(of.item.name, of.short)
