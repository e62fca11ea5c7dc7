"""The pages: a request for each that would succeed for whoever may."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from gearroom.site.web.lists import table_form
from gearroom.site.web.overview import start_workbook
from kits.models import Checkout, Kit
from kits.services.lists import draft_table, drafts
from tests.kits import factories as make
from tests.matrix.requests import Aim, Make, say

_HOUR_AGO = f"{timezone.now() - timedelta(minutes=5):%Y-%m-%dT%H:%M}"
_LATE = f"{timezone.now() + timedelta(days=2):%Y-%m-%dT%H:%M}"
_DAY = str(make.days(200))


def _out(kit: str) -> Callable[[Any], bool]:
    """Whether a kit is out after the request."""
    return lambda _answer: Checkout.objects.filter(kit__name=kit, in_at=None).exists()


def _back(kit: str) -> Callable[[Any], bool]:
    """Whether a kit is no longer out after the request."""
    rows = Checkout.objects.filter(kit__name=kit)
    return lambda _answer: rows.exists() and not rows.filter(in_at=None).exists()


def _revision(kit: str) -> int:
    """That of a kit; of one that is not there, any."""
    return Kit.objects.filter(name=kit).values_list("revision", flat=True).first() or 0


def _scan(kit: str, holds: Callable[[Any], bool], **said: str) -> Any:
    return say(body={"text": kit, **said}, holds=holds)


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


def _keep(a: Aim, kit: str, do: str, **said: str) -> Any:
    return say(kit=a.kit(kit), body={"do": do, **said})


HATCH: dict[str, Make] = {
    "page GET": lambda a: say(),
    "page GET board/lines/": lambda a: say(),
    "page GET search/": lambda a: say({"q": "dress"}),
    "page GET scan/": lambda a: say(),
    "page POST scan/ #take out": lambda a: _scan(
        a.kit("in"),
        _out(a.kit("in")),
        intent="check-out",
        holder=str(a.person("mate")),
        trip=str(a.trip_id("walk")),
    ),
    "page POST scan/ #already gone": lambda a: _scan(
        a.kit("in"), _out(a.kit("in")), intent="check-out", occurred_at=_HOUR_AGO
    ),
    "page POST scan/ #emergency": lambda a: _scan(
        a.kit("in"), _out(a.kit("in")), intent="check-out", emergency="1"
    ),
    "page POST scan/ #hand back": lambda a: _scan(
        a.kit("out"), _back(a.kit("out")), intent="check-in", as_found="sort-later"
    ),
    "page GET undo/{entry}/": lambda a: say(entry=a.entry("used")),
    "page POST undo/{entry}/": lambda a: say(entry=a.entry("used"), body={"sure": "1"}),
    "page GET undo/{entry}/really/": lambda a: say(entry=a.entry("out")),
    "page POST undo/{entry}/really/": lambda a: say(
        entry=a.entry("out"), body={"kit": a.kit("in")}
    ),
    "page GET kits/{kit}/hand-back/": lambda a: say({"opened": "1"}, kit=a.kit("out")),
    "page POST kits/{kit}/hand-back/": lambda a: say(kit=a.kit("out"), body={"sharps": "no"}),
    "page POST kits/{kit}/due/": lambda a: say(kit=a.kit("out"), body={"due_at": _LATE}),
    "page GET kits/{kit}/sort/": lambda a: say(kit=a.kit("back")),
    "page POST kits/{kit}/sort/": lambda a: say(kit=a.kit("back")),
    "page GET kits/{kit}/swap/": lambda a: say(kit=a.kit("spare")),
    "page POST kits/{kit}/swap/": lambda a: say(
        kit=a.kit("spare"),
        body={
            "rows": f"{a.lot('dressing')}.{a.lot('dressing')}.{a.section('spare')}.{a.place()}.1"
        },
    ),
    "page POST kits/{kit}/seal/": lambda a: say(kit=a.kit("spare"), body={"seal": "0099"}),
    "page GET kits/{kit}/used/": lambda a: say(kit=a.kit("back")),
    "page POST kits/{kit}/used/": lambda a: say(
        kit=a.kit("back"), body={f"used-{a.all.items['dressing'].pk}": "1"}
    ),
    "page GET kits/{kit}/ask/": lambda a: say(kit=a.kit("back")),
    "page GET ask/": lambda a: say(),
    "page GET clearances/": lambda a: say(),
    "page POST clearances/": lambda a: say(body={"clearance": a.of("clearance"), "answer": "yes"}),
    "page GET away/": lambda a: say(),
    "page POST away/ #come back": lambda a: say(
        body={"kit": a.kit("away"), "lot": a.lot("splint"), "units": "1", "shelf": a.place()}
    ),
    "page POST away/ #written off": lambda a: say(
        body={"kit": a.kit("away"), "lot": a.lot("splint"), "units": "1", "gone": "1"}
    ),
    "page POST kits/{kit}/not-ours/": lambda a: say(kit=a.kit("in"), body={"inside": "1"}),
    "page GET kits/{kit}/photos/{number}/": lambda a: say(kit=a.kit("held"), number=a.photo()),
    "page GET L/{code}": lambda a: say(code=a.label("kit")),
    "page GET app.webmanifest": lambda a: say(),
    "page GET worker.js": lambda a: say(),
    "page GET offline/": lambda a: say(),
    "page GET offline/ready/": lambda a: say(),
    "page GET offline/kits/": lambda a: say(),
    "page GET hatch/": lambda a: say(),
    "page POST hatch/": lambda a: say(body={"person": a.person("guide")}),
    "page GET hatch/pin/": lambda a: say(),
    "page POST hatch/pin/": lambda a: say(body={"pin": "2580"}),
    "page POST hatch/lock/": lambda a: say(),
    "page POST hatch/end/": lambda a: say(),
}

LINKS: dict[str, Make] = {
    "page GET cleared/{link}/": lambda a: say(link=a.link("cleared")),
    "page POST cleared/{link}/": lambda a: say(link=a.link("cleared"), body={"answer": "yes"}),
    "page GET sign/{signature}/": lambda a: say(signature=a.link("sign")),
    "page POST sign/{signature}/": lambda a: say(signature=a.link("sign")),
    "page GET used/{link}/": lambda a: say(link=a.link("used")),
    "page POST used/{link}/": lambda a: say(link=a.link("used"), body={"nothing": "1"}),
    "page GET used/{link}/{time}/": lambda a: say(link=a.link("used"), time=a.links_time()),
    "page POST used/{link}/{time}/": lambda a: say(
        link=a.link("used"),
        time=a.links_time(),
        body={f"used-{a.all.items['dressing'].pk}": "1"},
    ),
    "page GET sign-in/new/{uid}/{token}/": lambda a: say(uid=a.link("uid"), token=a.link("reset")),
    "page POST sign-in/new/{uid}/{token}/": lambda a: say(
        uid=a.link("uid"), token=a.link("reset"), body={"new": "another long pass phrase"}
    ),
}

KITS: dict[str, Make] = {
    "page GET kits/": lambda a: say(),
    "page GET chosen-kits/": lambda a: say(),
    "page POST chosen-kits/ #reserve": lambda a: say(
        body={"kit": a.kit("spare"), "do": "reserve", "trip": a.trip_id("walk")}
    ),
    "page POST chosen-kits/ #labels": lambda a: say(body={"kit": a.kit("in"), "do": "labels"}),
    "page GET kits/{kit}/": lambda a: say(kit=a.kit("out")),
    "page GET kits/{kit}/plan/": lambda a: say(kit=a.kit("in")),
    "page GET kits/{kit}/costs/": lambda a: say(kit=a.kit("in")),
    "page GET kits/{kit}/as-of/": lambda a: say(kit=a.kit("out")),
    "page GET kits/{kit}/history/": lambda a: say(kit=a.kit("used")),
    "page GET kits/{kit}/count/": lambda a: say(kit=a.kit("in")),
    "page POST kits/{kit}/count/": lambda a: say(
        kit=a.kit("in"),
        body={f"have-{a.lot('dressing')}-{a.section('in')}": "3", "sure": "1"},
    ),
    "page GET kits/{kit}/checked/": lambda a: say(kit=a.kit("in")),
    "page POST kits/{kit}/checked/": lambda a: say(
        kit=a.kit("in"),
        body={"all": "1", "revision": _revision(a.kit("in"))},
    ),
    "page POST kits/{kit}/check/": lambda a: say(
        kit=a.kit("third"), body={"lot": a.lot("gauge of"), "passed": "yes"}
    ),
    "page POST kits/{kit}/pass/": lambda a: say(
        kit=a.kit("out"), body={"person": a.person("guide")}
    ),
    "page POST kits/{kit}/withhold/": lambda a: say(kit=a.kit("in"), body={"kind": "drying"}),
    "page POST kits/{kit}/release/": lambda a: say(
        kit=a.kit("held"), body={"kind": "something-wrong"}
    ),
    "page POST kits/{kit}/take-out/": lambda a: say(kit=a.kit("stale")),
    "page GET kits/{kit}/keeping/": lambda a: say(kit=a.kit("in")),
    "page POST kits/{kit}/keeping/ #edit": lambda a: _keep(
        a, "in", "edit", name="RENAMED", lives_in="store", look_interval_days="300",
        responsible=str(a.person("instructor")), deputy=str(a.person("keeper"))
    ),
    "page POST kits/{kit}/keeping/ #lay up": lambda a: _keep(a, "in", "lay-up"),
    "page POST kits/{kit}/keeping/ #wake": lambda a: _keep(a, "asleep", "wake"),
    "page POST kits/{kit}/keeping/ #lost": lambda a: _keep(a, "in", "lost"),
    "page POST kits/{kit}/keeping/ #found": lambda a: _keep(a, "lost", "found"),
    "page POST kits/{kit}/keeping/ #move": lambda a: _keep(a, "in", "move", room=a.room()),
    "page POST kits/{kit}/keeping/ #retire": lambda a: _keep(a, "bare", "retire"),
    "page GET strip/": lambda a: say(),
    "page GET kits/{kit}/strip/": lambda a: say(kit=a.kit("bare")),
    "page POST kits/{kit}/strip/": lambda a: say(
        kit=a.kit("bare"),
        body={"item": a.all.items["shears"].pk, "units": "1", "goes": "keep:main"},
    ),
    "page POST kits/{kit}/strip/new/": lambda a: say(
        kit=a.kit("bare"), body={"name": "Tape", "kind": "tool", "base_unit": "roll"}
    ),
    "page GET kits/{kit}/strip/{id}/": lambda a: say(kit=a.kit("bare"), id=a.filled()),
    "page POST kits/{kit}/strip/{id}/": lambda a: say(
        kit=a.kit("bare"),
        id=a.filled(),
        body={"item-0": a.all.items["shears"].pk, "units-0": "1", "goes-0": "keep:main"},
    ),
    "page GET bought-kits/": lambda a: say(),
    "page GET bought-kits/add/": lambda a: say(),
    "page POST bought-kits/add/": lambda a: say(
        body={
            "name": "Day kit", "price": "12", "currency": "GBP", "text": "1 x Shears", "keep": "1"
        }
    ),
    "page GET bought-kits/{id}/buy/": lambda a: say(id=a.filled()),
    "page POST bought-kits/{id}/close/": lambda a: say(id=a.filled()),
    "page GET stock/prices/": lambda a: say(),
    "page POST stock/prices/": lambda a: say(
        body={
            "item": a.item("dressing"), "supplier": "South", "units": "5", "price": "2",
            "currency": "GBP",
        }
    ),
    "page GET stock/prices/paste/": lambda a: say(),
    "page POST stock/prices/paste/": lambda a: say(
        body={
            "supplier": "South", "currency": "GBP", "text": "Wound dressing, pack of 10, £4.50",
            "keep": "1",
        }
    ),
    "page GET stock/prices/suppliers/{id}/": lambda a: say(id=a.supplier()),
    "page POST stock/prices/suppliers/{id}/": lambda a: say(
        id=a.supplier(), body={"name": "South Ltd"}
    ),
    "page POST stock/prices/{id}/end/": lambda a: say(id=a.offer()),
    "page GET kits/{kit}/leave/": lambda a: say(kit=a.kit("spare")),
    "page POST kits/{kit}/leave/": lambda a: say(
        kit=a.kit("spare"), body={"way": "given", "to": "The centre", "reason": "one too many"}
    ),
    "page GET kits/{kit}/papers/": lambda a: say(kit=a.kit("spare")),
    "page GET kits/{kit}/empty/": lambda a: say(kit=a.kit("spare")),
    "page POST kits/{kit}/empty/": lambda a: say(
        kit=a.kit("spare"),
        body={
            "line": f"main:{a.lot('dressing')}", "goes": f"shelf:{a.place()}", "units": "1"
        },
    ),
    "page GET kits/{kit}/tag/": lambda a: say({"preview": "1"}, kit=a.kit("spare")),
    "page GET kits/{kit}/card/": lambda a: say({"preview": "1"}, kit=a.kit("spare")),
    "page GET add-kit/": lambda a: say(),
    "page POST add-kit/": lambda a: say(
        body={
            "name": "NEW-01", "version": a.all.version.pk, "room": a.room(),
            "responsible": a.person("instructor"),
        }
    ),
    "page GET first-day/": lambda a: say(),
    "page GET first-day/kit/": lambda a: say(),
    "page POST first-day/kit/": lambda a: say(
        body={
            "save": "1", "kit": "NEW-01", "list": "New list", "people": "8", "days": "1",
            "name-0": "whistle", "there-0": "1", "kind-0": "tool",
        }
    ),
    "page GET first-day/kits/{kit}/": lambda a: say(kit=a.kit("in")),
    "page GET first-day/workbook/": lambda a: say(),
    "page POST first-day/workbook/": lambda a: say(
        body={"key": ""},
        files={"workbook": SimpleUploadedFile("gear-room.xlsx", start_workbook.blank())},
    ),
    "page GET first-day/workbook/empty/": lambda a: say(),
}  # fmt: skip


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
    "page GET trips/add/": lambda a: say(),
    "page POST trips/add/": lambda a: say(body=_trip(a)),
    "page GET trips/{trip}/": lambda a: say(trip=a.trip_id("walk")),
    "page POST trips/{trip}/reserve/": lambda a: say(
        trip=a.trip_id("later"), body={"kit": a.kit("in"), "person": a.person("mate")}
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


def _chosen(a: Aim, **fields: Any) -> Any:
    """One batch ticked in the table of the room that the device stands in."""
    on = f"{a.place()}:{a.lot('dressing')}:1"
    return say(body={"on": on, **fields}, stands_in=a.room())


def _at(a: Aim, lot: str = "dressing", **said: Any) -> Any:
    return say(place=a.place(), lot=a.lot(lot), body={"units": "1", "reason": "wet", **said})


def _edited(a: Aim) -> dict[str, Any]:
    return {
        "save": "1", "revision": a.all.items["dressing"].revision, "name": "Wound dressing",
        "base_unit": "piece", "kind": "consumable", "disposal": "bin", "lead_time_days": "5",
        "needs_date": "1", "sterile": "1",
    }  # fmt: skip


STOCK: dict[str, Make] = {
    "page GET stock/": lambda a: say(),
    "page GET stock/expiry/": lambda a: say(),
    "page GET stock/rotation/": lambda a: say(),
    "page GET stock/receive/": lambda a: say(),
    "page POST stock/receive/": lambda a: say(
        body={
            "shelf": a.place(), "item": a.all.items["dressing"].pk, "many": "5",
            "number": "D8", "expiry": _DAY,
        }
    ),
    "page POST stock/receive/ #scanned": lambda a: say(
        body={"text": "(01)09506000134352(17)300531(10)D9"}
    ),
    "page POST stock/receive/new/": lambda a: say(
        body={"name": "Tape", "kind": "tool", "base_unit": "roll"}
    ),
    "page GET stock/count/": lambda a: say(),
    "page GET stock/count/{shelf}/": lambda a: say(shelf=a.place()),
    "page POST stock/count/{shelf}/": lambda a: say(
        shelf=a.place(),
        body={
            f"lot-{a.lot('dressing')}": "3", f"why-lot-{a.lot('dressing')}": "used",
            "write": "1",
        },
    ),
    "page GET stock/count/{shelf}/paper/": lambda a: say(shelf=a.place()),
    "page GET stock/batches/": lambda a: say(),
    "page GET stock/chosen/": lambda a: say(),
    "page POST stock/chosen/ #move": lambda a: _chosen(a, do="move", shelf=a.place("upper")),
    "page POST stock/chosen/ #send": lambda a: _chosen(
        a, do="send", to_room="main-store" if a.room() == "cave-hut" else "cave-hut"
    ),
    "page POST stock/chosen/ #dispose": lambda a: _chosen(a, do="dispose", reason="wet"),
    "page POST stock/chosen/ #labels": lambda a: _chosen(a, do="labels"),
    "page GET stock/out-of-date/": lambda a: say(),
    "page POST stock/out-of-date/": lambda a: say(
        body={"out": f"{a.set_apart()}:{a.lot('old')}:1"}, stands_in=a.room()
    ),
    "page GET stock/undated/": lambda a: say(),
    "page POST stock/undated/": lambda a: say(
        body={
            "place": a.place(), "lot": a.lot("undated"), "units": "2", "printed": _DAY,
            "number": "NODATE",
        }
    ),
    "page POST stock/arrive/": lambda a: say(
        body={"lot": a.lot("dressing"), "units": "2", "shelf": a.place()}
    ),
    "page GET stock/at/{place}/{lot}/": lambda a: _at(a),
    "page POST stock/at/{place}/{lot}/ #move": lambda a: _at(a, move=a.place("upper")),
    "page POST stock/at/{place}/{lot}/ #send": lambda a: _at(
        a, send="main-store" if a.room() == "cave-hut" else "cave-hut"
    ),
    "page POST stock/at/{place}/{lot}/ #dispose": lambda a: _at(a, dispose="bin"),
    "page GET stock/spare-kits/": lambda a: say(),
    "page GET stock/at/{place}/{lot}/leave/": lambda a: say(
        place=a.place(), lot=a.lot("dressing")
    ),
    "page POST stock/at/{place}/{lot}/leave/": lambda a: say(
        place=a.place(),
        lot=a.lot("dressing"),
        body={"units": "1", "way": "sold", "to": "The ski club", "reason": "too many"},
    ),
    "page POST stock/at/{place}/{lot}/ #open": lambda a: _at(a, "tablets", open="1"),
    "page POST stock/at/{place}/{lot}/ #correct": lambda a: _at(
        a, "tablets", correct="1", printed=_DAY, number="T1"
    ),
    "page POST stock/at/{place}/{lot}/ #check": lambda a: say(
        place=a.section("third"), lot=a.lot("gauge of"), body={"check": "passed"}
    ),
    "page GET stock/recalls/": lambda a: say(),
    "page POST stock/recalls/": lambda a: say(
        body={"item": "Wound dressing", "scope": "number", "number": "D1"}
    ),
    "page GET stock/recalls/{recall}/": lambda a: say(recall=a.recall("bandage")),
    "page POST stock/recalls/{recall}/answer/": lambda a: say(
        recall=a.recall("bandage"),
        body={"row": a.row(), "answer": "taken-out", "removed": "2"},
    ),
    "page POST stock/recalls/{recall}/told/": lambda a: say(
        recall=a.recall("bandage"), body={"row": a.row()}
    ),
    "page POST stock/recalls/{recall}/close/": lambda a: say(
        recall=a.recall("bandage"), body={"outcome": "finished", "reason": "disposed of"}
    ),
    "page POST stock/recalls/{recall}/reopen/": lambda a: say(recall=a.recall("pad")),
    "page POST stock/recalls/{recall}/put-back/": lambda a: say(
        recall=a.recall("wrap"), body={"shelf": a.place()}
    ),
    "page GET stock/order/": lambda a: say(),
    "page GET stock/order/ #worked out": lambda a: say({"weeks": "9", "currency": "GBP"}),
    "page POST stock/order/draft/": lambda a: say(
        body={
            "room": a.room(), "through": _DAY, "currency": "GBP", "replace": "1",
            f"packs-{a.all.offer.pk}": "2",
        }
    ),
    "page GET stock/order/{order}/": lambda a: say(order=a.order("placed")),
    "page POST stock/order/{order}/lines/": lambda a: say(
        order=a.order("draft"), body={f"packs-{a.all.offer.pk}": "3", "revision": "2"}
    ),
    "page POST stock/order/{order}/place/": lambda a: say(
        order=a.order("draft"), body={"revision": "2"}
    ),
    "page POST stock/order/{order}/draft/": lambda a: say(order=a.order("early"), body={}),
    "page POST stock/order/{order}/rest/": lambda a: say(
        order=a.order("placed"), body={"do": "cancel"}
    ),
    "page POST stock/order/{order}/discard/": lambda a: say(order=a.order("draft"), body={}),
    "page GET stock/order/{order}/order.csv": lambda a: say(order=a.order("placed")),
    "page GET stock/order/{order}/order.pdf": lambda a: say(order=a.order("placed")),
    "page POST stock/{item}/level/": lambda a: say(
        item=a.all.items["dressing"].pk, body={"room": a.room(), "level": "9"}
    ),
    "page GET stock/{item}/": lambda a: say(item=a.item("dressing")),
    "page GET stock/{item}/serves/": lambda a: say(item=a.item("dressing")),
    "page POST stock/{item}/serves/": lambda a: say(
        item=a.item("dressing"), body={"need": "blister", "units_per_use": "2", "best": "yes"}
    ),
    "page GET stock/{item}/edit/": lambda a: say(item=a.item("dressing")),
    "page POST stock/{item}/edit/": lambda a: say(item=a.item("dressing"), body=_edited(a)),
}  # fmt: skip

REQUESTS = {**HATCH, **LINKS, **KITS, **LISTS, **ADVICE, **STOCK}
