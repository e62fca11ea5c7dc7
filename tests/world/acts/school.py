"""The school before its first week: rooms, people, things, lists, stock and kits, made through
the API alone, but for its administrator's sign-in, which a command makes.

`make` answers with what the model needs to know of it: numbers of people, things and batches, the
lines of the lists, and what lies where at the start.
"""

from datetime import date, timedelta
from typing import Any

from tests.world.acts.permits import ROLES
from tests.world.acts.requests import Doors

LINES: dict[str, dict[str, Any]] = {
    "mask": {"carry": 2, "minimum": 1, "priority": "must-have"},
    "drops": {"carry": 2, "minimum": 1, "priority": "important"},
    "gauge": {"carry": 1, "minimum": 1, "priority": "important"},
    "gauze": {"carry": 4, "minimum": 2, "priority": "routine", "instead": "pad"},
    "plasters": {"carry": 2, "minimum": 1, "priority": "routine"},
}
"""What both lists ask for. Plasters are judged by eye: full is 2, low is 1."""

_ITEMS: dict[str, dict[str, Any]] = {
    "mask": {"kind": "consumable", "sterile": True},
    "drops": {"kind": "medicine", "opened_life_days": 3, "disposal": "pharmacy"},
    "gauge": {
        "kind": "instrument",
        "needs_date": False,
        "check_every_days": 180,
        "check_question": "Is the needle in the green?",
    },
    "gauze": {"kind": "consumable"},
    "pad": {"kind": "consumable"},
    "plasters": {"kind": "consumable", "by_eye": True, "needs_date": False},
}
LISTS = {
    "hill": {"people": 8, "days": 2, "hazard": "hill"},
    "cave": {"people": 6, "days": 3, "hazard": "cave"},
}
KITS = {
    "DAY-01": ("main-store", "hill", "store"),
    "DAY-02": ("main-store", "hill", "vehicle"),
    "CAVE-01": ("cave-hut", "cave", "store"),
}
_STOCK = [  # item, number, last good day after the start, units by room
    ("mask", "M1", 18, (2, 2)),
    ("mask", "M2", 400, (6, 4)),
    ("drops", "D1", 25, (3, 2)),
    ("drops", "D2", 300, (5, 4)),
    ("gauze", "G1", 14, (5, 3)),
    ("gauze", "G2", 30, (6, 5)),
    ("gauze", "G3", 500, (9, 7)),
    ("pad", "P1", 14, (3, 2)),
    ("pad", "P2", 450, (4, 3)),
]
_INSIDE = {"mask": "M1", "drops": "D1", "gauze": "G1"}
"""Of each thing one unit in a filled kit is of the batch that ends soonest."""


def make(doors: Doors, today: date) -> dict[str, Any]:
    """Set the school up as of now, and say what the model needs."""
    _sign_in_root(doors)
    for slug, name in (("main-store", "Main store"), ("cave-hut", "Cave hut")):
        _ask(doors, "rooms/", {"slug": slug, "name": name, "time_zone": "Europe/London"})
    people = _people(doors)
    items = {name: _item(doors, name, facts) for name, facts in _ITEMS.items()}
    _ask(doors, f"items/{items['gauze']}/substitutes/", {"instead": items["pad"]})
    until = today + timedelta(days=35)
    lists = {key: _list(doors, key, facts, items, until) for key, facts in LISTS.items()}
    shelves = {
        room: _ask(doors, "places/", {"room": room, "name": name})["id"]
        for room, name in (("main-store", "A1"), ("cave-hut", "H1"))
    }
    stock: dict[tuple[str, int], int] = {}
    lots: dict[int, dict[str, Any]] = {}
    for item, number, days, counts in _STOCK:
        for room, units in zip(shelves, counts, strict=True):
            facts = {"item": items[item], "number": number, "units": units}
            expiry = today + timedelta(days=days)
            lot = _receive(doors, shelves[room], {**facts, "expiry": expiry.isoformat()})
            lots[lot] = {"item": item, "number": number, "expiry": expiry}
            stock[f"shelf {room}", lot] = units
    kits = {}
    for name, (room, key, lives_in) in KITS.items():
        body = {"name": name, "home_room": room, "packing_list": lists[key], "version": 1}
        ines = next(int(pk) for pk, who in people.items() if who == "Ines")
        _ask(doors, "kits/", {**body, "lives_in": lives_in, "responsible": ines})
        sections = doors.get("Root", f"kits/{name}/")["sections"]
        kits[name] = {
            "section": sections[0]["id"], "home": room, "room": room, "lives_in": lives_in,
            "list": LISTS[key], "out": None,
            "seal": "", "to_sort": False, "withheld": set(), "level": None, "entered": False,
            "back": {}, "last_out": None, "last_person": None, "last": None, "not_ours": False,
        }  # fmt: skip
        facts = {"item": items["gauge"], "serial": f"N-{name}", "units": 1}
        lot = _receive(doors, shelves[room], facts)
        lots[lot] = {"item": "gauge", "number": "", "expiry": None, "serial": f"N-{name}"}
        stock[f"shelf {room}", lot] = 1
        due = today + timedelta(days={"DAY-01": 16, "DAY-02": 200, "CAVE-01": 24}[name])
        _ask(doors, f"lots/{lot}/check/", {"passed": True, "due_on": due.isoformat()})
        lots[lot] |= {"passed": True, "check_due": due}
        if name != "CAVE-01":
            _fill(doors, name, room, shelves[room], lots, stock)
            kits[name] |= {"entered": True, "level": "full"}
    _ask(doors, "labels/", {"on": [{"kit": name} for name in kits]})
    return {
        "people": people,
        "tags": _tags(doors, people),
        "item_ids": items,
        "lines": LINES,
        "shelves": shelves,
        "signed_until": until,
        "start": {"kits": kits, "stock": stock, "lots": lots},
    }


