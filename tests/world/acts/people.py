"""What the people of the school do: habits, errors, and things said late.

`Hook` keeps what really lies in each kit, which nobody may know; the model keeps what was
reported. Each habit looks at both and answers with the reports that are sent, or none where it has
no occasion.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from random import Random
from typing import Any

from tests.world.acts.permits import Permits, sees
from tests.world.acts.reports import Report
from tests.world.model import Book
from tests.world.says import WORDS

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
        return next(str(pk) for pk, who in self.school["people"].items() if who == name)

    def report(self, act: str, by: str, path: str, body: dict[str, Any], kit: str = "") -> Report:
        return Report(self.hook.next("report"), act, by, path, body, kit)

    def of_kit(self, act: str, by: str, kit: str, body: dict[str, Any], door: str = "") -> Report:
        return self.report(act, by, f"kits/{kit}/{door or act}/", body, kit)

    def kit(self, fits: Callable[[dict[str, Any]], Any] = bool) -> str | None:
        names = [name for name, kit in self.book.kits.items() if fits(kit)]
        return self.rng.choice(names) if names else None

    def fit(self, kit: str) -> bool:
        """Whether the book has a kit in, and nothing stops it."""
        through, trip = self.book.question(kit, self.now)
        stops = self.book.verdict(kit, through, trip, self.now) == "do-not-take"
        return not self.book.kits[kit]["out"] and not stops

    def fit_kit(self) -> str | None:
        """A kit that may go; now and then any that is in."""
        fit = [name for name in self.book.kits if self.fit(name)]
        if fit and self.rng.random() < 0.9:
            return self.rng.choice(fit)
        return self.kit(lambda k: not k["out"])

    def hand(self, kit: str, *names: str) -> str:
        """Somebody to whom the kit is there."""
        at = self.book.kits[kit]
        seeing = [n for n in names or HANDS if sees(n, at["home"], at["room"])]
        return self.rng.choice(seeing or ["Kim"])

    def known_to(self, by: str, *names: str) -> str:
        """One of these whom somebody may name, as a rule."""
        known = [name for name in names if Permits(self.book).knows(by, name, self.now)]
        return self.rng.choice(known if known and self.rng.random() < 0.9 else names)

    def holder(self, kit: str) -> str:
        """Whoever has a kit, or had it last; or somebody to whom it is there."""
        at = self.book.kits[kit]
        had_it = (at["out"] or {}).get("person", at["last_person"])
        return had_it if had_it in HANDS and self.rng.random() < 0.5 else self.hand(kit)


Habit = Callable[[Moment], list[Report]]
HABITS: dict[str, Habit] = {}


def habit(does: Habit) -> Habit:
    HABITS[does.__name__.replace("_", "-")] = does
    return does


def inside(kit: dict[str, Any]) -> bool:
    return not kit["out"] and kit["entered"]


def sorted_before(m: Moment, kit: str, by: str) -> list[Report]:
    """It is restocked before, where it would not do, or counted where its contents were mixed with
    another's; that is not counted as an act of the week."""
    word = m.book.verdict(kit, *m.book.question(kit, m.now), m.now)
    if word in WORDS[:2] or not inside(m.book.kits[kit]) or m.rng.random() < 0.15:
        return []
    reports = [m.of_kit("restock", by, kit, {})]
    if "mixed" in m.book.kits[kit]["withheld"]:
        reports.insert(0, whole_count(m, kit, by))
    for report in reports:
        report.fixed["before"] = True
    return reports


def whole_count(m: Moment, kit: str, by: str) -> Report:
    """A count of all that is really in a kit, batch by batch."""
    known = {**dict.fromkeys(m.book.contents(kit), 0), **m.hook.inside[kit]}
    found = [
        {"lot": str(lot), "units": units, "section": "main"}
        for lot, units in sorted(known.items())
        if m.book.lots[lot]["item"] != "gauge" or units < 2
    ]
    return m.of_kit("count", by, kit, {"found": found})


def short_reason(m: Moment, body: dict[str, Any]) -> dict[str, Any]:
    """The same, with a reason in case it is short, as most people say at once."""
    return {**body, "short_reason": "Can be used instead"} if m.rng.random() < 0.7 else body
