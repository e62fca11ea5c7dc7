"""The pages of stock: a request for each."""

from typing import Any

from tests.kits import factories as make
from tests.matrix.requests.making import Aim, Make, say

_DAY = str(make.days(200))


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


REQUESTS: dict[str, Make] = {
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
