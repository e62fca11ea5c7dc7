"""A week at the school, played through the program's doors and judged by the model after each act.

A week is a seed and a list of steps; each step draws its own luck, so that a failing week can be
shortened by leaving steps out. `Found` says what differs: which check found it, in which step.
"""

import uuid
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from tests.present import present
from tests.world import surfaces
from tests.world.acts import (  # noqa: F401  (their habits)
    evening,
    hands,
    letters,
    office,
    people,
    stockroom,
)
from tests.world.acts.people import HABITS, Hook, Moment
from tests.world.acts.permits import Permits
from tests.world.acts.reports import Report
from tests.world.acts.requests import Answer, Doors
from tests.world.acts.undoing import Undoing
from tests.world.deck import ACTS_A_WEEK, FIRST, PRESSED, SILENT, hand_of
from tests.world.model import Book
from tests.world.says import ZONE


class Found(AssertionError):
    """The program says otherwise than the model: by which check, after which step."""

    def __init__(self, check: str, text: str) -> None:
        super().__init__(f"{check}: {text}")
        self.check, self.text = check, text


@dataclass(frozen=True)
class Step:
    """Something that happens at a minute of the week: a card of the hand, or the habit named."""

    number: int
    minute: int
    habit: str
    seed: str


def steps_of(seed: int) -> list[Step]:
    """The week of a seed: trips are put and kits reserved first, then the cards are played."""
    rng = Random(f"week {seed}")
    steps = [(360 + 7 * i, habit) for i, habit in enumerate(["put-trip", "reserve"] * 3)]
    for _ in range(ACTS_A_WEEK):
        minute = rng.randrange(7) * 1440 + rng.randrange(420, 1290)
        steps.append((minute, ""))
    steps.sort()
    return [Step(i, minute, habit, f"{seed}/{i}") for i, (minute, habit) in enumerate(steps)]


LONG_FORM = 1000
"""Weeks from this number on are looked at whole after every act, which costs five times as much."""


