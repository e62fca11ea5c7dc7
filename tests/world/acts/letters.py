"""What people are told, or hang on a kit: notices, alarms, mails, the weekly email, tags."""

import re
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from tests.world import surfaces
from tests.world.acts.reports import Report
from tests.world.acts.requests import marks
from tests.world.says import local_day

if TYPE_CHECKING:
    from tests.world.play import Week

NOTICED = frozenset({"take-out", "hand-back", "withhold", "release", "undo"})
"""Acts after which the notices are looked at."""


def notices(week: "Week", report: Report) -> None:
    """An emergency and something wrong are said at once, and only then; an undo says nothing."""
    if "notices" not in week.checks or report.act not in NOTICED:
        return
    since = [row for row in _newest(week) if row["id"] > week.newest_notice]
    watched = {"emergency", "something-wrong"}
    new = {row["kind"] for row in since if row["kit"] == report.kit} & watched
    meant = set()
    if report.accepted and report.body.get("emergency"):
        meant.add("emergency")
    if report.accepted and (
        report.body.get("wrong")
        or (report.act == "withhold" and report.body["kind"] == "something-wrong")
    ):
        meant.add("something-wrong")
    if report.act == "undo" and since:
        week.differs("notices", f"an undo told {sorted(row['kind'] for row in since)}")
    if report.act != "undo" and new != meant:
        week.differs("notices", f"{report.act}: should tell {meant}, tells {new}")


def before(week: "Week", act: str) -> None:
    """Which notice is the newest before an act that is watched."""
    if "notices" in week.checks and act in NOTICED:
        week.newest_notice = max((row["id"] for row in _newest(week)), default=0)


def _newest(week: "Week") -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = week.doors.get("Root", "notices/?page_size=20")["results"]
    return rows


ALARMS = frozenset({"must-have-gone", "not-fit", "not-covered"})


def alarms(week: "Week") -> None:
    """What is told by the passing of time: of each trip within 48 hours that is not covered, once
    while that lasts, and of none that is; and of each kit that is not back four hours past due."""
    if "alarms" not in week.checks:
        return
    newest = max((row["id"] for row in _newest(week)), default=0)
    week.doors.task("look")
    rows = [row for row in _newest(week) if row["id"] > newest]
    said: dict[bool, str] = {}
    for row in rows:
        if row["kind"] in ALARMS | {"not-back"}:
            text = week.doors.get("Root", f"notices/{row['id']}/")["text"]
            said[row["kind"] in ALARMS] = said.get(row["kind"] in ALARMS, "") + text
    for reference, trip in week.book.trips.items():
        near = week.now < trip["departs"] <= week.now + timedelta(hours=48)
        state = week.book.coverage(reference, week.now) if near else None
        stands = state in ("waiting", "uncovered")
        if stands and not _has_cause(week, reference):
            week.alarmed.discard(reference)
        else:
            _alarm(week, reference, stands, said.get(True, ""), trip["name"])
    for name, kit in week.book.kits.items():
        due = kit["out"] and kit["out"]["due"]
        late = week.now - due if due else timedelta()
        if not timedelta(hours=2) <= late < timedelta(hours=4):
            _alarm(week, (name, due), late >= timedelta(hours=4), said.get(False, ""), name)


def _has_cause(week: "Week", trip: str) -> bool:
    """Whether a trip is not covered for more than kits that are not set up, which alarm nobody."""
    book, last = week.book, max(week.book.trips[trip]["last"], local_day(week.now))
    kits, out = book.kits_of(trip), book.out_on(trip)
    words = {book.verdict(name, last, trip, week.now) for name in kits - out}
    away = any(book.kits[name]["out"] for name in kits - out)
    return not kits or kits == out or away or bool(words & {"short", "do-not-take"})


def _alarm(week: "Week", what: Any, stands: bool, said: str, name: str) -> None:
    now = bool(re.search(rf"\b{name}\b", said))
    if now and not stands and what in week.book.trips:
        week.differs(
            "alarms", f"{name} is covered, or does not leave soon, and people read: {said}"
        )
    if stands and not now and what not in week.alarmed:
        week.differs("alarms", f"nobody is told of {name}")
    (week.alarmed.add if stands else week.alarmed.discard)(what)


def mails(week: "Week") -> None:
    """Next morning all that was to be told has gone out: each mail once, and one for each
    emergency to the keeper, unless it was theirs."""
    if "mails" not in week.checks:
        return
    week.doors.letters()
    week.later(10 * 60)
    week.doors.task("send")
    sent = week.doors.letters()
    if len({message for *_, message in sent}) < len(sent):
        week.differs("mails", f"sent twice: {[subject for _, subject, _, _ in sent]}")
    undone = {number for r in week.reports for number in r.undoes}
    to_kim = " ".join(f"{subject} {text}" for to, subject, text, _ in sent if "kim@" in to)
    for r in week.reports:
        theirs = r.by == "Kim" or r.number in undone
        if r.body.get("emergency") and not theirs and r.kit not in to_kim:
            week.differs("mails", f"the keeper got no mail of the emergency with {r.kit}")


def tag(week: "Week", kit: str) -> None:
    """The tag that is hung on a kit when it is sealed: its first expiry and its seal, no verdict
    and no other day."""
    if "tag" not in week.checks:
        return
    status, words = week.doors.words_of_pdf("Root", f"kits/{kit}/tag/?preview=true")
    if status != 200:
        week.differs("tag", f"{kit}: the tag answers {status}")
        return
    held = week.book.contents(kit)
    ends = [week.book.good_through(lot) for lot in held if week.book.lots[lot]["expiry"]]
    days = {f"{day.day} {day:%b %Y}".upper() for day in [min(ends)]} if ends else set()
    shown = set(re.findall(r"\d{1,2} [A-Z]{3} \d{4}", words.upper()))
    if shown != days or week.book.kits[kit]["seal"] not in words:
        week.differs("tag", f"{kit}: {days}, seal {week.book.kits[kit]['seal']}, not “{words}”")


def preview(week: "Week") -> None:
    """The weekly email does not call ready what is reserved for a trip of this week and is not."""
    if "preview" not in week.checks:
        return
    ines = next(pk for pk, name in week.school["people"].items() if name == "Ines")
    letter = week.doors.get("Root", f"notices/weekly/?person={ines}")
    surfaces.said_of_kits(week, "preview", "weekly email", marks(letter["html"]))
    if not letter["subject"].startswith("Every kit"):
        return
    today = local_day(week.now)
    for p in week.book.promises.values():
        trip = week.book.trips[p["trip"]]
        if not p["open"] or week.book.ended(p, week.now) or week.book.kits[p["kit"]]["out"]:
            continue
        if today <= trip["first"] < today + timedelta(days=6):
            word = week.book.verdict(p["kit"], trip["last"], p["trip"], week.now)
            if word in ("short", "do-not-take"):
                text = f"“{letter['subject']}”, and {p['kit']} is {word} for {p['trip']}"
                week.differs("preview", text)
