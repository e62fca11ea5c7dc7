"""The school as its people reported it, in lists and dictionaries, and what the program must say.

Nothing here knows the program. A `Report` is one act that somebody sent; the `Book` is a fold over
the reports that were accepted and not undone, in the order in which they were recorded. What the
program must say is worked out from it: the verdict of a kit, the question that is judged, whether
a trip is covered, who has what. What really lies in a kit is kept elsewhere (`people`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from tests.world.says import CLOSING, ZONE, Says, local_day


@dataclass
class Report:
    """One act as it was sent: `kit` (or "" ), `act`, who, the JSON body and the path; `claimed` by
    the sender's corrected clock. `fixed` is what was settled when it was first recorded, such as
    which batch was taken; `entries` are the numbers that the program gave it. `sent` is the body
    as it went, where that says the same in another way."""

    number: int
    act: str
    by: str
    path: str
    body: dict[str, Any]
    kit: str = ""
    recorded: datetime = field(default_factory=lambda: datetime.now(UTC))
    claimed: datetime | None = None
    accepted: bool = False
    entries: list[int] = field(default_factory=list)
    undoes: tuple[int, ...] = ()
    sent: dict[str, Any] | None = None
    fixed: dict[str, Any] = field(default_factory=dict)


class Falls(Exception):
    """What an act stood on is gone."""


class Book(Says):
    """The state after some reports. `kits` by name, `stock` units by (place, batch), `trips` by
    reference, `promises` by number."""

    def __init__(self, school: Mapping[str, Any]) -> None:
        self.school = school
        start = deepcopy(school["start"])
        self.kits: dict[str, dict[str, Any]] = start["kits"]
        self.stock: dict[tuple[str, int], int] = start["stock"]
        self.lots: dict[int, dict[str, Any]] = start["lots"]
        self.trips: dict[str, dict[str, Any]] = {}
        self.promises: dict[int, dict[str, Any]] = {}
        self.recalls: dict[int, dict[str, Any]] = {}

    # ---- the fold
    def apply(self, r: Report) -> None:
        """Take a report into the state. Raises Falls."""
        getattr(self, "_" + r.act.replace("-", "_"))(r)

    def _at(self, r: Report) -> datetime:
        """When it is taken to have happened: the claim, not before the kit's last act."""
        at = r.fixed.setdefault("at", None)
        if at is None:
            last = self.kits[r.kit].get("last") if r.kit else None
            at = min(r.claimed or r.recorded, r.recorded)
            r.fixed["at"] = at = max(at, last) if last and r.claimed else at
        if r.kit:
            kit = self.kits[r.kit]
            kit["last"] = max(kit.get("last") or at, at)
        return at

    def _out_of_order(self, r: Report) -> bool:
        """Whether it was claimed for before the kit's latest act of custody, as recorded."""
        latest = self.kits[r.kit].get("custody_at")
        late = r.claimed is not None and latest is not None and r.claimed < latest
        return bool(r.fixed.setdefault("late", late))

    def _move(self, lot: int, source: str | None, target: str | None, units: int) -> None:
        if source:
            if self.stock.get((source, lot), 0) < units:
                raise Falls
            self.stock[source, lot] -= units
        if target:
            self.stock[target, lot] = self.stock.get((target, lot), 0) + units

    def _take_out(self, r: Report) -> None:
        kit, body = self.kits[r.kit], r.body
        fact = body.get("emergency") or body.get("already_gone")
        if self._out_of_order(r) and fact:
            self._at(r)
            return
        if kit["out"] and not fact:
            raise Falls
        if "goes" not in r.fixed:
            r.fixed["goes"] = self.goes(r)
        kit["out"] = {**r.fixed["goes"], "key": r.number, "at": self._at(r)}
        kit["custody_at"] = r.claimed or r.recorded
        kit["back"].pop(r.fixed["goes"]["trip"], None)

    def goes(self, r: Report) -> dict[str, Any]:
        """To whom, for which trip and until when a kit goes that is taken out so."""
        body, people = r.body, self.school["people"]
        named = people.get(body.get("person"))
        if body.get("emergency"):
            return {"person": named or r.by, "trip": None, "due": None}
        trip = None
        if "trip" in body:
            trip = body["trip"] and body["trip"].partition(":")[2]
        else:
            today = local_day(r.recorded)
            for p in self.standing(r.kit, r.recorded):
                begins = self.trips[p["trip"]]["first"] <= today + timedelta(days=1)
                if begins and named in (None, self.guide(r.kit, p["trip"])):
                    trip = p["trip"]
                    break
        person = named or self.guide(r.kit, trip)
        due = datetime.fromisoformat(body["due_at"]) if "due_at" in body else None
        if due is None and trip:
            due = self.trips[trip]["returns"]
        elif due is None and self.kits[r.kit]["lives_in"] != "vehicle":
            now = r.recorded.astimezone(ZONE)
            day = now.date() + timedelta(days=now.time() > time(15))
            due = datetime.combine(day, CLOSING, ZONE)
        return {"person": person, "trip": trip, "due": due}

    def guide(self, kit: str, trip: str | None) -> str | None:
        if trip is None:
            return None
        mine = [p for p in self.promises.values() if (p["kit"], p["trip"]) == (kit, trip)]
        own = [p["person"] for p in mine if p["open"] and p["person"]]
        return own[0] if own else self.trips[trip]["leader"]

    def _hand_back(self, r: Report) -> None:
        kit, body = self.kits[r.kit], r.body
        late = self._out_of_order(r)
        named = r.fixed.setdefault(
            "checkout", None if late or not kit["out"] else kit["out"]["key"]
        )
        if named is not None and (not kit["out"] or kit["out"]["key"] != named):
            raise Falls
        found = r.fixed.setdefault("found", self._as_found(kit, body))
        at = self._at(r)
        if not late:
            kit["custody_at"] = r.claimed or r.recorded
            if kit["out"]:
                kit["back"][kit["out"]["trip"]] = at
                kit["last_out"] = kit["out"]["key"]
            kit["out"] = None
            kit["room"] = r.fixed.setdefault("room", body.get("room") or kit["room"])
            if found not in ("sealed-and-dry", "closed"):
                kit["to_sort"] = True
            if found == "opened":
                kit["seal"] = ""
        self._used(r, kit)
        if body.get("wet"):
            kit["withheld"].add("drying")
        if body.get("wrong"):
            kit["withheld"].add("something-wrong")

    @staticmethod
    def _as_found(kit: Mapping[str, Any], body: Mapping[str, Any]) -> str:
        found, seen = body["as_found"], body.get("seal_seen", "")
        if found == "sealed-and-dry":
            holds = kit["seal"] and (not seen or seen == kit["seal"][-3:])
            if not holds:
                found = "opened" if seen else "sort-later"
        return "opened" if body.get("used") else str(found)

    def _used(self, r: Report, kit: dict[str, Any]) -> None:
        """Units used from a kit: by batch where it was named, else the oldest first."""
        if not r.body.get("used"):
            return
        before_count = r.claimed and kit.get("counted_at") and r.claimed < kit["counted_at"]
        before_count = r.fixed.setdefault("before count", before_count)
        if "legs" not in r.fixed:
            r.fixed["legs"] = [] if before_count else self._oldest(r)
        for lot, units in r.fixed["legs"]:
            self._move(lot, r.kit, None, units)
        if not before_count:
            kit["seal"] = ""

    def _oldest(self, r: Report) -> list[tuple[int, int]]:
        legs = []
        left = self.contents(r.kit)
        for line in r.body["used"]:
            wanted = line["units"]
            fits = [lot for lot in left if self._matches(line, lot)]
            for lot in sorted(fits, key=lambda x: (self.lots[x]["expiry"] or date.max, x)):
                if took := min(left[lot], wanted):
                    legs.append((lot, took))
                    left[lot] -= took
                    wanted -= took
        return legs

    def _matches(self, line: Mapping[str, Any], lot: int) -> bool:
        if "lot" in line:
            return line["lot"] == str(lot)
        return self.school["item_ids"][self.lots[lot]["item"]] == line["item"]

    def _use(self, r: Report) -> None:
        kit = self.kits[r.kit]
        last = kit["out"]["key"] if kit["out"] else kit.get("last_out")
        if r.fixed.setdefault("checkout", last) not in (None, last):
            raise Falls
        self._at(r)
        self._used(r, kit)

    def _pass(self, r: Report) -> None:
        kit, person = self.kits[r.kit], self.school["people"][r.body["person"]]
        if self._out_of_order(r):
            self._at(r)
            return
        named = r.fixed.setdefault("checkout", kit["out"]["key"] if kit["out"] else None)
        if named is not None and (not kit["out"] or kit["out"]["key"] != named):
            raise Falls
        if named is None:
            r.fixed.setdefault("goes", self.goes(r))
            kit["out"] = {**r.fixed["goes"], "key": r.number, "at": self._at(r)}
        self._at(r)
        kit["custody_at"] = r.claimed or r.recorded
        kit["out"] = {**kit["out"], "person": person}

    def _at_home(self, r: Report) -> None:
        """What was done to a kit at home falls where it is out."""
        if r.fixed.setdefault("at home", not self.kits[r.kit]["out"]) and self.kits[r.kit]["out"]:
            raise Falls

    def _look_inside(self, r: Report) -> None:
        self._at_home(r)
        self._at(r)
        self.kits[r.kit].update(seal="", to_sort=False)
        self._levels(r)

    def _levels(self, r: Report) -> None:
        for row in r.body.get("levels", ()):
            self.kits[r.kit]["level"] = row["level"]

    def _restock(self, r: Report) -> None:
        """The legs are those of the list that was followed: (batch, source, target, units)."""
        self._at_home(r)
        for lot, source, target, units in r.fixed["legs"]:
            self._move(lot, source, target, units)
        self._at(r)
        self.kits[r.kit].update(seal="", to_sort=False, entered=True, level="full")

    def _clearance(self, r: Report) -> None:
        """Who is said to have cleared a kit says whether they did: the kit is as it was."""
        self._at(r)

    def _build(self, r: Report) -> None:
        self._restock(r)

    def _reseal(self, r: Report) -> None:
        self._at_home(r)
        self._at(r)
        self.kits[r.kit]["seal"] = r.body["seal"]

    def _count(self, r: Report) -> None:
        kit = self.kits[r.kit]
        for place, lot in list(self.stock):
            if place == r.kit:
                self.stock[place, lot] = 0
        for row in r.body["found"]:
            self.stock[r.kit, int(row["lot"])] = row["units"]
        self._at(r)
        kit.update(seal="", to_sort=False, counted_at=r.claimed or r.recorded, entered=True)
        self._levels(r)

    def _receive(self, r: Report) -> None:
        lot = r.fixed["lot"]
        self.lots.setdefault(lot, r.fixed["batch"])
        self._move(lot, None, r.fixed["place"], r.body["units"])

    def _open(self, r: Report) -> None:
        """Opened units are a batch of their own, with the day they were opened."""
        day, lot = local_day(self._at(r)), int(r.body["lot"])
        self.lots.setdefault(r.fixed["new"], {**self.lots[lot], "opened": day})
        self._move(lot, r.kit, None, r.body["units"])
        self._move(r.fixed["new"], None, r.kit, r.body["units"])
        self.kits[r.kit]["seal"] = ""

    def _withhold(self, r: Report) -> None:
        self._at(r)
        self.kits[r.kit]["withheld"].add(r.body["kind"])

    def _release(self, r: Report) -> None:
        if r.body["kind"] not in self.kits[r.kit]["withheld"]:
            raise Falls
        self._at(r)
        self.kits[r.kit]["withheld"].discard(r.body["kind"])

    def _check(self, r: Report) -> None:
        day, lot = local_day(self._at(r)), self.lots[r.fixed["lot"]]
        due = r.body.get("due_on")
        lot["passed"] = r.body["passed"]
        lot["check_due"] = date.fromisoformat(due) if due else day + timedelta(days=180)

    def _recall(self, r: Report) -> None:
        self.recalls[r.fixed["id"]] = {**r.body, "open": True, "blocked": True}
        for (place, lot), units in list(self.stock.items()):
            if units and self.recalled(lot) and place.startswith("shelf "):
                self._move(lot, place, place.replace("shelf", "quarantine"), units)

    def _close(self, r: Report) -> None:
        self.recalls[r.fixed["id"]]["open"] = False
        self.recalls[r.fixed["id"]]["blocked"] = r.body["outcome"] == "finished"

    def _trip(self, r: Report) -> None:
        b = r.body
        starts, ends = (datetime.fromisoformat(b[name]) for name in ("departs_at", "returns_at"))
        was = self.trips.get(r.fixed["trip"], {}).get("returns")
        for out in [kit["out"] for kit in self.kits.values() if kit["out"]]:
            if (out["trip"], out["due"]) == (r.fixed["trip"], was):
                out["due"] = max(ends, out["at"])  # what is due at its return follows it
        self.trips[r.fixed["trip"]] = {
            "name": b["name"], "departs": starts,
            "returns": ends, "first": local_day(starts), "last": local_day(ends),
            "people": b["people"], "hazards": set(b["hazards"]), "room": b["room"],
            "leader": self.school["people"].get(str(b.get("leader"))), "cancelled": b["cancelled"],
        }  # fmt: skip
        if b["cancelled"]:
            for p in self.promises.values():
                p["open"] = p["open"] and p["trip"] != r.fixed["trip"]

    def _reserve(self, r: Report) -> None:
        person = self.school["people"].get(r.body.get("person"))
        trip = r.body["trip"].partition(":")[2]
        same = {"kit": r.kit, "trip": trip, "person": person, "open": True}
        self.promises[r.fixed["id"]] = same

    def _unreserve(self, r: Report) -> None:
        self.promises[r.fixed["id"]]["open"] = False

    def _swap(self, r: Report) -> None:
        old = self.promises[r.fixed["id"]]
        old["open"] = False
        self.promises[r.fixed["new"]] = {**old, "kit": r.kit, "open": True}


def fold(school: Mapping[str, Any], reports: Iterable[Report], until: datetime) -> Book:
    """What was known at a time: reports recorded by then, without those undone by then. What
    fell with an undone act is in `undoes` too."""
    rows = [r for r in reports if r.accepted and r.recorded <= until]
    undone = {number for r in rows for number in r.undoes}
    book = Book(school)
    for r in rows:
        if r.act != "undo" and r.number not in undone:
            book.apply(r)
    return book


def without(
    school: Mapping[str, Any], reports: Iterable[Report], undone: set[int]
) -> tuple[Book, list[Report]]:
    """The state without some acts, and the later acts that fall with them."""
    book, later = Book(school), []
    for r in reports:
        if not r.accepted or r.act == "undo" or r.number in undone:
            continue
        before = deepcopy((book.kits, book.stock, book.lots))
        try:
            book.apply(r)
        except Falls:
            book.kits, book.stock, book.lots = before
            later.append(r)
    return book, later