class Week(Undoing):
    """One week being played."""

    def __init__(
        self, doors: Doors, school: dict[str, Any], seed: int, clock: Any, start: date, *,
        checks: frozenset[str] = surfaces.EVERY, cards: Sequence[str] = (),
    ) -> None:  # fmt: skip
        self.doors, self.school, self.seed, self.clock = doors, school, seed, clock
        rng = Random(f"start {seed}")
        day = start + timedelta(days=1 + rng.choice((1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 13, 16, 19)))
        self.midnight = datetime(day.year, day.month, day.day, tzinfo=ZONE)
        self.checks = checks
        self.book = Book(school)
        self.reports: list[Report] = []
        inside = {name: self.book.contents(name) for name in self.book.kits}
        self.hook = Hook(inside, {"report": 0})
        self.known: list[tuple[str, str, Any]] = []
        self.done: Counter[str] = Counter()
        self.story: list[str] = []
        self.keys: dict[int, str] = {}
        self.trip_ids: dict[str, int] = {}
        self.newest_notice = 0
        self.alarmed: set[Any] = set()
        self.hand = list(cards) or hand_of(seed)
        self.played: list[Step] = []
        self.thorough = seed % 100 == 0 or seed >= LONG_FORM or checks != surfaces.EVERY

    # ---- the clock
    @property
    def now(self) -> datetime:
        return self._now

    def go_to(self, instant: datetime) -> None:
        self._now = instant.astimezone(UTC)
        self.clock.move_to(self._now)

    def later(self, minutes: int) -> None:
        self.go_to(self._now + timedelta(minutes=minutes))

    def instant(self, minute: int) -> datetime:
        """A minute of the week, by the clock on the wall."""
        day = self.midnight + timedelta(days=minute // 1440)
        wall = day.replace(hour=minute % 1440 // 60, minute=minute % 60)
        return wall.replace(tzinfo=ZoneInfo("Europe/London"))

    # ---- playing
    def play(self, keep: Sequence[Step]) -> None:
        """Play these steps; raises Found at the first difference."""
        self.go_to(self.instant(350))
        self.doors.sign_in("Kim")
        days = iter(range(7))
        closing: int | None = next(days) * 1440 + 1380
        for step in keep:
            while step.minute > present(closing):
                self._day_ends(present(closing))
                closing = next(days) * 1440 + 1380
            self.go_to(max(self.instant(step.minute), self._now + timedelta(minutes=1)))
            self._step(step)
        while closing is not None:
            self._day_ends(closing)
            following = next(days, None)
            closing = None if following is None else following * 1440 + 1380
        surfaces.week_ends(self)

    def _day_ends(self, minute: int) -> None:
        self.go_to(max(self.instant(minute), self._now + timedelta(minutes=1)))
        surfaces.day_ends(self)

    def _step(self, step: Step) -> None:
        """Play the first card of the hand for which there is an occasion, else the first for which
        one can be brought about; or the step's own."""
        hand = [step.habit] if step.habit else list(self.hand)
        for card, bring_about in [*((c, False) for c in hand), *((c, True) for c in hand)]:
            if bring_about and card not in FIRST:
                continue
            self.played.append(replace(step, habit=card))
            if self._happens(card, f"{step.seed}/{card}", bring_about):
                if not step.habit:
                    self.hand.remove(card)
                return
            self.played.pop()

    def _happens(self, habit: str, seed: str, bring_about: bool = False) -> bool:
        rng = Random(seed)
        special = getattr(self, "_" + habit.replace("-", "_"), None)
        if special:
            return bool(special(rng))
        for first in FIRST[habit] if bring_about else ():
            self._happens(first, f"{seed} {first}")
            self.later(45)
        reports = HABITS[habit](self._moment(rng))
        for report in reports:
            self.later(1)
            self.tell(report, habit)
            self._after(rng, report)
        return bool(reports) or habit in SILENT

    def _moment(self, rng: Random) -> Moment:
        return Moment(rng, self.now, self.book, self.hook, self.reports)

    def _after(self, rng: Random, report: Report) -> None:
        surfaces.after(self, rng, report)

    def _before_undo(self) -> None:
        letters.before(self, "undo")

    def differs(self, check: str, text: str) -> None:
        """Raise Found, unless that check is left out."""
        if check in self.checks:
            raise Found(check, text)

    # ---- one act
    def tell(self, report: Report, habit: str, key: str = "") -> Answer:
        """Send a report, compare the answer with the model's, take it into the book."""
        self._time(report)
        if report.act == "restock" or report.act == "build":
            surfaces.legs_of_restock(self, report)
        letters.before(self, report.act)
        expected = Permits(self.book).refusals(report)
        method = "PUT" if report.act == "trip" else "POST"
        key = key or str(_uuid(f"{self.seed}/{report.number}"))
        self.keys[report.number] = key
        body = report.body if report.sent is None else report.sent
        answer = self.doors.send(report.by, report.path, body, method=method, key=key)
        self._tell_story(report, answer)
        self._compare(report, answer, expected)
        if answer.well:
            self.done[habit] += "before" not in report.fixed
            self._accept(report, answer)
        return answer

    def _time(self, report: Report) -> None:
        report.recorded = self.now
        if "occurred_at" in report.body:
            wrong = report.fixed.get("wrong", timedelta())
            report.body["device_now"] = (self.now + wrong).isoformat()
            claimed = datetime.fromisoformat(report.body["occurred_at"]) - wrong
            report.claimed = min(claimed, self.now)

    def _compare(self, report: Report, answer: Answer, expected: set[str]) -> None:
        if "?" in expected:
            return
        open_code = "?refused" in expected
        if answer.well != (not expected) or (
            not answer.well and not open_code and answer.code not in expected
        ):
            wanted = " or ".join(sorted(expected)) or "accepted"
            got = "accepted" if answer.well else f"{answer.status} {answer.code}"
            detail = "" if answer.well else f" ({answer.body.get('detail')})"
            self.differs("code", f"{report.act} should be {wanted}, is {got}{detail}")

    def _accept(self, report: Report, answer: Answer) -> None:
        body, fixed = answer.body, report.fixed
        match report.act:
            case "reserve":
                fixed["id"] = body["reservation"]["id"]
            case "swap":
                fixed["new"] = body["goes"]["reservation"]["id"]
            case "receive":
                fixed["lot"] = body["lot"]["id"]
                if body["place"]["kind"] == "quarantine":
                    fixed["place"] = fixed["place"].replace("shelf", "quarantine")
            case "open":
                fixed["new"] = body["lot"]["id"]
                inside = self.hook.inside[report.kit]
                if inside.get(int(report.body["lot"])):
                    self.hook.use(report.kit, int(report.body["lot"]), 1)
                    inside[fixed["new"]] = inside.get(fixed["new"], 0) + 1
            case "recall":
                fixed["id"] = body["id"]
            case "trip":
                self.trip_ids[fixed["trip"]] = body["trip"]["id"]
                self._released(report, body["released"])
        if isinstance(body, dict) and body.get("entry"):
            report.entries = [body["entry"]["id"]]
        if report.body.get("cleared_by"):
            asked = self.doors.get("Root", "clearances/?answered=false")["results"]
            fixed["clearance"] = next((x["id"] for x in asked if x["kit"] == report.kit), None)
        if report.kit:
            fixed["here"] = self.book.kits[report.kit]["room"]
        report.accepted = True
        self.reports.append(report)
        self.book.apply(report)
        self.done += evening.riders(report)
        if report.act == "hand-back":
            evening.asked_for(self, report, body)
        if report.act in ("restock", "build"):
            self._really_put_in(report)

    def _released(self, report: Report, said: list[str]) -> None:
        """A trip that is cancelled gives free its kits, and says which."""
        mine = [p for p in self.book.promises.values() if p["trip"] == report.fixed["trip"]]
        free = sorted(p["kit"] for p in mine if p["open"] and report.body["cancelled"])
        if sorted(said) != free:
            self.differs("code", f"{report.fixed['trip']} gives free {said}, should {free}")

    def _really_put_in(self, report: Report) -> None:
        """What went into and out of the kit in truth: of the wrong batch, where that was the
        error."""
        inside = self.hook.inside[report.kit]
        for lot, source, target, units in report.fixed["legs"]:
            if target == report.kit:
                lot = report.fixed.get("really", lot)
                inside[lot] = inside.get(lot, 0) + units
            elif source == report.kit:
                inside[lot] = max(0, inside.get(lot, 0) - units)

    def _tell_story(self, report: Report, answer: Answer) -> None:
        when = self.now.astimezone(ZONE).strftime("%a %d %b %H:%M")
        said = {k: v for k, v in report.body.items() if k != "device_now"}
        outcome = "accepted" if answer.well else f"refused: {answer.code}"
        what = f"{report.act} {report.kit or report.path}"
        self.story.append(f"{when}  {report.by}: {what} {said} → {outcome}")

    # ---- pressed twice, at once, undone
    def _some_act(self, rng: Random) -> tuple[str, Report] | None:
        for habit in rng.sample(PRESSED, len(PRESSED)):
            if made := HABITS[habit](self._moment(rng)):
                return habit, made[0]
        return None

    def _press_twice(self, rng: Random) -> bool:
        if not (made := self._some_act(rng)):
            return False
        first = self.tell(made[1], made[0])
        self.later(rng.choice((1, 30)))
        body = {k: v for k, v in made[1].body.items() if k != "device_now"}
        key = self.keys[made[1].number]
        again = self.doors.send(made[1].by, made[1].path, body, key=key)
        kept = first.code not in ("role-missing", "not-found") or first.well
        if kept and (again.status, again.body, again.again) != (first.status, first.body, True):
            self.differs("once", f"{made[1].act} pressed twice: {first} then {again}")
        self.done["press-twice"] += 1
        self._after(rng, made[1])
        return True

    def _same_key_other_content(self, rng: Random) -> bool:
        if not (made := self._some_act(rng)):
            return False
        first = self.tell(made[1], made[0])
        self.later(1)
        key = self.keys[made[1].number]
        other = self.doors.send(made[1].by, made[1].path, {**made[1].body, "reason": "x"}, key=key)
        if first.well and other.code != "key-reused":
            self.differs("once", f"one key for two acts: {other.status} {other.code}")
        self.done["same-key-other-content"] += 1
        self._after(rng, made[1])
        return True

    def _two_at_once(self, rng: Random) -> bool:
        """Two guides at the hatch with the same kit: the second is told who has it."""
        made = HABITS["take-without-trip"](self._moment(rng))
        if not made:
            return False
        moment = self._moment(rng)
        *before, first = made
        other = moment.hand(first.kit, *[g for g in people.GUIDES if g != first.by])
        body = {**first.body, "person": moment.number_of(other)}
        second = moment.of_kit("take-out", other, first.kit, body, "check-out")
        for report in before:
            self.tell(report, "restock")
        well = self.tell(first, "take-without-trip").well
        self.tell(second, "take-without-trip")
        self.done["two-at-once"] += well
        self._after(rng, second)
        return True


def _uuid(text: str) -> Any:
    return uuid.uuid5(uuid.NAMESPACE_URL, text)


@contextmanager
def taken_back() -> Iterator[None]:
    """Whatever is written in here is taken back at the end, so that each week starts afresh."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def play(
    doors: Doors, school: dict[str, Any], seed: int, clock: Any, start: date,
    keep: Sequence[Step] | None = None, checks: frozenset[str] = surfaces.EVERY,
    cards: Sequence[str] = (),
) -> tuple[Week, Found | None]:  # fmt: skip
    """Play one week, with these cards instead of its own if some are given; what it found, if
    anything."""
    week = Week(doors, school, seed, clock, start, checks=checks, cards=cards)
    found = None
    with taken_back():
        try:
            week.play(steps_of(seed) if keep is None else keep)
        except Found as difference:
            found = difference
    return week, found


def shortened(
    doors: Doors, school: dict[str, Any], seed: int, clock: Any, start: date, found: Found,
    checks: frozenset[str] = surfaces.EVERY, tries: int = 60,
) -> tuple[Week, Found]:  # fmt: skip
    """The week with as few steps as still make the same check find something."""
    best: tuple[Week, Found | None] = play(doors, school, seed, clock, start, checks=checks)
    keep = best[0].played
    size = max(1, len(keep) // 2)
    while size and tries:
        for at in range(0, len(keep), size):
            fewer = keep[:at] + keep[at + size :]
            tries -= 1
            week, again = play(doors, school, seed, clock, start, fewer, checks)
            if again and again.check == found.check:
                keep, best = fewer, (week, again)
                break
            if not tries:
                break
        else:
            size //= 2
    return best[0], best[1] or found