def _fill(
    doors: Doors, kit: str, room: str, shelf: int, lots: dict[int, Any], stock: dict[Any, int]
) -> None:
    """Fill a kit from its room's shelf, one of each thing from what ends soonest."""
    lines = []
    for item, line in LINES.items():
        if item == "plasters":
            continue
        wanted = line["carry"]
        for lot, batch in lots.items():
            serial = batch.get("serial")
            if batch["item"] != item or (serial and serial != f"N-{kit}"):
                continue
            most = 1 if batch["number"] == _INSIDE.get(item) else wanted
            units = min(most, stock.get((f"shelf {room}", lot), 0), wanted)
            if units:
                wanted -= units
                lines.append({"lot": str(lot), "shelf": str(shelf), "units": units})
                stock[f"shelf {room}", lot] -= units
                stock[kit, lot] = units
    _ask(doors, f"kits/{kit}/build/", {"lines": lines})


def _sign_in_root(doors: Doors) -> None:
    done = doors.command("createsuperuser", "--noinput", "--username=root")
    assert done[0] == 0, done
    doors.secrets["Root"] = doors.command("issue_token", "root", "--scopes", "all")[1].strip()


def _people(doors: Doors) -> dict[str, str]:
    """Each person's name by number, as text; everybody has a token and a password."""
    people = {}
    for name, held in ROLES.items():
        if name == "Root":
            continue
        home = next((room for room in held if room), None)
        body = {"name": name, "home_room": home, "email": f"{name.lower()}@example.org"}
        number = _ask(doors, "people/", body)["id"]
        people[str(number)] = name
        for room, role in held.items():
            _ask(doors, f"people/{number}/roles/", {"role": role, "room": room})
        made = _ask(doors, f"people/{number}/sign-in/", {"username": name.lower()})
        doors.secrets[name] = doors.command("issue_token", name.lower(), "--scopes", "all")[
            1
        ].strip()
        doors.passwords[name] = (made["username"], made["password"])
    return people


def _tags(doors: Doors, people: dict[str, str]) -> dict[str, str]:
    """The code of each person's tag, by name."""
    made = _ask(doors, "labels/", {"on": [{"person": number} for number in people]})
    return dict(zip(people.values(), [row["code"] for row in made["labels"]], strict=True))


def _item(doors: Doors, name: str, facts: dict[str, Any]) -> int:
    return int(_ask(doors, "items/", {"name": name, "base_unit": "piece", **facts})["id"])


def _list(doors: Doors, key: str, facts: dict[str, Any], items: dict[str, int], until: date) -> int:
    lines = [
        {
            "item": items[item],
            "carry": 1 if item == "plasters" else line["carry"],
            "never_below": line["minimum"],
            "criticality": line["priority"],
        }
        for item, line in LINES.items()
    ]
    body = {
        "name": f"List {key}",
        "people": facts["people"],
        "days": facts["days"],
        "hazards": [facts["hazard"]],
        "sections": [{"name": "Main", "key": "main", "lines": lines}],
    }
    made = int(_ask(doors, "packing-lists/", body)["packing_list"])
    _ask(doors, f"packing-lists/{made}/versions/1/publish/", {})
    path = f"packing-lists/{made}/versions/1/sign/"
    _ask(doors, path, {"until": until.isoformat()}, by="Ona")
    return made


def _receive(doors: Doors, shelf: int, facts: dict[str, Any]) -> int:
    return int(_ask(doors, "stock/receive/", {"shelf": str(shelf), **facts})["lot"]["id"])


def _ask(doors: Doors, path: str, body: dict[str, Any], by: str = "Root") -> Any:
    answer = doors.send(by, path, body)
    assert answer.well, f"{path}: {answer.status} {answer.body}"
    return answer.body
