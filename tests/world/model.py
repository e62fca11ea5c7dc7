"""The school as its people reported it, in lists and dictionaries, and what the program must say.

Nothing here knows the program. The `Book` is a fold over the reports that were accepted and not
undone, in the order in which they were recorded. What the program must say is worked out from it
(`says`): the verdict of a kit, the question that is judged, whether a trip is covered, who has
what. What really lies in a kit is kept elsewhere (`people`).
"""

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any

from tests.world.acts.reports import Report
from tests.world.says import CLOSING, ZONE, Says, local_day


class Falls(Exception):
    """What an act stood on is gone."""


class Book(Says):
    """The state after some reports: how each of them changes it."""

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

    def _named(self, r: Report, out: Mapping[str, Any] | None) -> Any:
        """Which time with the kit a report is about: it falls with that."""
        named = r.fixed.setdefault("checkout", out and out["key"])
        if named is not None and (not out or out["key"] != named):
            raise Falls
        return named

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
        tomorrow = local_day(r.recorded) + timedelta(days=1)
        trips = [p["trip"] for p in self.standing(r.kit, r.recorded)]
        soon = [trip for trip in trips if self.trips[trip]["first"] <= tomorrow]
        trip = next((t for t in soon if named in (None, self.guide(r.kit, t))), None)
        if "trip" in body:
            trip = body["trip"] and body["trip"].partition(":")[2]
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
        leader: str | None = own[0] if own else self.trips[trip]["leader"]
        return leader

    def _hand_back(self, r: Report) -> None:
        kit, body = self.kits[r.kit], r.body
        late = self._out_of_order(r)
        self._named(r, None if late else kit["out"])
        found = r.fixed.setdefault("found", self._as_found(kit, body))
        at = self._at(r)
        if not late:
            kit["custody_at"] = r.claimed or r.recorded
            if kit["out"]:
                kit["back"][kit["out"]["trip"]] = at
                kit |= {"last_out": kit["out"]["key"], "last_person": kit["out"]["person"]}
            kit["out"] = None
            kit["room"] = r.fixed.setdefault("room", body.get("room") or kit["room"])
            if found not in ("sealed-and-dry", "closed"):
                kit["to_sort"] = True
            if found == "opened":
                kit["seal"] = ""
        self._used(r, kit)
        self.needed += [(r.kit, row["words"]) for row in body.get("needed", ())]
        for name in (r.kit, *body["mixed_with"]) if "mixed_with" in body else ():
            self.kits[name]["withheld"].add("mixed")
        kit["not_ours"] = kit["not_ours"] and not body.get("given_back")
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
        return "opened" if body.get("used") or body.get("mixed_with") else str(found)

    def _used(self, r: Report, kit: dict[str, Any]) -> None:
        """Units used from a kit: by batch where it was named, else the oldest first."""
        if not r.body.get("used"):
            return
        before_count = r.claimed and kit.get("counted_at") and r.claimed < kit["counted_at"]
        before_count = r.fixed.setdefault("before count", before_count)
        if "legs" not in r.fixed:
            r.fixed["legs"] = self._oldest(r, {} if before_count else self.contents(r.kit))
        for lot, source, target, units in r.fixed["legs"]:
            self._move(lot, source, target, units)
        if not before_count:
            kit["seal"] = ""

    def _oldest(
        self, r: Report, left: dict[int, int]
    ) -> list[tuple[int, str | None, str | None, int]]:
        """Where what was used came from and went. More than there was comes from nowhere."""
        legs: list[tuple[int, str | None, str | None, int]] = []
        for line in r.body["used"]:
            wanted = line["units"]
            target = f"away {r.kit}" if line.get("went") == "may-come-back" else None
            fits = [lot for lot in left if self._matches(line, lot)]
            for lot in sorted(fits, key=lambda x: (self.lots[x]["expiry"] or date.max, x)):
                if took := min(left[lot], wanted):
                    legs.append((lot, r.kit, target, took))
                    left[lot] -= took
                    wanted -= took
            if wanted and target:
                legs.append((int(line["lot"]), None, target, wanted))
        return legs

    def _matches(self, line: Mapping[str, Any], lot: int) -> bool:
        if "lot" in line:
            return bool(line["lot"] == str(lot))
        return bool(self.school["item_ids"][self.lots[lot]["item"]] == line["item"])

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
        if self._named(r, kit["out"]) is None:
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

    _build = _restock

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
        kit["withheld"].discard("mixed")
        kit.update(seal="", to_sort=False, counted_at=r.claimed or r.recorded, entered=True)
        self._levels(r)

    def _receive(self, r: Report) -> None:
        lot = r.fixed["lot"]
        self.lots.setdefault(lot, r.fixed["batch"])
        self._move(lot, None, r.fixed["place"], r.body["units"])

    def _come_back(self, r: Report) -> None:
        self._at(r)
        self._move(int(r.body["lot"]), f"away {r.kit}", r.fixed["place"], r.body["units"])

    def _not_ours(self, r: Report) -> None:
        self._at(r)
        self.kits[r.kit]["not_ours"] = r.body["inside"]

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
        new = {"kit": r.kit, "trip": trip, "person": person, "open": True}
        self.promises[r.fixed["id"]] = new

    def _unreserve(self, r: Report) -> None:
        self.promises[r.fixed["id"]]["open"] = False

    def _swap(self, r: Report) -> None:
        old = self.promises[r.fixed["id"]]
        old["open"] = False
        self.promises[r.fixed["new"]] = {**old, "kit": r.kit, "open": True}
