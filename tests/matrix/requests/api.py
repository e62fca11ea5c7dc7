"""The API's operations: a request for each that would succeed for whoever may."""

from datetime import timedelta
from typing import Any

from django.utils import timezone

from tests.kits import factories as make
from tests.matrix.requests import api_stock
from tests.matrix.requests.making import Aim, Make, say

_SOON = (timezone.now() + timedelta(hours=5)).isoformat()
_LATE = (timezone.now() + timedelta(days=2)).isoformat()
_DAY = str(make.days(200))


def _trip(a: Aim, **more: Any) -> dict[str, Any]:
    leaves = timezone.now().replace(microsecond=0) + timedelta(days=9)
    return {
        "name": "Gorge",
        "room": a.room(),
        "departs_at": leaves.isoformat(),
        "returns_at": (leaves + timedelta(hours=6)).isoformat(),
        "people": 6,
        "leader": a.person("mate"),
        "hazards": ["hill"],
        **more,
    }


def _done(answer: Any) -> bool:
    """Whether each label scanned was done with as asked."""
    outcomes = answer.json()["outcomes"]
    return bool(outcomes) and all(each["problem"] is None for each in outcomes)


def _known(answer: Any) -> bool:
    return _done(answer) and answer.json()["outcomes"][0]["kit"] is not None


def _draft(a: Aim, **more: Any) -> dict[str, Any]:
    line = {"item": a.all.items["shears"].pk, "carry": 1}
    return {"people": 5, "days": 1, "sections": [{"name": "Main", "lines": [line]}], **more}


def _slip(text: str, **said: Any) -> dict[str, Any]:
    return {"text": text, **said}


PEOPLE: dict[str, Make] = {
    "GET rooms/": lambda a: say(),
    "POST rooms/": lambda a: say(body={"name": "Boat house", "slug": "boat-house"}),
    "GET rooms/{room}/": lambda a: say(room=a.room()),
    "PATCH rooms/{room}/": lambda a: say(room=a.room(), body={"phone": "0123"}),
    "GET people/": lambda a: say(),
    "GET people/ #of a room": lambda a: say({"room": a.room()}),
    "POST people/": lambda a: say(body={"name": "New One", "home_room": a.room()}),
    "POST people/ #of no room": lambda a: say(body={"name": "New One"}),
    "POST people/holders/": lambda a: say(
        body={"name": "New One", "phone": "0123", "room": a.room()}
    ),
    "GET people/{id}/": lambda a: say(id=a.person("mate")),
    "PATCH people/{id}/": lambda a: say(id=a.person("visitor"), body={"phone": "0123"}),
    "PATCH people/{id}/ #oneself": lambda a: say(id=a.own_person(), body={"phone": "0123"}),
    "PATCH people/{id}/ #address of an administrator": lambda a: say(
        id=a.person("administrator"), body={"email": "somebody@example.org"}
    ),
    "POST people/{id}/left/": lambda a: say(id=a.person("visitor")),
    "POST people/{id}/back/": lambda a: say(id=a.person("gone")),
    "POST people/{id}/sign-in/": lambda a: say(
        id=a.person("visitor"), body={"username": "newcomer"}
    ),
    "POST people/{id}/roles/": lambda a: say(
        id=a.person("visitor"), body={"role": "guide", "room": a.room()}
    ),
    "POST people/{id}/roles/ #adviser": lambda a: say(
        id=a.person("visitor"), body={"role": "adviser", "room": a.room()}
    ),
    "POST people/{id}/roles/end/": lambda a: say(
        id=a.person("mate"), body={"role": "guide", "room": a.room()}
    ),
    "POST people/{id}/merge/": lambda a: say(
        id=a.person("double"), body={"into": a.person("visitor")}
    ),
    "GET people/{id}/export/": lambda a: say(id=a.person("visitor")),
    "GET people/{id}/export/ #oneself": lambda a: say(id=a.own_person()),
    "POST people/{id}/erase/": lambda a: say(id=a.person("visitor")),
    "POST redactions/": lambda a: say(),
    "GET tokens/": lambda a: say(),
    "POST tokens/": lambda a: say(body={"name": "mine", "scopes": ["admin"], "days": 1}),
    "GET tokens/{id}/": lambda a: say(id=a.own("token")),
    "PATCH tokens/{id}/": lambda a: say(id=a.own("token"), body={"name": "other"}),
    "POST tokens/{id}/revoke/": lambda a: say(id=a.own("token")),
}

