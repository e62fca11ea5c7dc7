"""The board: the first page, which keeps itself up to date."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from gearroom.site.web import ways
from gearroom.site.web.shell import actor, here, no_room, page, show
from kits.services import board as kits_board
from kits.services import wording

_LOW_NAMED = 4
"""How many things that are running low are named; the rest is counted."""


@page()
def board(request: HttpRequest) -> HttpResponse:
    """The board of the room that this device stands in."""
    room = here(request)
    if room is None:
        return no_room(request)
    return show(request, "site/board.html", _facts(request))


@page()
def lines(request: HttpRequest) -> HttpResponse:
    """The board's lines, or 204 while they are as the page has them."""
    room = here(request)
    if room is None or request.GET.get("seen") == kits_board.revision(room):
        return HttpResponse(status=204)
    return show(request, "site/board_lines.html", _facts(request))


def _facts(request: HttpRequest) -> dict[str, object]:
    room = here(request)
    assert room is not None  # both views look
    seen = kits_board.revision(room)
    on_it = kits_board.board(room)
    above = {each.kit.pk for departure in on_it.going_out for each in departure.waiting}
    return {
        "seen": seen,
        "board": on_it,
        "may_begin": actor(request).may("edit_kit", room.pk),
        "may_reserve": actor(request).could("reserve", room.pk),
        "phones": actor(request).may("see_people", room.pk),
        "going_out": [
            {
                "trip": departure.trip,
                "gone": departure.gone,
                "kits": [
                    {
                        "kit": each.kit,
                        "person": each.person,
                        "verdict": each.verdict,
                        "away": each.elsewhere is not None,
                        "why": ""
                        if each.verdict.fit
                        else wording.reason(each.verdict.reasons[0])["text"],
                        "settle": ways.settle(each.kit, each.person, each.verdict),
                    }
                    for each in departure.waiting
                ],
            }
            for departure in on_it.going_out
        ],
        "needs_hand": [
            {
                "kit": each.kit,
                "stops": each.reason.weight.name == "STOPS",
                "why": wording.reason(each.reason)["text"],
                "settle": ways.settle_reason(each.kit, each.reason),
            }
            for each in on_it.needs_hand
            if each.kit.pk not in above  # what settles it stands there
        ],
        "low": [row.item.name for row in on_it.low[:_LOW_NAMED]],
        "more_low": max(0, len(on_it.low) - _LOW_NAMED),
        "kinds": {"fit": _("Fit"), "short": _("Short"), "stop": _("Don’t take")},
    }
