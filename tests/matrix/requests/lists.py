"""The pages of kit lists, trips, planning and advice: a request for each."""

from datetime import timedelta
from typing import Any

from django.utils import timezone

from gearroom.site.web.lists import table_form
from kits.services.lists import draft_table, drafts
from tests.kits import factories as make
from tests.matrix.requests.making import Aim, Make, say

_LATE = f"{timezone.now() + timedelta(days=2):%Y-%m-%dT%H:%M}"
_DAY = str(make.days(200))


def _calendar(a: Aim) -> dict[str, Any]:
    return {"name": "Walks", "room": a.room(), "people": "8", "places": f"hut = {a.room()}"}


def _trip(a: Aim, **more: Any) -> dict[str, Any]:
    leaves = timezone.now() + timedelta(days=9)
    return {
        "name": "Gorge",
        "room": a.room(),
        "departs_at": f"{leaves:%Y-%m-%dT08:00}",
        "returns_at": f"{leaves:%Y-%m-%dT18:00}",
        "people": "6",
        "leader": a.person("mate"),
        **more,
    }


def _version(a: Aim, name: str, body: Any = None, **parts: Any) -> Any:
    of = getattr(a.all, name)
    return say(body=body, id=a.list(name), number=of.number, **parts)


def _drawn(a: Aim) -> dict[str, Any]:
    """The table of a draft as it was shown, with another number of people."""
    table = draft_table.table_of(drafts.draft_of(a.all.draft))
    sent: dict[str, Any] = {"people": "7", "days": "2", "read": table_form.packed(table)}
    order = []
    for group in table.groups:
        order.append(f"section:{group.head.id}")
        order += [f"line:{row.id}" for row in group.rows]
    for row in table.parts:
        sent |= {f"{name}-{row.id}": value for name, value in row.values.items()}
    return {**sent, "order": order}


_TRIP_OF_OTHERS = {
    "people": "4", "days": "2", "season": "summer", "hours": "3", "hazard": "hill",
}  # fmt: skip


def _advice_link(a: Aim, name: str) -> str:
    return f"advice-{name}" if a.side else "nowhere"


def _advice_lines(a: Aim) -> dict[str, Any]:
    """The form of a draft, as it was shown."""
    kept = a.all.advice["draft"].draft or {}
    lines = {f"line-{line['item']}": line for line in kept["lines"]}
    lines |= {f"out-{line['item'] or line['need']}": line for line in kept["not_carried"]}
    sent: dict[str, Any] = {"save": "1", "revision": "2"}
    for name, line in lines.items():
        sent[f"quantity-{name}"] = line.get("quantity", "")
        sent |= {f"reason-{lang}-{name}": text for lang, text in line["reason"].items()}
    return sent


ADVICE: dict[str, Make] = {
    "page GET settings/advice/": lambda a: say(),
    "page POST settings/advice/": lambda a: say(
        body={"on": "1", "sender": a.all.adviser.person.pk}
    ),
    "page GET trip-advice/{link}/": lambda a: say(link=_advice_link(a, "sent")),
    "page POST trip-advice/{link}/": lambda a: say(
        link=_advice_link(a, "waiting"), body=_TRIP_OF_OTHERS
    ),
    "page GET advice/": lambda a: say(),
    "page POST advice/new/": lambda a: say(),
    "page GET advice/{id}/": lambda a: say(id=a.advice("draft")),
    "page POST advice/{id}/": lambda a: say(id=a.advice("draft"), body=_advice_lines(a)),
    "page POST advice/{id}/send/": lambda a: say(
        id=a.advice("draft"), body={"revision": "2", "duty": "1"}
    ),
    "page POST advice/{id}/withdraw/": lambda a: say(
        id=a.advice("sent"), body={"reason": "A recall."}
    ),
    "page GET advice/{id}/copies/{number}/": lambda a: say(id=a.advice("sent"), number=1),
}