KITS: dict[str, Make] = {
    "GET kits/": lambda a: say(),
    "GET kits/ #of a room": lambda a: say({"room": a.room()}),
    "POST kits/": lambda a: say(
        body={
            "name": "NEW-01",
            "home_room": a.room(),
            "packing_list": a.all.version.packing_list_id,
            "version": 1,
            "responsible": a.person("instructor"),
            "deputy": a.person("keeper"),
        }
    ),
    "GET kits/{kit}/": lambda a: say(kit=a.kit("out")),
    "PATCH kits/{kit}/": lambda a: say(kit=a.kit("in"), body={
            "bag": "red",
            "responsible": a.person("instructor"),
            "deputy": a.person("keeper"),
        }),
    "POST kits/{kit}/follow-list/": lambda a: say(
        kit=a.kit("in"),
        body={"packing_list": a.all.unsigned.packing_list_id, "version": 1},
    ),
    "POST kits/{kit}/move-home/": lambda a: say(kit=a.kit("in"), body={"room": a.room()}),
    "POST kits/{kit}/retire/": lambda a: say(kit=a.kit("bare")),
    "GET kits/{kit}/readiness/": lambda a: say(kit=a.kit("in")),
    "GET kits/{kit}/contents/": lambda a: say(kit=a.kit("in")),
    "GET kits/{kit}/history/": lambda a: say(kit=a.kit("out")),
    "GET kits/{kit}/restock/": lambda a: say(kit=a.kit("used")),
    "GET kits/{kit}/tag/": lambda a: say({"preview": "true"}, kit=a.kit("spare")),
    "GET kits/{kit}/record/": lambda a: say(kit=a.kit("used")),
    "GET kits/{kit}/card/": lambda a: say({"preview": "true"}, kit=a.kit("spare")),
    "POST kits/{kit}/look-inside/": lambda a: say(kit=a.kit("back")),
    "POST kits/{kit}/restock/": lambda a: say(kit=a.kit("used")),
    "POST kits/{kit}/take-out/": lambda a: say(kit=a.kit("stale")),
    "POST kits/{kit}/borrow/": lambda a: say(
        kit=a.kit("used"),
        body={"giver": a.kit("spare"), "lines": [{"lot": str(a.lot("dressing")), "units": 1}]},
    ),
    "POST kits/{kit}/reseal/": lambda a: say(kit=a.kit("spare"), body={"seal": "0099"}),
    "POST kits/{kit}/count/": lambda a: say(
        kit=a.kit("in"), body={"found": [{"lot": str(a.lot("dressing")), "units": 3}]}
    ),
    "POST kits/{kit}/check/": lambda a: say(kit=a.kit("third"), body={"passed": True}),
    "POST kits/{kit}/build/": lambda a: say(kit=a.kit("bare")),
    "POST kits/{kit}/strip/": lambda a: say(
        kit=a.kit("bare"),
        body={
            "things": [
                {
                    "item": a.all.items["shears"].pk, "units": 1, "fate": "keep",
                    "section": "main",
                }
            ]
        },
    ),
    "POST kits/{kit}/leave/": lambda a: say(
        kit=a.kit("spare"), body={"way": "given", "to": "The centre", "reason": "one too many"}
    ),
    "POST kits/{kit}/empty/": lambda a: say(
        kit=a.kit("spare"),
        body={
            "lines": [
                {
                    "lot": str(a.lot("dressing")), "section": "main", "units": 1, "way": "shelf",
                    "shelf": str(a.place()),
                }
            ]
        },
    ),
}  # fmt: skip

