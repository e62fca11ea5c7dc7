"""Who may do what at the school, and what is refused: the model's own copy of the rights."""

from datetime import date, datetime, timedelta
from typing import Any

from tests.world.acts.reports import Report
from tests.world.model import Book
from tests.world.says import NIGHTS, NOTE, SHORT, STOPS, WORDS, local_day

ROLES: dict[str, dict[str | None, str]] = {
    "Kim": {"main-store": "keeper", "cave-hut": "keeper"},
    "Ines": {"main-store": "instructor"},
    "Ada": {"main-store": "guide"},
    "Ben": {"main-store": "guide"},
    "Cleo": {"cave-hut": "guide"},
    "Bookings": {"main-store": "integration", "cave-hut": "integration"},
    "Ona": {None: "adviser"},
    "Root": {None: "administrator"},
}
"""Each person's role by room; None is every room. Root sets the school up and looks at it."""

_KEEPERS = {"keeper", "instructor", "administrator"}
_GUIDES = {*_KEEPERS, "guide"}
_FACTS = {"fact", "hand-back", "pass", "use", "not-ours", "withhold", "undo", "clearance"}
_OF_GUIDES = {
    "take-out", "look-inside", "restock", "reseal", "count", "check", "swap", "open", "come-back",
}  # fmt: skip
_OF_PLANNERS = {"trip", "reserve", "unreserve"}


def sees(person: str, *rooms: str) -> bool:
    """Whether one of these rooms is theirs."""
    return None in ROLES[person] or any(room in ROLES[person] for room in rooms)


def may(person: str, act: str, room: str | None) -> bool:
    """Whether somebody may do an act in a room; None: in any of theirs."""
    if act in _FACTS:
        return True
    allowed = _GUIDES if act in _OF_GUIDES else _KEEPERS
    if act in _OF_PLANNERS:
        allowed = {*_KEEPERS, "integration"}
    if act == "close":
        return {"adviser", "administrator"} & {ROLES[person].get(None)} != set()
    held = ROLES[person]
    mine = set(held.values()) if room is None else {held.get(room), held.get(None)}
    return bool(mine & allowed)


def is_keeper(person: str, *rooms: str) -> bool:
    """Whether they keep one of these rooms."""
    mine = {held for room, held in ROLES[person].items() if room is None or room in rooms}
    return bool(mine & _KEEPERS)


