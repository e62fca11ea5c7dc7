"""What the people of the school do: habits, errors, and things said late.

`Hook` keeps what really lies in each kit, which nobody may know; the model keeps what was
reported. Each habit looks at both and answers with the reports that are sent, or none where it has
no occasion.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random
from typing import Any

from tests.world.model import ZONE, Book, Report, local_day
from tests.world.permits import sees

GUIDES = ("Ada", "Ben", "Cleo")
HANDS = (*GUIDES, "Kim", "Ines")
ROOM = {"Ada": "main-store", "Ben": "main-store", "Cleo": "cave-hut"}


@dataclass
class Hook:
    """What is really in the kits: units by kit and batch; and numbers that only count up."""

    inside: dict[str, dict[int, int]]
    numbers: dict[str, int] = field(default_factory=dict)

    def next(self, what: str, start: int = 1) -> int:
        self.numbers[what] = self.numbers.get(what, start - 1) + 1
        return self.numbers[what]

    def use(self, kit: str, lot: int, units: int) -> None:
        self.inside[kit][lot] = max(0, self.inside[kit].get(lot, 0) - units)


@dataclass
class Moment:
    """When somebody acts, on what they could know, and with which luck."""

    rng: Random
    now: datetime
    book: Book
    hook: Hook
    reports: list[Report]

    @property
    def school(self) -> Any:
        return self.book.school

    def number_of(self, name: str) -> str:
        return next(pk for pk, who in self.school["people"].items() if who == name)

    def report(self, act: str, by: str, path: str, body: dict[str, Any], kit: str = "") -> Report:
        return Report(self.hook.next("report"), act, by, path, body, kit)

    def of_kit(self, act: str, by: str, kit: str, body: dict[str, Any], door: str = "") -> Report:
        return self.report(act, by, f"kits/{kit}/{door or act}/", body, kit)

    def kit(self, fits: Callable[[dict[str, Any]], Any] = bool) -> str | None:
        names = [name for name, kit in self.book.kits.items() if fits(kit)]
        return self.rng.choice(names) if names else None

    def hand(self, kit: str, *names: str) -> str:
        """Somebody to whom the kit is there."""
        at = self.book.kits[kit]
        seeing = [n for n in names or HANDS if sees(n, at["home"], at["room"])]
        return self.rng.choice(seeing or ["Kim"])


Habit = Callable[[Moment], list[Report]]
HABITS: dict[str, Habit] = {}


def habit(does: Habit) -> Habit:
    HABITS[does.__name__.replace("_", "-")] = does
    return does


def inside(kit: dict[str, Any]) -> bool:
    return not kit["out"] and kit["entered"]


# ---- taking out
@habit
def take_for_trip(m: Moment) -> list[Report]:
    """The guide of a trip takes the kit that is reserved for it; sometimes nobody is named."""
    for p in m.book.promises.values():
        trip = m.book.trips[p["trip"]]
        soon = trip["first"] <= local_day(m.now) + timedelta(days=1)
        if not p["open"] or m.book.kits[p["kit"]]["out"] or not soon or trip["cancelled"]:
            continue
        guide = p["person"] or trip["leader"]
        body: dict[str, Any] = {"trip": f"bookings:{p['trip']}"} if m.rng.random() < 0.5 else {}
        if m.rng.random() < 0.7:
            body["person"] = m.number_of(guide)
        return [m.of_kit("take-out", m.hand(p["kit"], guide), p["kit"], _short(m, body), "check-out")]
    return []


def _short(m: Moment, body: dict[str, Any]) -> dict[str, Any]:
    return {**body, "short_reason": "It will do"} if m.rng.random() < 0.5 else body


@habit
def take_without_trip(m: Moment) -> list[Report]:
    """Somebody takes a kit for no trip, says so or leaves it open."""
    if not (kit := m.kit(lambda k: not k["out"])):
        return []
    by = m.hand(kit, *GUIDES, "Ines")
    body: dict[str, Any] = {"person": m.number_of(by)}
    if m.rng.random() < 0.6:
        body["trip"] = None
    if m.rng.random() < 0.3:
        body["due_at"] = (m.now + timedelta(hours=m.rng.randint(5, 60))).isoformat()
    return [m.of_kit("take-out", by, kit, _short(m, body), "check-out")]


@habit
def take_anothers(m: Moment) -> list[Report]:
    """A guide takes a kit that is reserved for somebody else's trip."""
    for p in m.book.promises.values():
        if p["open"] and not m.book.kits[p["kit"]]["out"] and not m.book.ended(p, m.now):
            trip = m.book.trips[p["trip"]]
            other = [g for g in GUIDES if g not in (p["person"], trip["leader"])]
            by = m.hand(p["kit"], *other)
            body: dict[str, Any] = {"person": m.number_of(by)}
            if m.rng.random() < 0.3:
                body["trip"] = f"bookings:{p['trip']}"
            return [m.of_kit("take-out", by, p["kit"], _short(m, body), "check-out")]
    return []