CUSTODY: dict[str, Make] = {
    "POST kits/{kit}/check-out/": lambda a: say(
        kit=a.kit("in"), body={"person": str(a.person("mate")), "trip": a.trip("walk")}
    ),
    "POST kits/{kit}/check-out/ #already gone": lambda a: say(
        kit=a.kit("in"),
        body={"already_gone": True, "person": str(a.person("mate")), "trip": a.trip("walk")},
    ),
    "POST kits/{kit}/check-out/ #emergency": lambda a: say(
        kit=a.kit("in"), body={"emergency": True}
    ),
    "POST kits/{kit}/check-in/": lambda a: say(
        kit=a.kit("out"), body={"as_found": "opened", "wet": True}
    ),
    "POST kits/{kit}/due/": lambda a: say(kit=a.kit("out"), body={"due_at": _LATE}),
    "POST kits/{kit}/pass/": lambda a: say(
        kit=a.kit("out"), body={"person": str(a.person("guide"))}
    ),
    "POST kits/{kit}/use/": lambda a: say(
        kit=a.kit("back"), body={"used": [{"item": a.all.items["dressing"].pk, "units": 1}]}
    ),
    "POST kits/{kit}/needed/": lambda a: say(
        kit=a.kit("back"), body={"needed": [{"words": "a longer strap"}]}
    ),
    "POST kits/{kit}/mixed/": lambda a: say(kit=a.kit("back"), body={"kits": [a.kit("used")]}),
    "POST kits/{kit}/not-ours/": lambda a: say(kit=a.kit("in"), body={"inside": True}),
    "POST kits/{kit}/come-back/": lambda a: say(
        kit=a.kit("away"),
        body={"lot": str(a.lot("splint")), "units": 1, "shelf": str(a.place())},
    ),
    "POST kits/{kit}/write-off/": lambda a: say(
        kit=a.kit("away"), body={"lot": str(a.lot("splint")), "units": 1}
    ),
    "POST kits/{kit}/withhold/": lambda a: say(kit=a.kit("in"), body={"kind": "drying"}),
    "POST kits/{kit}/release/": lambda a: say(kit=a.kit("held"), body={"kind": "something-wrong"}),
    "POST kits/{kit}/lay-up/": lambda a: say(kit=a.kit("in")),
    "POST kits/{kit}/lost/": lambda a: say(kit=a.kit("in")),
    "GET away/": lambda a: say(),
    "GET unmet-needs/": lambda a: say(),
    "GET checkouts/": lambda a: say(),
    "GET checkouts/ #of a room": lambda a: say({"room": a.room()}),
    "GET clearances/": lambda a: say(),
    "POST clearances/{id}/answer/": lambda a: say(id=a.of("clearance"), body={"confirmed": True}),
    "POST scans/ #look": lambda a: say(body=_slip(a.kit("in")), holds=_known),
    "POST scans/ #take out": lambda a: say(
        body=_slip(
            a.kit("in"), intent="check-out", holder=str(a.person("mate")), trip=a.trip("walk")
        ),
        holds=_done,
    ),
    "POST scans/ #already gone": lambda a: say(
        body=_slip(
            a.kit("in"), intent="check-out", already_gone=True, holder=str(a.person("mate"))
        ),
        holds=_done,
    ),
    "POST scans/ #emergency": lambda a: say(
        body=_slip(a.kit("in"), intent="check-out", emergency=True), holds=_done
    ),
    "POST scans/ #hand back": lambda a: say(
        body=_slip(a.kit("out"), intent="check-in", wet=True), holds=_done
    ),
    "POST scans/ #receive": lambda a: say(
        body=_slip("(01)09506000134352(17)300531(10)D9", intent="receive", place=str(a.place())),
        holds=_done,
    ),
    "POST scans/ #count": lambda a: say(body=_slip(a.label("shelf"), intent="count"), holds=_done),
    "POST scans/ #checked": lambda a: say(
        body=_slip(a.kit("back"), intent="look-inside"), holds=_done
    ),
}

_VERSION = "packing-lists/{id}/versions/{number}/"


def _of_draft(a: Aim, **more: Any) -> Any:
    return say(id=a.list("draft"), number=a.all.draft.number, **more)


_LATER = "2199-12-31"


def _change(a: Aim) -> dict[str, Any]:
    """Other dressings on a list."""
    return {
        "what": "amount", "item": a.all.items["dressing"].pk, "carry": 9,
        "never_below": 9, "claim": "More of them.",
        "review_on": _LATER, "lists": [a.list()],
        "sources": [{"supports": True, "says": "They ran out.", "read_in": "Our records"}],
    }  # fmt: skip


LISTS: dict[str, Make] = {
    "GET packing-lists/": lambda a: say(),
    "POST packing-lists/": lambda a: say(body=_draft(a, name="New list")),
    "GET packing-lists/changes/": lambda a: say(),
    "POST packing-lists/changes/": lambda a: say(body=_change(a)),
    "GET packing-lists/changes/{id}/": lambda a: say(id=a.change()),
    "POST packing-lists/changes/{id}/review/": lambda a: say(
        id=a.change(), body={"review_on": _LATER}
    ),
    "GET packing-lists/{id}/": lambda a: say(id=a.list()),
    "POST packing-lists/{id}/versions/": lambda a: say(id=a.list()),
    f"GET {_VERSION}": lambda a: say(id=a.list(), number=1),
    f"PUT {_VERSION}": lambda a: _of_draft(a, body=_draft(a)),
    f"GET {_VERSION}compare/{{before}}/": lambda a: _of_draft(a, before=1),
    f"GET {_VERSION}effect/": lambda a: _of_draft(a),
    f"POST {_VERSION}publish/": lambda a: _of_draft(a),
    f"POST {_VERSION}sign/": lambda a: say(id=a.list("unsigned"), number=1, body={"until": _DAY}),
    f"GET {_VERSION}signed-page/": lambda a: say(id=a.list(), number=1),
}