class Permits:
    """What the book, as it stands, lets be done. A report of a fact is never refused."""

    def __init__(self, book: Book) -> None:
        self.book = book

    def refusals(self, r: Report) -> set[str]:
        """The codes with which an act may be refused; none where it must succeed; "?" where the
        contract leaves it open."""
        check = getattr(self, "_refuse_" + r.act.replace("-", "_"), None)
        rights = self._rights(r)
        return rights or (check(r) if check else set())

    def _rights(self, r: Report) -> set[str]:
        kit = self.book.kits.get(r.kit)
        anywhere = r.act == "hand-back" or r.body.get("emergency")
        fact = anywhere or r.body.get("already_gone")
        if kit and not anywhere and not self._near(r):
            return {"not-found"}
        people = self.book.school["people"]
        named = [people[r.body[x]] for x in ("person", "cleared_by") if r.body.get(x)]
        if not all(self.knows(r.by, whom, r.recorded) for whom in named):
            return {"not-found"}
        where = None
        if kit:
            where = kit["home"] if r.act in ("release", "come-back") else kit["room"]
        use_case = "fact" if fact else r.act
        if may(r.by, use_case, where):
            return set()
        # The shelf that is named is of a room of others: either is said.
        return {"role-missing", "not-found"} if r.body.get("extra") else {"role-missing"}

    def knows(self, person: str, name: str, now: datetime) -> bool:
        """Whether somebody may name another: who is of a room of theirs or of all, has or answers
        for a kit that is at home there, or leads a trip from there that is not over."""
        rooms = ROLES[person]
        near = person == name or None in rooms or None in ROLES[name] or rooms.keys() & ROLES[name]
        kits = [kit for kit in self.book.kits.values() if kit["home"] in rooms]
        trips = [trip for trip in self.book.trips.values() if trip["room"] in rooms]
        return bool(
            near
            or (name == "Ines" and kits)  # who answers for all of them
            or any(kit["out"] and kit["out"]["person"] == name for kit in kits)
            or any(t["leader"] == name and not t["cancelled"] and t["returns"] > now for t in trips)
        )

    def _near(self, r: Report) -> bool:
        """Whether a kit is of a room of theirs; to report of it, having had it last is enough."""
        kit = self.book.kits[r.kit]
        had_it = (kit["out"] or {}).get("person", kit["last_person"]) == r.by
        return sees(r.by, kit["home"], kit["room"]) or (had_it and r.act in _FACTS)

    def _refuse_take_out(self, r: Report) -> set[str]:
        kit, body, now = self.book.kits[r.kit], r.body, r.recorded
        if body.get("emergency") or body.get("already_gone"):
            return set()
        if kit["out"]:
            return {"kit-is-out"}
        going, codes, today = self.book.goes(r), set(), local_day(now)
        if body.get("trip") and not sees(r.by, self.book.trips[going["trip"]]["room"]):
            return {"not-found"}
        if going["person"] is None:
            codes.add("who-takes-it")
        if going["trip"]:
            codes |= self._over(going["trip"], now)
        through = max(local_day(going["due"]) if going["due"] else today, today)
        own = any(p["trip"] == going["trip"] for p in self.book.standing(r.kit, now))
        nights = 0 if own else NIGHTS  # what was promised on days of its own goes as promised
        for p in self.book.standing(r.kit, now):
            trip = self.book.trips[p["trip"]]
            theirs = self.book.guide(r.kit, p["trip"])
            near = trip["first"] <= through + timedelta(days=nights) and trip["last"] >= today
            if p["trip"] != going["trip"] and near and going["person"] != theirs:
                codes |= self._of_another(r, trip, going["due"])
        if going["due"] and going["due"] <= now:
            codes.add("due-in-the-past")
        if going["trip"]:
            through = max(today, self.book.trips[going["trip"]]["last"])
        reasons = self.book.reasons(r.kit, through, going["trip"], now)
        worst = max([NOTE, *reasons.values()])
        by_phone = all(x.startswith("short") for x, w in reasons.items() if w == STOPS)
        if worst >= SHORT and by_phone and body.get("cleared_by"):
            whoever = self.book.school["people"][body["cleared_by"]]
            codes |= set() if is_keeper(whoever, kit["room"]) else {"may-not-clear"}
        elif worst == STOPS:
            codes.add("not-fit")
        elif worst == SHORT and not body.get("short_reason"):
            codes.add("short-needs-a-reason")
        elif worst == SHORT and not may(r.by, "let it go short", kit["room"]):
            weighty = {x for x, w in reasons.items() if w == SHORT and x not in self.routine()}
            codes |= {"role-missing", "?refused"} if weighty else set()
        return codes

    def _over(self, reference: str, now: datetime) -> set[str]:
        trip = self.book.trips[reference]
        over = {"trip-is-over"} if now >= trip["returns"] else set()
        return {"trip-cancelled"} if trip["cancelled"] else over

    def _of_another(self, r: Report, trip: dict[str, Any], due: datetime | None) -> set[str]:
        """Another's trip is in the way, unless there is a reason and it does not go without."""
        back = due is not None and local_day(due) <= trip["first"] - timedelta(days=NIGHTS)
        near = trip["departs"] <= r.recorded + timedelta(hours=48) and not back
        keeper = may(r.by, "let it go short", self.book.kits[r.kit]["room"])
        given = r.body.get("take_reason") and (keeper or not near)
        return set() if given else {"reserved-for-another"}

    def routine(self) -> set[str]:
        lines = self.book.school["lines"].items()
        return {f"short {item}" for item, line in lines if line["priority"] == "routine"}

    def _refuse_clearance(self, r: Report) -> set[str]:
        if r.by != r.fixed["asked"]:
            return {"not-yours", "not-found"}
        return {"answered-already"} if r.fixed["answered"] else set()

    def _refuse_release(self, r: Report) -> set[str]:
        if r.body["kind"] not in self.book.kits[r.kit]["withheld"]:
            return {"not-withheld"}
        return {"count-first"} if r.body["kind"] == "mixed" else set()

    def _refuse_reseal(self, r: Report) -> set[str]:
        kit, seal = self.book.kits[r.kit], r.body["seal"]
        if seal in {x["seal"] for x in self.book.kits.values()}:
            return {"sealed-already" if kit["seal"] == seal else "seal-in-use"}
        if r.body.get("anyway") or not kit["entered"]:
            return set()
        through, _ = self.book.question(r.kit, r.recorded)
        days = {local_day(r.recorded), through}
        lacks = [self._not_replaced(r.kit, day, r.recorded) for day in days]
        return {"not-replaced"} if all(lacks) else {"?"} if any(lacks) else set()

    def _not_replaced(self, kit: str, day: date, now: datetime) -> set[str]:
        """What a kit lacks when it is sealed: units that are gone, or have to come out."""
        reasons = self.book.reasons(kit, day, None, now)
        return {x for x in reasons if x.split()[0] in ("short", "low", "take", "expired")}

    def _refuse_recall(self, r: Report) -> set[str]:
        same = [x for x in self.book.recalls.values() if x["number"] == r.body["number"]]
        if any(x["blocked"] and not x["open"] for x in same):
            return {"?"}
        return {"recalled-already"} if any(x["open"] for x in same) else set()

    def _refuse_close(self, r: Report) -> set[str]:
        recall = self.book.recalls[r.fixed["id"]]
        withdrawn_later = r.body["outcome"] == "withdrawn" and recall["blocked"]
        return set() if recall["open"] or withdrawn_later else {"closed-already"}

    def _refuse_reserve(self, r: Report) -> set[str]:
        wanted = self.book.trips[r.body["trip"].partition(":")[2]]
        if wanted["cancelled"]:
            return {"trip-cancelled"}
        if wanted["last"] < local_day(r.recorded):
            return {"trip-is-over"}
        for p in self.book.promises.values():
            trip = self.book.trips[p["trip"]]
            over = not p["open"] or self.book.ended(p, r.recorded)
            if p["kit"] != r.kit or over or trip is wanted:
                continue
            if trip["first"] <= wanted["last"] and trip["last"] >= wanted["first"]:
                return {"kit-reserved"}
            if (
                abs((trip["first"] - wanted["last"]).days) <= NIGHTS
                or abs((wanted["first"] - trip["last"]).days) <= NIGHTS
            ):
                return {"?"}
        return set()

    def _refuse_swap(self, r: Report) -> set[str]:
        promise = self.book.promises[r.fixed["id"]]
        if not may(r.by, "swap", self.book.kits[promise["kit"]]["room"]):
            return {"role-missing"}
        trip = promise["trip"]
        last = max(self.book.trips[trip]["last"], local_day(r.recorded))
        return set() if self.book.verdict(r.kit, last, trip, r.recorded) in WORDS[:2] else {"?"}

    def _refuse_restock(self, r: Report) -> set[str]:
        return set(r.fixed.get("refusal", ()))
