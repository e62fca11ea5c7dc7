"""The board: the first page, which keeps itself up to date; for somebody who works alone, their
kits with what one does to them, and what goes out of date."""

from typing import Any

from django.http import HttpRequest, HttpResponse

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.models import Room
from gearroom.site.web.page import (
    actor,
    company,
    here,
    is_offered,
    no_room,
    read_page,
    remedies,
    show,
)
from kits.services.lists import look_again, signatures
from kits.services.overview import board as kits_board, downtime, own_kits
from kits.services.overview.kits_overview import elsewhere, mine
from kits.services.text import change_texts, reason_texts
from kits.services.trips import due_times
from kits.services.trips.trip_readiness import JudgedTrip

_LOW_NAMED = 4
"""How many things that are running low are named; the rest is counted."""
_EXPIRING_NAMED = 6
"""How many batches that go out of date are named; the rest is counted."""
_LINES_NAMED = 3
"""How many lines of a list that are due for another look are named."""


@read_page()
def board(request: HttpRequest) -> HttpResponse:
    """The board of the room that this device stands in."""
    if (room := here(request)) is None:
        return no_room(request, elsewhere=elsewhere(actor(request)))
    facts = _facts(request, room)
    if company(request).alone:
        facts["own"] = own_kits.own_kits(actor(request), room)
        return show(request, "site/overview/alone/front.html", **facts)
    return show(request, "site/overview/board/board.html", **facts)


@read_page()
def board_lines(request: HttpRequest) -> HttpResponse:
    """The board's lines, or 204 while they are as the page has them."""
    room = here(request)
    if room is None or request.GET.get("revision") == kits_board.revision(room):
        return HttpResponse(status=204)
    return show(request, "site/overview/board/lines.html", **_facts(request, room))


def _facts(request: HttpRequest, room: Room) -> dict[str, Any]:
    who = actor(request)
    revision = kits_board.revision(room)  # before it is read: what changes meanwhile shows next
    content = kits_board.board(room)
    above = {each.kit.pk for departure in content.going_out for each in departure.waiting}
    return {
        "revision": revision,
        "board": content,
        "downtime": downtime.last(clock.now()) if who.may("see_notices", room.pk) else None,
        "mine": [
            {
                "row": each,
                "settle": None
                if each.checkout
                else remedies.settle(each.kit, who.person, each.judged.verdict),
            }
            for each in mine(who)
        ],
        "elsewhere": elsewhere(who),
        "may_hand_back": who.may("check_in"),
        "may_begin": who.may("edit_kit", room.pk),
        "may_reserve": who.could("reserve", room.pk),
        "phones": who.may("see_people", room.pk),
        "going_out": [
            {
                "trip": departure.judged.trip,
                "judged": departure.judged,
                "lacking": reason_texts.reasons(departure.judged.lacking),
                "kits": [
                    {
                        "row": each,
                        "settle": _settle_waiting(each, goes_out=is_offered(request, "check_out")),
                    }
                    for each in departure.waiting
                ],
            }
            for departure in content.going_out
        ],
        "soon_back": _soon_back(content, who),
        "out_now": len(content.soon_back) + len(content.later_back),
        "needs_hand": [
            {"row": each, "settle": remedies.settle_verdict(each.kit, each.judged.verdict)}
            for each in content.needing.listed
            if each.kit.pk not in above  # what settles it stands there
        ],
        "uncovered": [_trip(each, content) for each in content.uncovered],
        "waiting": [_trip(each, content) for each in content.waiting],
        "to_sign": signatures.waiting() if who.could("sign_list") else (),
        "look_again": [
            _look_again(each, content) for each in look_again.due_to(who, content.today)
        ],
        "changes_due": [
            (each, change_texts.what(each), change_texts.review(each, content.today))
            for each in look_again.changes_due_to(who, content.today)
        ],
        "expiring": content.expiring.rows[:_EXPIRING_NAMED],
        "more_expiring": max(0, len(content.expiring.rows) - _EXPIRING_NAMED),
        "low": [row.item.name for row in content.low[:_LOW_NAMED]],
        "more_low": max(0, len(content.low) - _LOW_NAMED),
    }


def _look_again(due: look_again.DueLines, content: kits_board.Board) -> dict[str, Any]:
    """A list's line: what it leaves out that is due for another look, and since when."""
    texts = [look_again.says(line, content.today) for line in due.lines]
    return {
        "version": due.version,
        "lines": texts[:_LINES_NAMED],
        "more": max(0, len(texts) - _LINES_NAMED),
    }


def _soon_back(content: kits_board.Board, who: Actor) -> list[tuple[kits_board.Return, object]]:
    """What comes back soon; with the first of a trip, the times that all of its kits may have."""
    offered: set[int | None] = {None}
    rows: list[tuple[kits_board.Return, object]] = []
    for row in content.soon_back:
        trip = row.checkout.trip
        first = trip is not None and trip.pk not in offered
        offered.add(row.checkout.trip_id)
        rows.append((row, due_times.longer(who, trip, content.room) if trip and first else ()))
    return rows


def _trip(judged: JudgedTrip, content: kits_board.Board) -> dict[str, Any]:
    """A trip's line: each kit, with whether its verdict for the trip stands on the board beside."""
    beside = {
        each.kit.pk for each in content.needing.listed if each.judged.question.trip == judged.trip
    }
    return {
        "trip": judged.trip,
        "state": judged.state,
        "kits": [(row, row.kit.pk in beside) for row in judged.kits],
    }


def _settle_waiting(row: kits_board.Waiting, *, goes_out: bool) -> remedies.Settle | None:
    if row.elsewhere is not None:
        return remedies.hand_back(row.kit)
    if not goes_out:
        return remedies.settle_verdict(row.kit, row.verdict)
    return remedies.settle(row.kit, row.person, row.verdict)
