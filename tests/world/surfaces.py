"""What is compared after each act, at each day's end and at each week's end."""

from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta
from random import Random
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from tests.world.acts import evening, letters
from tests.world.acts.reports import Report
from tests.world.acts.requests import Mark, marks
from tests.world.acts.undoing import fold
from tests.world.says import ZONE, local_day

if TYPE_CHECKING:
    from tests.world.play import Week

EVERY = frozenset(
    {"code", "once", "undo", "kit", "holdings", "verdict", "readiness", "page", "coverage",
     "notices", "alarms", "mails", "tag", "evening", "known", "known then", "advice", "preview",
     "offline", "audit", "crash"}
)  # fmt: skip
STILL = frozenset(
    {"trip", "reserve", "unreserve", "swap", "take-out", "pass", "withhold", "release", "check",
     "look-inside", "reseal"}
)  # fmt: skip
"""Acts that move no units: what places hold is not looked at after them."""
BEGINNINGS = {
    "ready": ("Ready",),
    "low": ("Ready, low on",),
    "short": ("Ask first:",),
    "do-not-take": ("Do not take:",),
    "not-set-up": ("Not set up yet",),
}
"""How the words that people see begin, by verdict."""


# ---------------------------------------------------------------------------------- after an act
def after(week: "Week", rng: Random, report: Report) -> None:
    """Everything in a thorough week; in the others a share of it by chance, which costs less and
    finds in some weeks what it finds: a difference mostly stays until the day's end."""
    letters.notices(week, report)
    touched = report.kit or rng.choice(sorted(week.book.kits))
    sealed = report.act == "reseal" and report.accepted
    path = rng.choice(("/", "/kits/", f"/kits/{touched}/", "/trips/"))
    looks: list[tuple[float, Callable[[], None]]] = [
        (0.25, lambda: kits(week)),
        (0.0 if report.act in STILL else 0.5, lambda: holdings(week)),
        (0.2, lambda: trips(week)),
        (0.1, lambda: remember(week, rng)),
        (0.06, lambda: known_then(week, rng)),
        (0.06, lambda: readiness(week, touched)),
        (0.08, lambda: page(week, path)),
        (0.15 if sealed else 0.0, lambda: letters.tag(week, touched)),
    ]
    for share, look in looks:
        if share and (week.thorough or rng.random() < share):
            look()


def kits(week: "Week") -> None:
    """The kits as the API lists them: who has them, where they are, and the verdict."""
    if not week.checks & {"kit", "verdict"}:
        return
    for row in week.doors.get("Root", "kits/")["results"]:
        kit = week.book.kits[row["name"]]
        out, held = row["out"], kit["out"]
        shown = {
            "person": out and (out["person"] or {}).get("name"),
            "trip": out and (out["trip"] or {}).get("reference"),
            "due": out and out["due_at"] and datetime.fromisoformat(out["due_at"]),
            "room": row["room"]["slug"],
            "seal": row["seal"] or "",
            "to sort": row["to_sort_since"] is not None,
            "on hold": {w["kind"] for w in row["withheld"]},
        }
        meant = {
            "person": held and held["person"],
            "trip": held and held["trip"],
            "due": held and held["due"],
            "room": kit["room"],
            "seal": kit["seal"],
            "to sort": kit["to_sort"],
            "on hold": kit["withheld"],
        }
        for name, value in meant.items():
            if shown[name] != value:
                text = f"{row['name']}: {name} should be {value}, is {shown[name]}"
                week.differs("kit", text)
        _verdict(week, "verdict", row["name"], row)


def _verdict(week: "Week", check: str, kit: str, row: dict[str, Any]) -> None:
    """One verdict of the API: word, day and trip."""
    if check not in week.checks:
        return
    through, trip = week.book.question(kit, week.now)
    word = week.book.verdict(kit, through, trip, week.now)
    said = row.get("verdict")
    if isinstance(said, dict):
        row, said = said, said.get("verdict") or said.get("word")
    if said != word:
        week.differs(check, f"{kit} should be {word} {_why(week, kit)}, is {said}")
    if row.get("through") != through.isoformat():
        week.differs(check, f"{kit}: judged through {row.get('through')}, not {through}")
    judged = row.get("trip")
    judged = judged["reference"] if isinstance(judged, dict) else judged
    if judged not in (trip, week.trip_ids.get(trip or "")):
        week.differs(check, f"{kit}: judged for trip {judged}, not {trip}")


def _why(week: "Week", kit: str) -> str:
    through, trip = week.book.question(kit, week.now)
    reasons = sorted(week.book.reasons(kit, through, trip, week.now))
    return f"through {through} for {trip} ({', '.join(reasons)})"


