"""What the program must say of the school's book: a kit's verdict, the question that is judged,
whether a trip is covered. Plain reading of lists and dictionaries; nothing here knows the program.
"""

from collections.abc import Iterable, Mapping
from copy import deepcopy
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("Europe/London")
NIGHTS = 1
CLOSING = time(18, 0)
OPENED_LIFE = timedelta(days=3)
WORDS = ("ready", "low", "short", "do-not-take", "not-set-up")
NOTE, LOW, SHORT, STOPS = range(4)


def local_day(instant: datetime) -> date:
    return instant.astimezone(ZONE).date()


class Says:
    """The state: `kits` by name, `stock` units by (place, batch), `trips` by reference, `promises`
    by number; and what follows from it."""

    def __init__(self, school: Mapping[str, Any]) -> None:
        self.school = school
        start = deepcopy(school["start"])
        self.kits: dict[str, dict[str, Any]] = start["kits"]
        self.stock: dict[tuple[str, int], int] = start["stock"]
        self.lots: dict[int, dict[str, Any]] = start["lots"]
        self.trips: dict[str, dict[str, Any]] = {}
        self.promises: dict[int, dict[str, Any]] = {}
        self.recalls: dict[int, dict[str, Any]] = {}
        self.needed: list[tuple[str, str]] = []

    def recalled(self, lot: int) -> bool:
        batch = self.lots[lot]
        ids = self.school["item_ids"]
        return any(
            x["blocked"] and ids[batch["item"]] == x["item"] and batch["number"] == x["number"]
            for x in self.recalls.values()
        )

    def good_through(self, lot: int) -> date:
        batch = self.lots[lot]
        printed = batch["expiry"] or date.max
        return min(printed, batch["opened"] + OPENED_LIFE) if "opened" in batch else printed

    def usable(self, lot: int, through: date) -> bool:
        batch = self.lots[lot]
        if self.recalled(lot) or self.good_through(lot) < through:
            return False
        if batch["item"] == "gauge":
            return bool(batch["passed"]) and batch["check_due"] >= through
        return True

    def served(self, kit: str, trip: str) -> bool:
        """Whether a kit was handed back from a trip on its last day, once it had departed:
        reserved for it or not, the trip has ended for that kit."""
        back, t = self.kits[kit]["back"].get(trip), self.trips[trip]
        return bool(back and back >= t["departs"] and local_day(back) >= t["last"])

    def ended(self, promise: Mapping[str, Any], now: datetime) -> bool:
        trip = self.trips[promise["trip"]]
        over = self.served(promise["kit"], promise["trip"])
        return bool(trip["cancelled"] or now >= trip["returns"] or over)

    def standing(self, kit: str, now: datetime) -> list[dict[str, Any]]:
        """The kit's reservations that stand, by day."""
        mine = [p for p in self.promises.values() if p["kit"] == kit and p["open"]]
        mine = [p for p in mine if not self.ended(p, now)]
        return sorted(mine, key=lambda p: (self.trips[p["trip"]]["first"], p["trip"]))

    def question(self, kit: str, now: datetime) -> tuple[date, str | None]:
        """The day through which a kit is judged, and for which trip."""
        out, today = self.kits[kit]["out"], local_day(now)
        if out and out["trip"]:
            return max(self.trips[out["trip"]]["last"], today), out["trip"]
        if out:
            return max(local_day(out["due"]) if out["due"] else today, today), None
        for p in self.standing(kit, now):
            trip = self.trips[p["trip"]]
            if trip["first"] <= today + timedelta(days=7):
                return max(trip["last"], today), p["trip"]
        return today, None

    def contents(self, place: str) -> dict[int, int]:
        return {lot: n for (where, lot), n in self.stock.items() if where == place and n}

    def reasons(self, name: str, through: date, trip: str | None, now: datetime) -> dict[str, int]:
        """Why a kit is not ready, each with its weight."""
        kit, today = self.kits[name], local_day(now)
        found = {f"on hold: {kind}": STOPS for kind in kit["withheld"]}
        if not kit["entered"]:
            return found
        if kit["to_sort"]:
            found["to sort"] = STOPS
        if through > self.school["signed_until"]:
            found["signature"] = STOPS
        held = self.contents(name)
        for lot in held:
            item = self.lots[lot]["item"]
            line = self.school["lines"].get(item) or self.school["lines"]["gauze"]
            if self.recalled(lot) or (item == "gauge" and self.lots[lot]["passed"] is False):
                found[f"take out {item}"] = STOPS
            elif self.good_through(lot) < today:
                stops = line["priority"] != "routine" or item == "drops"
                found[f"expired {item}"] = STOPS if stops else NOTE
        for item, line in self.school["lines"].items():
            wanted = {item, line.get("instead")}
            there = sum(
                n for lot, n in held.items()
                if self.lots[lot]["item"] in wanted and self.usable(lot, through)
            )  # fmt: skip
            if item == "plasters":
                there = {"full": 2, "low": 1}.get(kit["level"], 0)
            if there < line["minimum"]:
                found[f"short {item}"] = STOPS if line["priority"] == "must-have" else SHORT
            elif there < line["carry"]:
                found[f"low {item}"] = LOW
        if trip is not None:
            found |= dict.fromkeys(self.unsuited(trip, {name} | self.kits_of(trip)), SHORT)
        return found

    def verdict(self, name: str, through: date, trip: str | None, now: datetime) -> str:
        worst = max([NOTE, *self.reasons(name, through, trip, now).values()])
        if not self.kits[name]["entered"] and worst < STOPS:
            return "not-set-up"
        return ("ready", "low", "short", "do-not-take")[worst]

    def kits_of(self, trip: str) -> set[str]:
        promised = {p["kit"] for p in self.promises.values() if p["trip"] == trip and p["open"]}
        return promised | self.out_on(trip)

    def out_on(self, trip: str) -> set[str]:
        return {
            name for name, kit in self.kits.items() if kit["out"] and kit["out"]["trip"] == trip
        }

    def unsuited(self, trip: str, kits: Iterable[str]) -> set[str]:
        t, lists = self.trips[trip], [self.kits[name]["list"] for name in kits]
        days = (t["last"] - t["first"]).days + 1
        lacking = set()
        if sum(x["people"] for x in lists if x["days"] >= days) < t["people"]:
            lacking.add("people or days")
        if t["hazards"] - {x["hazard"] for x in lists}:
            lacking.add("hazards")
        return lacking

    def coverage(self, trip: str, now: datetime) -> str | None:
        """`covered`, `waiting` or `uncovered`; None where the trip is over or cancelled."""
        t, out = self.trips[trip], self.out_on(trip)
        if t["cancelled"] or now >= t["returns"]:
            return None
        out = out | {name for name in self.kits if self.served(name, trip)}
        kits = out if now >= t["departs"] else self.kits_of(trip)
        if not kits or self.unsuited(trip, kits):
            return "uncovered"
        state = "covered"
        for name in kits - out:
            held = self.kits[name]["out"]
            if held:
                on_time = held["due"] and held["due"] > now
                latest = t["first"] - timedelta(days=NIGHTS)
                if not on_time or local_day(held["due"]) > latest:
                    return "uncovered"
                state = "waiting"
            elif self.verdict(name, max(t["last"], local_day(now)), trip, now) not in WORDS[:2]:
                return "uncovered"
        return state
