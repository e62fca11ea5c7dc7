"""The API's operations on stock, items, batches and recalls: a request for each."""

from tests.kits import factories as make
from tests.matrix.requests.making import Make, say

_DAY = str(make.days(200))

REQUESTS: dict[str, Make] = {
    "GET stock/": lambda a: say(),
    "GET stock/ #of a room": lambda a: say({"room": a.room()}),
    "POST stock/receive/": lambda a: say(
        body={
            "shelf": str(a.place()), "item": a.all.items["dressing"].pk, "units": 5,
            "number": "D8", "expiry": _DAY,
        }
    ),
    "POST stock/move/": lambda a: say(
        body={
            "lot": str(a.lot("dressing")), "units": 1, "source": str(a.place()),
            "to": str(a.place("upper")),
        }
    ),
    "POST stock/send/": lambda a: say(
        body={
            "lot": str(a.lot("dressing")), "units": 1, "source": str(a.place()),
            "room": "main-store" if a.room() == "cave-hut" else "cave-hut",
        }
    ),
    "POST stock/arrive/": lambda a: say(
        body={"lot": str(a.lot("dressing")), "units": 2, "shelf": str(a.place())}
    ),
    "POST stock/dispose/": lambda a: say(
        body={
            "lot": str(a.lot("dressing")), "units": 1, "place": str(a.place()), "reason": "wet"
        }
    ),
    "GET stock/spare-kits/": lambda a: say({"room": a.room()}),
    "POST stock/leave/": lambda a: say(
        body={
            "lot": str(a.lot("dressing")), "units": 1, "place": str(a.place()), "way": "sold",
            "to": "The ski club", "reason": "too many",
        }
    ),
    "POST stock/open/": lambda a: say(
        body={"lot": str(a.lot("tablets")), "units": 1, "place": str(a.place())}
    ),
    "POST stock/count/": lambda a: say(
        body={
            "shelf": str(a.place()),
            "found": [{"lot": str(a.lot("dressing")), "units": 1}],
        }
    ),
    "GET places/": lambda a: say(),
    "GET places/ #of a room": lambda a: say({"room": a.room()}),
    "POST places/": lambda a: say(body={"room": a.room(), "name": "New shelf"}),
    "PATCH places/{id}/": lambda a: say(id=a.place("upper"), body={"name": "Renamed"}),
    "PATCH places/{id}/ #moved to a location": lambda a: say(
        id=a.place("upper"), body={"location": a.location("van")}
    ),
    "POST places/{id}/weather-out/": lambda a: say(
        id=a.place("cold_shelf"), body={"to": str(a.place("upper"))}
    ),
    "POST places/{id}/weather-back/": lambda a: say(id=a.place("thawed_shelf")),
    "GET locations/": lambda a: say(),
    "GET locations/ #of a room": lambda a: say({"room": a.room()}),
    "POST locations/": lambda a: say(
        body={"room": a.room(), "name": "New van", "frost_months": [1, 2]}
    ),
    "PATCH locations/{id}/": lambda a: say(id=a.location("unused"), body={"name": "Old van"}),
    "GET rooms/{room}/weather/": lambda a: say(room=a.room()),
    "POST kits/{kit}/weather-out/": lambda a: say(
        kit=a.kit("cold"), body={"to": str(a.place("upper"))}
    ),
    "POST kits/{kit}/weather-back/": lambda a: say(kit=a.kit("thawed")),
    "GET lots/": lambda a: say(),
    "GET lots/{id}/": lambda a: say(id=a.lot("dressing")),
    "GET lots/{id}/ #corrected": lambda a: say(id=a.lot("corrected by")),
    "POST lots/{id}/correct/": lambda a: say(
        id=a.lot("tablets"), body={"expiry": _DAY, "reason": "read wrong"}
    ),
    "POST lots/{id}/check/": lambda a: say(id=a.lot("gauge of"), body={"passed": True}),
    "GET items/": lambda a: say(),
    "POST items/": lambda a: say(
        body={"name": "Tape", "kind": "consumable", "base_unit": "roll"}
    ),
    "GET items/{id}/": lambda a: say(id=a.item("dressing")),
    "PATCH items/{id}/": lambda a: say(id=a.item("dressing"), body={"caution": "Look first."}),
    "POST items/{id}/retire/": lambda a: say(id=a.item("pad")),
    "POST items/{id}/bring-back/": lambda a: say(id=a.item("over")),
    "POST items/{id}/pack-codes/": lambda a: say(
        id=a.item("pad"), body={"gtin": "09506000134369", "units_per_pack": 5}
    ),
    "POST items/{id}/pack-codes/remove/": lambda a: say(
        id=a.item("dressing"), body={"gtin": "09506000134352"}
    ),
    "POST items/{id}/substitutes/": lambda a: say(
        id=a.item("dressing"), body={"instead": a.item("bandage")}
    ),
    "POST items/{id}/substitutes/remove/": lambda a: say(
        id=a.item("dressing"), body={"instead": a.item("pad")}
    ),
    "GET offers/": lambda a: say(),
    "POST offers/": lambda a: say(
        body={
            "item": a.item("dressing"),
            "supplier": "South",
            "units": 10,
            "currency": "GBP",
            "prices": [{"packs": 1, "each": "4.50"}],
        }
    ),
    "POST offers/pasted/": lambda a: say(body={"text": "Wound dressing, pack of 10, £4.50"}),
    "POST bought-kits/comparison/": lambda a: say(
        body={
            "room": a.room(), "list": a.list(), "version": a.all.version.number, "kits": 1,
            "currency": "GBP",
            "filled": [
                {"name": "Day kit", "price": "12", "contents": [{"name": "Tape", "units": 1}]}
            ],
        }
    ),
    "GET plans/order/": lambda a: say({"room": a.room(), "through": _DAY, "currency": "GBP"}),
    "GET orders/": lambda a: say(),
    "GET orders/ #of a room": lambda a: say({"room": a.room()}),
    "POST orders/": lambda a: say(
        body={
            "room": a.room(), "through": _DAY, "currency": "GBP", "replace": True,
            "lines": [{"offer": a.all.offer.pk, "packs": 2}],
        }
    ),
    "GET orders/{id}/": lambda a: say(id=a.order("placed")),
    "POST orders/{id}/lines/": lambda a: say(
        id=a.order("draft"), body={"lines": [{"offer": a.all.offer.pk, "packs": 3}]}
    ),
    "POST orders/{id}/place/": lambda a: say(id=a.order("draft"), body={}),
    "POST orders/{id}/take-back/": lambda a: say(id=a.order("early"), body={}),
    "POST orders/{id}/cancel/": lambda a: say(id=a.order("placed"), body={}),
    "POST orders/{id}/await/": lambda a: say(id=a.order("cancelled"), body={}),
    "POST orders/{id}/discard/": lambda a: say(id=a.order("draft"), body={}),
    "POST items/{id}/order-level/": lambda a: say(
        id=a.all.items["dressing"].pk, body={"room": a.room(), "units": 9}
    ),
    "POST offers/{id}/end/": lambda a: say(id=a.offer()),
    "GET suppliers/": lambda a: say(),
    "POST suppliers/{id}/terms/": lambda a: say(
        id=a.supplier(), body={"currency": "GBP", "delivery": "4.95"}
    ),
    "POST suppliers/{id}/names/": lambda a: say(id=a.supplier(), body={"name": "North Ltd"}),
    "GET recalls/": lambda a: say(),
    "POST recalls/": lambda a: say(body={"item": a.item("dressing"), "number": "D1"}),
    "GET recalls/{id}/": lambda a: say(id=a.recall("bandage")),
    "POST recalls/{id}/answer/": lambda a: say(
        id=a.recall("bandage"), body={"row": a.row(), "answer": "taken-out", "removed": 2}
    ),
    "POST recalls/{id}/told/": lambda a: say(id=a.recall("bandage"), body={"row": a.row()}),
    "POST recalls/{id}/close/": lambda a: say(
        id=a.recall("bandage"), body={"outcome": "finished", "reason": "disposed of"}
    ),
    "POST recalls/{id}/reopen/": lambda a: say(id=a.recall("pad")),
    "POST recalls/{id}/put-back/": lambda a: say(
        id=a.recall("wrap"), body={"shelf": str(a.place())}
    ),
}  # fmt: skip