@habit
def take_reported_late(m: Moment) -> list[Report]:
    """It went hours ago, and is said only now."""
    if not (kit := m.kit()):
        return []
    by = m.rng.choice(GUIDES)
    body = {
        "person": m.number_of(by),
        "trip": None,
        "already_gone": True,
        "occurred_at": (m.now - timedelta(hours=m.rng.randint(1, 30))).isoformat(),
        "due_at": (m.now + timedelta(hours=m.rng.randint(2, 40))).isoformat(),
    }
    return [m.of_kit("take-out", by, kit, body, "check-out")]


@habit
def emergency(m: Moment) -> list[Report]:
    """Somebody needs it now, whatever its state."""
    if not (kit := m.kit()):
        return []
    by = m.rng.choice(HANDS)
    body: dict[str, Any] = {"emergency": True}
    if m.rng.random() < 0.3:
        body["person"] = m.number_of(m.rng.choice(GUIDES))
    return [m.of_kit("take-out", by, kit, body, "check-out")]


# ---- handing back
def _back(m: Moment, body: dict[str, Any], kit: str | None = None) -> list[Report]:
    kit = kit or m.kit(lambda k: k["out"])
    if not kit:
        return []
    by = m.rng.choice(HANDS)
    return [m.of_kit("hand-back", by, kit, body, "check-in")]


@habit
def hand_back_sealed(m: Moment) -> list[Report]:
    kit = m.kit(lambda k: k["out"] and k["seal"]) or m.kit(lambda k: k["out"])
    if not kit:
        return []
    body = {"as_found": "sealed-and-dry"}
    seal = m.book.kits[kit]["seal"]
    if m.rng.random() < 0.6:
        body["seal_seen"] = seal[-3:] if seal and m.rng.random() < 0.8 else "X-999"
    return _back(m, body, kit)


@habit
def hand_back_later(m: Moment) -> list[Report]:
    body: dict[str, Any] = {"as_found": "sort-later"}
    if m.rng.random() < 0.15:
        body["wet"] = True
    if m.rng.random() < 0.15:
        body["wrong"] = "The zip is torn"
    return _back(m, body)


@habit
def hand_back_opened(m: Moment) -> list[Report]:
    """Opened, with what was used; now and then more than was in it, or nothing said of it."""
    kit = m.kit(lambda k: k["out"] and k["entered"])
    if not kit:
        return []
    return _back(m, {"as_found": "opened", "used": _used(m, kit)}, kit)


def _used(m: Moment, kit: str) -> list[dict[str, Any]]:
    rows = []
    for lot in m.rng.sample(sorted(m.hook.inside[kit]), min(2, len(m.hook.inside[kit]))):
        item, units = m.book.lots[lot]["item"], m.rng.randint(1, 2)
        if item == "gauge":
            continue
        m.hook.use(kit, lot, units)
        # Which batch of the recalled thing it was is always looked at; of others seldom.
        opened = any("opened" in m.book.lots[x] for x in m.book.contents(kit))
        named = item in ("gauze", "pad") or opened or m.rng.random() < 0.3
        row = {"lot": str(lot)} if named else {"item": m.school["item_ids"][item]}
        if not any(set(row.items()) < set(other.items()) for other in rows):
            rows.append({**row, "units": units})
    return rows or [{"item": m.school["item_ids"]["drops"], "units": 1}]


@habit
def hand_back_in_another_room(m: Moment) -> list[Report]:
    kit = m.kit(lambda k: k["out"])
    if not kit:
        return []
    by = m.rng.choice(("Ada", "Ben", "Cleo", "Kim"))
    room = ROOM.get(by) or m.rng.choice(("main-store", "cave-hut"))
    body = {"as_found": "sort-later", "room": room}
    return [m.of_kit("hand-back", by, kit, body, "check-in")]


@habit
def hand_back_the_wrong_kit(m: Moment) -> list[Report]:
    """The label of a kit that stands on its shelf is scanned."""
    return _back(m, {"as_found": "sort-later"}, m.kit(lambda k: not k["out"]))


