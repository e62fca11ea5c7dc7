"""Somebody takes an act back: what stands on it is listed, and goes with it once confirmed."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from datetime import datetime, timedelta
from random import Random
from typing import Any

from tests.world.acts.people import Hook
from tests.world.acts.permits import is_keeper
from tests.world.acts.reports import Report
from tests.world.acts.requests import Answer, Doors
from tests.world.model import Book, Falls

UNDOABLE = frozenset(
    {"take-out", "hand-back", "pass", "use", "look-inside", "restock", "reseal", "count",
     "withhold", "release", "receive", "come-back", "not-ours"}
)  # fmt: skip
DAY = timedelta(days=1)
MARGIN = timedelta(minutes=10)


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


class Undoing:
    """The part of a week that takes acts back."""

    school: dict[str, Any]
    doors: Doors
    book: Book
    reports: list[Report]
    hook: Hook
    done: Counter[str]

    @property
    def now(self) -> datetime:
        """The instant that it is in the week."""
        raise NotImplementedError

    def later(self, minutes: int) -> None:
        """Let so many minutes pass."""
        raise NotImplementedError

    def differs(self, check: str, text: str) -> None:
        """Raise Found."""
        raise NotImplementedError

    def _tell_story(self, report: Report, answer: Answer) -> None:
        raise NotImplementedError

    def _after(self, rng: Random, report: Report) -> None:
        raise NotImplementedError

    def _before_undo(self) -> None:
        """Look which notice is the newest."""
        raise NotImplementedError

    def _undo_soon(self, rng: Random) -> bool:
        """Somebody takes back what they did last, an hour ago."""
        mine = [r for r in self.reports if self._stands(r) and self.now - r.recorded < DAY * 0.9]
        if mine:
            self.later(60)
            report = mine[-1]
            self._undo(rng, report, report.by, "undo-soon")
        return bool(mine)

    def _undo_late(self, rng: Random) -> bool:
        """A keeper, or whoever did it, takes back an act of some days ago."""
        old = [r for r in self.reports if self._stands(r) and self.now - r.recorded > DAY / 3]
        if old:
            report = rng.choice(old)
            self._undo(rng, report, rng.choice(("Kim", "Kim", "Ines", report.by)), "undo-late")
        return bool(old)

    def _stands(self, report: Report) -> bool:
        undone = {number for r in self.reports for number in r.undoes}
        return report.act in UNDOABLE and report.number not in undone and bool(report.entries)

    def _undo(self, rng: Random, report: Report, by: str, habit: str) -> None:
        age = self.now - report.recorded
        if by == report.by and DAY - MARGIN < age < DAY:
            return  # whether it is their own for long enough turns on a minute
        undone = {number for r in self.reports for number in r.undoes}
        _, later = without(self.school, self.reports, undone | {report.number})
        undo = Report(
            self.hook.next("report"), "undo", by, f"entries/{report.entries[0]}/reverse/", {}
        )
        allowed = all(self._may_undo(by, r) for r in (report, *later))
        self._before_undo()
        answer = self._send_undo(undo)
        if not self._may_undo(by, report):
            if answer.code not in ("role-missing", "not-found"):
                self.differs("undo", f"{by} may not undo {report.act}: {answer.status}")
            return
        if later and answer.well:
            self.differs("undo", f"{report.act} undone alone, though {_acts(later)} stand on it")
        if later and not answer.well:
            answer = self._undo_together(undo, report, later, answer, allowed)
        elif not later and not answer.well:
            self.differs("undo", f"{report.act} not undone: {answer.status} {answer.body}")
        if answer.well:
            undo.accepted, undo.undoes = True, (report.number, *(r.number for r in later))
            self.reports.append(undo)
            self.book = fold(self.school, self.reports, self.now)
            self.done[habit] += 1
        self._after(rng, undo)

    def _send_undo(self, undo: Report) -> Answer:
        self.later(1)
        undo.recorded = self.now
        answer = self.doors.send(undo.by, undo.path, undo.body)
        self._tell_story(undo, answer)
        return answer

    def _may_undo(self, by: str, report: Report) -> bool:
        rooms = [self.book.kits[report.kit]["home"]] if report.kit else []
        rooms += [report.fixed["room"]] if report.fixed.get("room") else []
        if report.act == "receive":
            rooms = [report.fixed["place"].split()[1]]
        own = by == report.by and self.now - report.recorded <= DAY
        return own or is_keeper(by, *rooms)

    def _undo_together(
        self, undo: Report, report: Report, later: list[Report], first: Answer, allowed: bool
    ) -> Answer:
        listed = [row.get("entry", row.get("id")) for row in first.body.get("later", ())]
        meant = {number for r in later for number in r.entries}
        # Who found a seal whole that was never put on: a report, or one that falls, both do.
        later += [
            r for r in self.reports
            if set(r.entries) & set(listed) - meant and r.fixed.get("found") == "sealed-and-dry"
        ]  # fmt: skip
        if first.code != "built-on" or not meant <= set(listed):
            text = f"{report.act}: {_acts(later)} ({meant}) stand on it, answer {first.body}"
            self.differs("undo", text)
        if not listed:
            return first
        undo.body = {"together": True, "through": max(listed)}
        answer = self._send_undo(undo)
        takes = [r for r in later if r.act == "take-out"]
        if not takes and allowed and not answer.well:
            self.differs("undo", f"{report.act} with {_acts(later)} not undone: {answer.body}")
        others = [r for r in takes if r.by != undo.by and r.fixed["goes"]["person"] != undo.by]
        if (others or not allowed) and answer.well:
            self.differs("undo", f"{undo.by} undid {_acts(later)}, which is another's")
        return answer


def _acts(reports: Sequence[Report]) -> str:
    return ", ".join(f"{r.act} by {r.by}" for r in reports)