def readiness(week: "Week", kit: str) -> None:
    """What is answered of the question judged, and of any other day."""
    if "readiness" not in week.checks:
        return
    row = week.doors.get("Root", f"kits/{kit}/readiness/")
    _verdict(week, "readiness", kit, row)
    held = week.book.contents(kit)
    ends = [week.book.good_through(lot) for lot in held if week.book.lots[lot]["expiry"]]
    first = min(ends, default=None)
    if row.get("first_expiry") != (first and first.isoformat()):
        text = f"{kit}: first expiry should be {first}, is {row.get('first_expiry')}"
        week.differs("readiness", text)
    day = local_day(week.now) + timedelta(days=len(week.reports) % 15)
    answer = week.doors.get("Root", f"kits/{kit}/readiness/?through={day}")
    word = week.book.verdict(kit, day, None, week.now)
    if answer.get("verdict") != word:
        week.differs("readiness", f"{kit} through {day}: {word}, not {answer.get('verdict')}")


def holdings(week: "Week") -> None:
    """What every place holds."""
    if "holdings" not in week.checks:
        return
    shown: dict[tuple[str, int], int] = {}
    for row in week.doors.every("Root", "stock/"):
        place = row["place"]
        room = {"Main store": "main-store", "Cave hut": "cave-hut"}.get(place["room"])
        where = place["kit"] or f"{place['kind']} {room}"
        shown[where, row["lot"]["id"]] = row["units"]
    meant: dict[tuple[str, int], int] = {}
    for (where, lot), units in week.book.stock.items():
        if where.startswith("away "):
            where = f"away {week.book.kits[where.split()[1]]['home']}"
        if units:
            meant[where, lot] = meant.get((where, lot), 0) + units
    for where in sorted(meant.keys() | shown.keys()):
        if meant.get(where) != shown.get(where):
            batch = week.book.lots.get(where[1], {})
            week.differs(
                "holdings",
                f"{where[0]} should hold {meant.get(where, 0)} of {batch.get('item')} "
                f"{batch.get('number')}, holds {shown.get(where, 0)}",
            )


def trips(week: "Week") -> None:
    """Whether each trip is covered."""
    if "coverage" not in week.checks:
        return
    rows = {row["reference"]: row for row in week.doors.get("Root", "trips/")["results"]}
    for reference in week.book.trips:
        state = week.book.coverage(reference, week.now)
        said = rows[reference].get("coverage")
        said = said.get("state") if isinstance(said, dict) else said
        if state is not None and said != state:
            week.differs("coverage", f"{reference} should be {state}, is {said}")


def page(week: "Week", path: str) -> None:
    """What a page says of kits, in its marks and in words."""
    if not week.checks & {"page", "crash"}:
        return
    status, text = week.doors.page("Kim", path)
    if status != 200:
        week.differs("crash", f"{path} answers {status}")
    if "page" not in week.checks:
        return
    found = marks(text)
    named = {mark.kit for mark in found}
    wanted = set(week.book.kits) if path == "/kits/" else set()
    wanted |= {path.split("/")[2]} if path.startswith("/kits/") and path != "/kits/" else set()
    if wanted - named:
        week.differs("page", f"{path} says nothing of {sorted(wanted - named)}")
    said_of_kits(week, "page", path, found)


def said_of_kits(week: "Week", check: str, path: str, found: Sequence[Mark]) -> None:
    ids = {str(number): reference for reference, number in week.trip_ids.items()}
    for mark in found:
        question = week.book.question(mark.kit, week.now)
        through, trip = date.fromisoformat(mark.through), ids.get(mark.trip)
        if path.startswith("/kits/") and (through, trip) != question:
            week.differs(check, f"{path}: {mark.kit} is judged for {through, trip}: {question}")
        word = week.book.verdict(mark.kit, through, trip, week.now)
        if mark.verdict != word:
            week.differs(check, f"{path}: {mark.kit} should be {word}, is {mark.verdict}")
        if not mark.text.startswith(BEGINNINGS[word]) or (
            word == "ready" and mark.text.startswith("Ready, low")
        ):
            week.differs(check, f"{path}: {mark.kit} is {word}, and people read “{mark.text}”")


# ---------------------------------------------------------------------------------- known then
def remember(week: "Week", rng: Random) -> None:
    """Ask what is known now, compare it with the model, keep the answer."""
    if not week.checks & {"known", "known then"}:
        return
    kit = rng.choice(sorted(week.book.kits))
    at = quote(week.now.isoformat())
    path = f"kits/{kit}/contents/?on={at}&known_by={at}"
    answer = week.doors.get("Root", path)
    week.known.append((kit, path, answer))
    book = fold(week.school, week.reports, week.now)
    meant = {
        "seal": book.kits[kit]["seal"],
        "holder": (book.kits[kit]["out"] or {}).get("person") or "",
        "lines": book.contents(kit),
    }
    shown = {**answer, "lines": {row["lot"]: row["units"] for row in answer["lines"]}}
    for name, value in meant.items():
        if shown[name] != value:
            week.differs("known", f"{kit}: {name} should be {value}, is {shown[name]}")


