"""The pages of the hatch, by link, and of kits: a request for each."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from gearroom.site.web.overview import start_workbook
from kits.models import Checkout, Kit
from tests.matrix.requests.making import Aim, Make, say

_HOUR_AGO = f"{timezone.now() - timedelta(minutes=5):%Y-%m-%dT%H:%M}"
_LATE = f"{timezone.now() + timedelta(days=2):%Y-%m-%dT%H:%M}"


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
    "page GET kits/{kit}/as-of/ #as PDF": lambda a: say({"print": "1"}, kit=a.kit("out")),
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
    "page GET tables/": lambda a: say(),
    "page GET tables/{table}/": lambda a: say(table="items"),
    "page POST tables/{table}/": lambda a: say(
        table="items",
        body={"key": ""},
        files={"file": SimpleUploadedFile("items.csv", b"name,kind,base_unit\nWrap,tool,m\n")},
    ),
    "page GET tables/{table}/file/": lambda a: say(table="items"),
    "page GET tables/{table}/file/ #of a room": lambda a: say({"room": a.room()}, table="kits"),
    "page GET tables/{table}/file/ #people": lambda a: say(table="people"),
    "page GET first-day/workbook/": lambda a: say(),
    "page POST first-day/workbook/": lambda a: say(
        body={"key": ""},
        files={"workbook": SimpleUploadedFile("gear-room.xlsx", start_workbook.blank())},
    ),
    "page GET first-day/workbook/empty/": lambda a: say(),
}  # fmt: skip

REQUESTS = {**HATCH, **LINKS, **KITS}