LISTS: dict[str, Make] = {
    "page GET lists/": lambda a: say(),
    "page POST lists/": lambda a: say(body={"name": "New list", "people": "5", "days": "1"}),
    "page GET lists/changes/": lambda a: say(),
    "page GET lists/changes/new/": lambda a: say(),
    "page POST lists/changes/new/": lambda a: say(
        body={
            "thing": a.all.items["dressing"].name,
            "what": "amount",
            "carry": "9",
            "never_below": "9",
            "claim": "More of them.",
            "review_on": "2199-12-31",
            "list": str(a.all.version.packing_list_id),
            "says-1": "They ran out.",
            "read_in-1": "Our records",
        }
    ),
    "page GET lists/changes/{id}/": lambda a: say(id=a.change()),
    "page POST lists/changes/{id}/": lambda a: say(id=a.change(), body={"review_on": "2199-12-31"}),
    "page GET lists/draft/": lambda a: say(),
    "page POST lists/draft/": lambda a: say(
        body={"people": "5", "days": "2", "hazard": "sharp-tools", "name": "Drafted list"}
    ),
    "page GET lists/paste/": lambda a: say(),
    "page POST lists/paste/": lambda a: say(
        body={
            "text": "2 x Wound dressing",
            "other-0": a.item("dressing"),
            "make": "new",
            "name": "Pasted list",
            "people": "5",
            "days": "1",
        }
    ),
    "page GET lists/{id}/": lambda a: say(id=a.list()),
    "page GET lists/{id}/{number}/": lambda a: _version(a, "version"),
    "page POST lists/{id}/{number}/new-draft/": lambda a: _version(a, "version"),
    "page GET lists/{id}/{number}/copy/": lambda a: _version(a, "version"),
    "page POST lists/{id}/{number}/copy/": lambda a: _version(
        a, "version", {"name": "Copied list"}
    ),
    "page POST lists/{id}/{number}/publish/": lambda a: _version(a, "draft"),
    "page POST lists/{id}/{number}/sign/": lambda a: _version(a, "unsigned", {"until": _DAY}),
    "page GET lists/{id}/{number}/handout/": lambda a: _version(a, "draft"),
    "page GET lists/{id}/{number}/compare/": lambda a: _version(a, "draft"),
    "page GET lists/{id}/{number}/effect/": lambda a: _version(a, "draft"),
    "page POST lists/{id}/{number}/follow/": lambda a: say(
        id=a.all.unsigned.packing_list_id, number=1, body={"kit": a.kit("in")}
    ),
    "page GET lists/{id}/{number}/edit/": lambda a: _version(a, "draft"),
    "page POST lists/{id}/{number}/edit/": lambda a: _version(a, "draft", _drawn(a)),
    "page GET lists/{id}/{number}/instead/": lambda a: _version(a, "draft"),
    "page POST lists/{id}/{number}/instead/": lambda a: _version(
        a, "draft", {"of": a.all.items["spare"].pk, "other": "Splint"}
    ),
    "page GET lists/{id}/{number}/plan/": lambda a: _version(a, "version"),
    "page GET lists/{id}/{number}/costs/": lambda a: _version(a, "version"),
    "page GET lists/{id}/{number}/replay/": lambda a: _version(a, "draft"),
    "page GET past-use/": lambda a: say(),
    "page GET season/": lambda a: say(),
    "page GET season/ #printed": lambda a: say({"print": "1"}),
    "page GET back-test/": lambda a: say(),
    "page GET rates/": lambda a: say(),
    "page GET rates/{need}/": lambda a: say(need="blister"),
    "page POST rates/{need}/": lambda a: say(need="blister", body={"per_1000": "3", "weight": "1"}),
    "page GET needs/": lambda a: say(),
    "page POST needs/": lambda a: say(body={"add-activity": "1", "name": "Abseiling"}),
    "page GET needs/hazards/": lambda a: say(),
    "page POST needs/hazards/": lambda a: say(
        body={"hazard": "hill", "need": "blister", "units": "2", "reason": "long days"}
    ),
    "page GET trips/": lambda a: say(),
    "page GET trips/ #of a room": lambda a: say({"room": a.room()}),
    "page GET trips/calendar/": lambda a: say(),
    "page GET trips/kits/": lambda a: say(),
    "page GET trips/season/": lambda a: say(),
    "page POST trips/season/": lambda a: say(
        body={"reserve": f"{a.trip_id('later')}:{a.kit('in')}"}
    ),
    "page GET trips/calendars/": lambda a: say(),
    "page POST trips/calendars/": lambda a: say(body=_calendar(a)),
    "page GET trips/calendars/{calendar}/": lambda a: say(calendar=a.of("calendar")),
    "page POST trips/calendars/{calendar}/": lambda a: say(
        calendar=a.of("calendar"), body={"sure": a.calendar_content()}
    ),
    "page POST trips/calendars/{calendar}/change/": lambda a: say(
        calendar=a.of("calendar"), body=_calendar(a)
    ),
    "page POST trips/calendars/{calendar}/read/": lambda a: say(calendar=a.of("calendar")),
    "page POST trips/calendars/{calendar}/stop/": lambda a: say(calendar=a.of("calendar")),
    "page POST trips/calendars/{calendar}/use/": lambda a: say(calendar=a.of("calendar")),
    "page POST trips/calendars/{calendar}/delete/": lambda a: say(calendar=a.of("new_calendar")),
    "page POST trips/calendars/gone/{event}/keep/": lambda a: say(event=a.of("gone_event")),
    "page POST trips/calendars/gone/{event}/cancel/": lambda a: say(event=a.of("gone_event")),
    "page GET trips/add/": lambda a: say(),
    "page POST trips/add/": lambda a: say(body=_trip(a)),
    "page GET trips/{trip}/": lambda a: say(trip=a.trip_id("walk")),
    "page POST trips/{trip}/reserve/": lambda a: say(
        trip=a.trip_id("later"), body={"kit": a.kit("in"), "person": a.person("mate")}
    ),
    "page POST trips/{trip}/leader/": lambda a: say(
        trip=a.trip_id("later"), body={"person": a.person("mate")}
    ),
    "page POST trips/{trip}/release/": lambda a: say(
        trip=a.trip_id("later"), body={"reservation": a.of("reservation")}
    ),
    "page GET trips/{trip}/edit/": lambda a: say(trip=a.trip_id("later")),
    "page POST trips/{trip}/edit/": lambda a: say(
        trip=a.trip_id("later"),
        body=_trip(a, revision=a.there.trips["later"].revision),
    ),
    "page POST trips/{trip}/extend/": lambda a: say(trip=a.trip_id("walk"), body={"due_at": _LATE}),
}

REQUESTS = {**ADVICE, **LISTS}