# ---- on the way
@habit
def use(m: Moment) -> list[Report]:
    if not (kit := m.kit(lambda k: k["entered"])):
        return []
    body: dict[str, Any] = {"used": _used(m, kit)}
    if m.rng.random() < 0.3:
        body["occurred_at"] = (m.now - timedelta(hours=m.rng.randint(1, 20))).isoformat()
    return [m.of_kit("use", m.hand(kit), kit, body)]


@habit
def use_without_saying(m: Moment) -> list[Report]:
    if kit := m.kit(lambda k: k["entered"]):
        _used(m, kit)
    return []


@habit
def pass_on(m: Moment) -> list[Report]:
    if not (kit := m.kit(lambda k: k["out"])):
        return []
    had = m.book.kits[kit]["out"]["person"]
    whom = m.rng.choice([g for g in GUIDES if g != had])
    return [m.of_kit("pass", m.hand(kit), kit, {"person": m.number_of(whom)})]


# ---- sorting
@habit
def look_inside(m: Moment) -> list[Report]:
    if not (kit := m.kit(inside)):
        return []
    body: dict[str, Any] = {}
    if m.rng.random() < 0.4:
        level = m.rng.choice(("full", "low", "empty"))
        item = m.school["item_ids"]["plasters"]
        body["levels"] = [{"section": "main", "item": item, "level": level}]
    return [m.of_kit("look-inside", m.hand(kit), kit, body)]


@habit
def restock(m: Moment) -> list[Report]:
    """As the list says, or with one thing left out."""
    kit = m.kit(lambda k: inside(k) and k["to_sort"]) or m.kit(inside)
    if not kit:
        return []
    body: dict[str, Any] = {}
    if m.rng.random() < 0.3:
        left = m.rng.choice(("gauze", "drops", "mask"))
        row = {"item": m.school["item_ids"][left], "section": "main", "instead": []}
        body["exceptions"] = [row]
    return [m.of_kit("restock", m.hand(kit), kit, body)]


@habit
def restock_with_the_wrong_batch(m: Moment) -> list[Report]:
    """What is said to be one batch is another, in truth; or it is out of date and says so."""
    if not (kit := m.kit(inside)):
        return []
    shelf = f"shelf {m.book.kits[kit]['room']}"
    there = [lot for lot in m.book.contents(shelf) if m.book.lots[lot]["item"] != "gauge"]
    if not there:
        return []
    lot = m.rng.choice(sorted(there))
    place = m.school["shelves"][m.book.kits[kit]["room"]]
    extra = [{"lot": str(lot), "shelf": str(place), "section": "main", "units": 1}]
    report = m.of_kit("restock", m.hand(kit), kit, {"as_listed": False, "extra": extra})
    report.fixed["really"] = m.rng.choice(sorted(there))
    return [report]


@habit
def reseal(m: Moment) -> list[Report]:
    if not (kit := m.kit(inside)):
        return []
    seal = f"S-{m.hook.next('seal', 400)}"
    if m.rng.random() < 0.1:
        seal = next((k["seal"] for k in m.book.kits.values() if k["seal"]), seal)
    body: dict[str, Any] = {"seal": seal}
    if m.rng.random() < 0.4:
        body["anyway"] = True
    return [m.of_kit("reseal", m.hand(kit), kit, body)]


@habit
def count(m: Moment) -> list[Report]:
    """What is really there, batch by batch."""
    if not (kit := m.kit(lambda k: k["entered"])):
        return []
    known = {**dict.fromkeys(m.book.contents(kit), 0), **m.hook.inside[kit]}
    found = [
        {"lot": str(lot), "units": units, "section": "main"}
        for lot, units in sorted(known.items())
        if m.book.lots[lot]["item"] != "gauge" or units < 2
    ]
    return [m.of_kit("count", m.hand(kit), kit, {"found": found})]


@habit
def open_pack(m: Moment) -> list[Report]:
    """A bottle of drops is opened in the kit: from now on it is good for three days."""
    kit = m.kit(lambda k: k["entered"])
    lots = [x for x in m.book.contents(kit or "") if m.book.lots[x]["item"] == "drops"]
    lots = [x for x in lots if "opened" not in m.book.lots[x]]
    if not kit or not lots:
        return []
    place = str(m.book.kits[kit]["section"])
    body = {"place": place, "lot": str(m.rng.choice(lots)), "units": 1}
    return [m.report("open", m.hand(kit), "stock/open/", body, kit)]


@habit
def build(m: Moment) -> list[Report]:
    """A kit whose contents nobody has entered yet is filled."""
    kit = m.kit(lambda k: not k["entered"] and not k["out"] and k["room"] == k["home"])
    return [m.of_kit("build", "Kim", kit, {})] if kit else []