PLANS: dict[str, Make] = {
    "GET plans/kits/{kit}/": lambda a: say(kit=a.kit("in")),
    "GET plans/lists/{list}/versions/{number}/": lambda a: say(list=a.list(), number=1),
    "GET advice/": lambda a: say(),
    "POST advice/": lambda a: say(),
    "GET advice/{id}/": lambda a: say(id=a.advice("draft")),
    "POST advice/{id}/send/": lambda a: say(
        id=a.advice("draft"), body={"revision": 2, "duty_confirmed": True}
    ),
    "POST advice/{id}/withdraw/": lambda a: say(id=a.advice("sent"), body={"reason": "A recall."}),
    "POST plans/draft/": lambda a: say(body={"people": 8, "days": 1, "hazards": ["fire"]}),
    "POST plans/replay/": lambda a: say(body={"list": a.list(), "version": 1}),
    "POST plans/replay/ #of a kit": lambda a: say(body={"kit": a.kit("in")}),
    "GET plans/vocabulary/": lambda a: say(),
    "GET plans/rates/": lambda a: say(),
    "PUT plans/rates/{need}/{activity}/": lambda a: say(
        need="blister", activity="any", body={"per_1000": "3"}
    ),
}

TRIPS: dict[str, Make] = {
    "GET trips/": lambda a: say(),
    "GET trips/ #of a room": lambda a: say({"room": a.room()}),
    "POST trips/": lambda a: say(body=_trip(a)),
    "POST trips/batch/": lambda a: say(
        body={
            "source": "bookings",
            "trips": [_trip(a, reference="B-1", room=None, leader=None)],
        }
    ),
    "GET trips/{source}/{reference}/": lambda a: _of_trip(a, "walk"),
    "PUT trips/{source}/{reference}/": lambda a: _of_trip(a, "later", body=_trip(a)),
    "POST trips/{source}/{reference}/extend/": lambda a: _of_trip(
        a, "walk", body={"returns_at": _LATE}
    ),
    "GET trips/{source}/{reference}/proposal/": lambda a: _of_trip(a, "later"),
    "POST trips/{source}/{reference}/proposal/": lambda a: _of_trip(a, "later"),
    "GET plans/trips/": lambda a: say(),
    "GET plans/trips/ #of a room": lambda a: say({"room": a.room()}),
    "POST plans/trips/reserve/": lambda a: say(
        body={"reserve": [{"kit": a.kit("in"), "trip": a.trip("later")}]}
    ),
    "GET reservations/": lambda a: say(),
    "GET reservations/{id}/": lambda a: say(id=a.of("reservation")),
    "POST reservations/": lambda a: say(
        body={"kit": a.kit("in"), "trip": a.trip("later"), "person": str(a.person("mate"))}
    ),
    "POST reservations/{id}/release/": lambda a: say(id=a.of("reservation")),
    "POST reservations/{id}/swap/": lambda a: say(
        id=a.of("reservation"), body={"kit": a.kit("in")}
    ),
}


def _of_trip(a: Aim, name: str, **more: Any) -> Any:
    source, reference = a.trip(name).split(":", 1)
    return say(source=source, reference=reference, **more)