def known_then(week: "Week", rng: Random) -> None:
    if week.known:
        _still(week, *rng.choice(week.known))


def _still(week: "Week", kit: str, path: str, answer: Any) -> None:
    now = week.doors.get("Root", path)
    for name, value in answer.items():
        if now.get(name) != value:
            text = f"{kit}, {path}: {name} was {value}, is {now.get(name)}"
            week.differs("known then", text)


# ------------------------------------------------------------------------------- days and weeks
def day_ends(week: "Week") -> None:
    """Everything in a thorough week; in the others a share of it by chance."""
    rng = Random(f"{week.seed} {week.now}")
    looks: list[tuple[float, Callable[[], None]]] = [
        (0.3, lambda: kits(week)),
        (0.2, lambda: holdings(week)),
        (0.25, lambda: trips(week)),
        (0.2, lambda: page(week, "/")),
        (0.15, lambda: evening.compare(week)),
        (0.1, lambda: offline(week)),
        (0.04, lambda: letters.preview(week)),
        (0.1, lambda: letters.alarms(week)),
        (0.05, lambda: readiness(week, rng.choice(sorted(week.book.kits)))),
    ]
    for share, look in looks:
        if week.thorough or rng.random() < share:
            look()


def offline(week: "Week") -> None:
    """The copy on a phone: each kit's verdict, and how it changes by day."""
    if "offline" not in week.checks:
        return
    copy = week.doors.browsers["Kim"].get("/offline/kits/").json()
    for row in copy["kits"]:
        changes = row.get("verdicts")
        if not changes:
            week.differs("offline", f"{row['name']} has no verdicts in the copy")
            continue
        for days in range(0, 35, 1 if week.thorough else 5):
            word, text = on_day(week, row["name"], days), ""
            day = local_day(week.now) + timedelta(days=days)
            for change in changes:
                if change["from"] <= day.isoformat():
                    text = change["verdict"]
            if text != word:
                week.differs("offline", f"{row['name']} on {day}: {word}, not {text}")


def on_day(week: "Week", kit: str, days: int) -> str:
    """What a kit will be on a later day, if nothing is done to it until then."""
    day = local_day(week.now) + timedelta(days=days)
    morning = datetime(day.year, day.month, day.day, tzinfo=ZONE)
    at = max(week.now, morning)
    through, trip = week.book.question(kit, at)
    return week.book.verdict(kit, through, trip, at)


def week_ends(week: "Week") -> None:
    kits(week)
    holdings(week)
    trips(week)
    evening.compare(week)
    status, text = week.doors.command("audit") if "audit" in week.checks else (0, "")
    if status:
        week.differs("audit", text.strip().replace("\n", "; "))
    for kit, path, answer in week.known:
        _still(week, kit, path, answer)
    page(week, "/kits/")
    if week.thorough or week.seed % 4 == 0:
        letters.preview(week)
        letters.alarms(week)
        letters.mails(week)


# ------------------------------------------------------------------------------------- restocking
def legs_of_restock(week: "Week", report: Report) -> None:
    """What the restock list says to do becomes the report's legs; the list is judged too."""
    kit, book = report.kit, week.book
    room = book.kits[kit]["room"]
    shelf = f"shelf {room}"
    legs: list[tuple[int, str | None, str | None, int]] = []
    answer = week.doors.send(report.by, f"kits/{kit}/restock/", method="GET")
    if answer.well:
        listed = answer.body
        left = {row["item"] for row in report.body.get("exceptions", ())}
        through = date.fromisoformat(listed["through"])
        for row in listed["put_in"]:
            if not book.usable(row["lot"], through) and row["name"] != "gauge":
                week.differs("advice", f"{kit}: put in {row['name']} {row['number']}, no good")
            if report.body.get("as_listed", True) and row["item"] not in left:
                legs.append((row["lot"], shelf, kit, row["units"]))
        for row in listed["take_out"] if report.act == "restock" else ():
            where = {"A1": shelf, "H1": shelf}.get(row["to"])
            if row["why"] in ("recalled", "withheld", "check-failed"):
                where = f"quarantine {room}"
            legs.append((row["lot"], kit, where, row["units"]))
    for row in report.body.get("extra", ()):
        lot = int(row["lot"])
        legs.append((lot, shelf, kit, row["units"]))
        if book.good_through(lot) < local_day(week.now):
            report.fixed["refusal"] = {"expired"}
        if book.recalled(lot):
            report.fixed["refusal"] = {"recalled"}
    report.fixed["legs"] = legs