@habit
def check(m: Moment) -> list[Report]:
    """The gauge is looked at; seldom it fails, sometimes the next check is soon."""
    kit = m.kit(inside)
    gauges = [x for x in m.book.contents(kit or "") if m.book.lots[x]["item"] == "gauge"]
    if not kit or not gauges:
        return []
    body: dict[str, Any] = {"passed": m.rng.random() < 0.8, "lot": str(gauges[0])}
    if m.rng.random() < 0.5 and body["passed"]:
        days = m.rng.choice((2, 4, 60))
        body["due_on"] = (local_day(m.now) + timedelta(days=days)).isoformat()
    report = m.of_kit("check", m.hand(kit), kit, body)
    report.fixed["lot"] = gauges[0]
    return [report]


@habit
def withhold(m: Moment) -> list[Report]:
    if not (kit := m.kit()):
        return []
    kind = m.rng.choice(("drying", "something-wrong"))
    return [m.of_kit("withhold", m.hand(kit), kit, {"kind": kind})]


@habit
def release(m: Moment) -> list[Report]:
    if not (kit := m.kit(lambda k: k["withheld"]) or m.kit()):
        return []
    kinds = sorted(m.book.kits[kit]["withheld"]) or ["drying"]
    return [m.of_kit("release", m.hand(kit, "Kim", "Ines", "Ada"), kit, {"kind": kinds[0]})]


# ---- stock
@habit
def receive(m: Moment) -> list[Report]:
    room = m.rng.choice(("main-store", "cave-hut"))
    item = m.rng.choice(("mask", "drops", "gauze", "pad"))
    expiry = local_day(m.now) + timedelta(days=m.rng.choice((3, 20, 200)))
    body = {
        "shelf": str(m.school["shelves"][room]),
        "item": m.school["item_ids"][item],
        "number": f"R{m.hook.next('lot')}",
        "expiry": expiry.isoformat(),
        "units": m.rng.randint(1, 4),
    }
    by = m.rng.choice(("Kim", "Kim", "Ada"))
    report = m.report("receive", by, "stock/receive/", body)
    batch = {"item": item, "number": body["number"], "expiry": expiry}
    report.fixed |= {"batch": batch, "place": f"shelf {room}"}
    return [report]


@habit
def recall(m: Moment) -> list[Report]:
    """The maker of the gauze calls a batch back."""
    if any(x["open"] for x in m.book.recalls.values()) and m.rng.random() < 0.8:
        return []
    body = {
        "item": m.school["item_ids"]["gauze"],
        "scope": "number",
        "number": m.rng.choice(("G1", "G2", "G3")),
    }
    return [m.report("recall", m.rng.choice(("Kim", "Ben", "Kim")), "recalls/", body)]


@habit
def close(m: Moment) -> list[Report]:
    numbers = sorted(m.book.recalls, reverse=True)
    if not numbers:
        return []
    body = {"outcome": "withdrawn", "published_at": "Letter of the maker, 3 October"}
    if m.rng.random() < 0.3:
        body = {"outcome": "finished", "reason": "All of it was looked for"}
    report = m.report("close", "Kim", f"recalls/{numbers[0]}/close/", body)
    report.fixed["id"] = numbers[0]
    return [report]


# ---- trips
def trip_body(m: Moment, first: int, days: int) -> dict[str, Any]:
    day = local_day(m.now) + timedelta(days=first)
    leader = m.rng.choice(GUIDES)
    starts = datetime(day.year, day.month, day.day, 8, 30, tzinfo=ZONE)
    return {
        "name": f"Trip {m.hook.next('trip name')}",
        "room": ROOM[leader],
        "departs_at": starts.isoformat(),
        "returns_at": (starts + timedelta(days=days - 1, hours=9)).isoformat(),
        "people": m.rng.choice((4, 6, 8, 12)),
        "hazards": [m.rng.choice(("hill", "hill", "cave"))] if m.rng.random() < 0.7 else [],
        "leader": int(m.number_of(leader)),
        "cancelled": False,
    }


def _put(m: Moment, reference: str, body: dict[str, Any]) -> list[Report]:
    report = m.report("trip", "Bookings", f"trips/bookings/{reference}/", body)
    report.fixed["trip"] = reference
    return [report]


@habit
def put_trip(m: Moment) -> list[Report]:
    if sum(not t["cancelled"] and t["returns"] > m.now for t in m.book.trips.values()) >= 3:
        return []
    body = trip_body(m, m.rng.choice((0, 1, 1, 2, 3, 6, 20)), m.rng.choice((1, 1, 2, 3)))
    return _put(m, f"T{m.hook.next('trip')}", body)