RECORD: dict[str, Make] = {
    "GET entries/": lambda a: say(),
    "GET entries/ #of a room": lambda a: say({"room": a.room()}),
    "GET entries/{id}/": lambda a: say(id=a.entry("used")),
    "POST entries/{id}/reverse/": lambda a: say(id=a.entry("used")),
    "POST entries/{id}/reverse/ #a guide's own": lambda a: say(id=a.entry("own")),
    "POST entries/{id}/really/": lambda a: say(id=a.entry("out"), body={"kit": a.kit("in")}),
    "GET movements/": lambda a: say(),
    "GET movements/ #of a room": lambda a: say({"room": a.room()}),
    "GET notices/": lambda a: say(),
    "GET notices/weekly/": lambda a: say(),
    "GET notices/weekly/ #of somebody": lambda a: say({"person": a.person("instructor")}),
    "GET notices/settings/": lambda a: say(),
    "PATCH notices/settings/": lambda a: say(body={"weekly_on": 3}),
    "POST notices/calendar/": lambda a: say(),
    "POST notices/calendar/end/": lambda a: say(),
    "GET notices/{id}/": lambda a: say(id=a.of("notice")),
    "POST notices/{id}/send-again/": lambda a: say(id=a.of("notice")),
    "GET calendars/{secret}/": lambda a: say(
        secret=a.side.people["keeper"].calendar if a.side else "nothing"
    ),
    "GET events/": lambda a: say(),
    "GET events/ #of a room": lambda a: say({"room": a.room()}),
    "GET webhooks/": lambda a: say(),
    "POST webhooks/": lambda a: say(
        body={"name": "Mine", "address": "https://booking.example/", "room": a.room()}
    ),
    "POST webhooks/ #of all their rooms": lambda a: say(
        body={"name": "Mine", "address": "https://booking.example/"}
    ),
    "GET webhooks/{id}/": lambda a: say(id=a.of("webhook")),
    "PATCH webhooks/{id}/": lambda a: say(id=a.of("webhook"), body={"name": "Other"}),
    "GET webhooks/{id}/delivery/": lambda a: say(id=a.of("webhook")),
    "GET webhooks/{id}/attempts/": lambda a: say(id=a.of("webhook")),
    "POST webhooks/{id}/rotate/": lambda a: say(id=a.of("webhook")),
    "POST webhooks/{id}/test/": lambda a: say(id=a.of("webhook")),
    "POST webhooks/{id}/send-again/": lambda a: say(id=a.of("webhook"), body={"event": a.event()}),
    "POST webhooks/{id}/leave-out/": lambda a: say(id=a.of("webhook"), body={"event": a.event()}),
    "POST webhooks/{id}/remove/": lambda a: say(id=a.of("webhook")),
}

LABELS: dict[str, Make] = {
    "GET labels/": lambda a: say(),
    "GET labels/ #of a room": lambda a: say({"room": a.room()}),
    "POST labels/": lambda a: say(body={"on": [{"kit": a.kit("in")}]}),
    "POST labels/ #tag of somebody": lambda a: say(
        body={"on": [{"person": str(a.person("visitor"))}], "room": a.room()}
    ),
    "POST labels/ #blanks": lambda a: say(body={"blanks": 2, "room": a.room()}),
    "GET labels/{code}/": lambda a: say(code=a.label("kit")),
    "POST labels/{code}/bind/": lambda a: say(
        code=a.label("blank"), body={"to": {"kit": a.kit("in")}}
    ),
    "POST labels/{code}/cancel/": lambda a: say(
        code=a.label("kit"), body={"why": "worn", "replace": True}
    ),
    "GET labels/{code}/image/": lambda a: say({"preview": "true"}, code=a.label("kit")),
    "GET labels/layouts/": lambda a: say(),
    "POST labels/layouts/": lambda a: say(
        body={
            "name": "Own", "page_width_mm": 210, "page_height_mm": 297, "columns": 2, "rows": 4,
            "cell_width_mm": 90, "cell_height_mm": 60, "left_mm": 10, "top_mm": 20,
            "pitch_x_mm": 95, "pitch_y_mm": 65,
        }
    ),
    "POST labels/sheets/": lambda a: say(body={"labels": [a.label("kit")], "preview": True}),
    "GET labels/test-page/": lambda a: say(),
    "GET labels/calibration/": lambda a: say(
        {"left_mm": "15", "top_mm": "15", "across_mm": "100", "down_mm": "100"}
    ),
    "GET rooms/{room}/wall-calendar/": lambda a: say(room=a.room()),
    "GET rooms/{room}/sign-out-sheet/": lambda a: say({"preview": "true"}, room=a.room()),
    "GET tables/": lambda a: say(),
    "GET exports/{table}/": lambda a: say(table="items"),
    "GET exports/{table}/ #of a room": lambda a: say({"room": a.room()}, table="kits"),
    "GET exports/{table}/ #people": lambda a: say(table="people"),
    "POST imports/{table}/": lambda a: say(
        table="items", body={"text": "name,kind,base_unit\nFinger splint,tool,piece\n"}
    ),
    "POST imports/{table}/ #people": lambda a: say(
        table="people", body={"text": f"name,home_room\nNia Field,{a.room()}\n"}
    ),
    "GET schema/": lambda a: say(),
    "GET docs/": lambda a: say(),
}  # fmt: skip

REQUESTS = {
    **PEOPLE,
    **KITS,
    **CUSTODY,
    **api_stock.REQUESTS,
    **LISTS,
    **PLANS,
    **TRIPS,
    **RECORD,
    **LABELS,
}