def _last_body(m: Moment, reference: str) -> dict[str, Any]:
    of_it = [r for r in m.reports if r.act == "trip" and r.fixed["trip"] == reference]
    return dict(next(r.body for r in reversed(of_it) if r.accepted))


def _changed(m: Moment) -> str | None:
    open_trips = [
        ref for ref, t in m.book.trips.items() if not t["cancelled"] and t["returns"] > m.now
    ]
    return m.rng.choice(open_trips) if open_trips else None


@habit
def move_trip(m: Moment) -> list[Report]:
    if not (ref := _changed(m)):
        return []
    body, by = _last_body(m, ref), timedelta(days=m.rng.choice((-1, 1, 2)))
    for name in ("departs_at", "returns_at"):
        body[name] = (datetime.fromisoformat(body[name]).astimezone(ZONE) + by).isoformat()
    return _put(m, ref, body)


@habit
def extend_trip(m: Moment) -> list[Report]:
    if not (ref := _changed(m)):
        return []
    body = _last_body(m, ref)
    returns = datetime.fromisoformat(body["returns_at"]).astimezone(ZONE) + timedelta(days=1)
    return _put(m, ref, {**body, "returns_at": returns.isoformat()})


@habit
def cancel_trip(m: Moment) -> list[Report]:
    if not (ref := _changed(m)):
        return []
    return _put(m, ref, {**_last_body(m, ref), "cancelled": True})


@habit
def reserve(m: Moment) -> list[Report]:
    if not (ref := _changed(m)):
        return []
    kit = m.rng.choice(sorted(m.book.kits))
    if any((p["kit"], p["trip"], p["open"]) == (kit, ref, True) for p in m.book.promises.values()):
        return []
    body = {"kit": kit, "trip": f"bookings:{ref}"}
    if m.rng.random() < 0.2:
        body["person"] = m.number_of(m.rng.choice(GUIDES))
    return [m.report("reserve", m.rng.choice(("Bookings", "Kim")), "reservations/", body, kit)]


@habit
def unreserve(m: Moment) -> list[Report]:
    numbers = [n for n, p in m.book.promises.items() if p["open"]]
    if not numbers:
        return []
    number = m.rng.choice(numbers)
    report = m.report("unreserve", "Kim", f"reservations/{number}/release/", {})
    report.fixed["id"] = number
    return [report]


@habit
def swap(m: Moment) -> list[Report]:
    """Another kit of the same list, which nobody wants, goes instead of the reserved one."""
    for number, p in sorted(m.book.promises.items()):
        trip = m.book.trips[p["trip"]]
        other = {"DAY-01": "DAY-02", "DAY-02": "DAY-01"}.get(p["kit"])
        if not p["open"] or not other or m.book.ended(p, m.now) or trip["last"] < local_day(m.now):
            continue
        free = not any(q["kit"] == other and q["open"] for q in m.book.promises.values())
        if free and not m.book.kits[other]["out"] and not m.book.kits[p["kit"]]["out"]:
            by = m.hand(other, "Kim", "Ines")
            report = m.report("swap", by, f"reservations/{number}/swap/", {"kit": other}, other)
            report.fixed["id"] = number
            return [report]
    return []


# ---- from a phone without a network
@habit
def five_from_a_phone(m: Moment) -> list[Report]:
    """Five acts of an afternoon, sent in any order, by a clock that goes wrong."""
    if not (kit := m.kit(lambda k: inside(k) and not k["withheld"])):
        return []
    by = m.hand(kit, *GUIDES)
    other = m.rng.choice([g for g in GUIDES if g != by])
    wrong = timedelta(minutes=m.rng.choice((0, 0, 45, -90)))
    acts = [
        m.of_kit("take-out", by, kit, _gone(m, by), "check-out"),
        m.of_kit("use", by, kit, {"used": _used(m, kit)}),
        m.of_kit("pass", by, kit, {"person": m.number_of(other)}),
        m.of_kit("use", by, kit, {"used": _used(m, kit)}),
        m.of_kit("hand-back", by, kit, {"as_found": "sort-later"}, "check-in"),
    ]
    for minutes, report in zip((300, 240, 180, 120, 60), acts, strict=True):
        report.body["occurred_at"] = (m.now + wrong - timedelta(minutes=minutes)).isoformat()
        report.fixed["wrong"] = wrong
    m.rng.shuffle(acts)
    return acts


def _gone(m: Moment, by: str) -> dict[str, Any]:
    due = (m.now + timedelta(hours=4)).isoformat()
    return {"person": m.number_of(by), "trip": None, "already_gone": True, "due_at": due}
