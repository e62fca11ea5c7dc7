"""Folds over the facts that are in force: which seal is on, who has a kit, what is kept back.

The facts come in the order in which they were recorded, without those that an undo took back.
Nothing is patched: what is so now, and what was so as known at some instant, is the same fold over
other facts.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass
from datetime import datetime

Section = int | None
"""A section's id; None is the whole kit."""


def seal_holds(number: str | None, seen: str) -> bool:
    """Whether a seal that was read as `seen` is the one on record: nothing was read, it is the
    same, or its last three characters or more are. None: no seal is on record."""
    if number is None:
        return False
    seen, number = seen.strip().casefold(), number.casefold()
    return not seen or seen == number or (len(seen) >= 3 and number.endswith(seen))


@dataclass(frozen=True)
class SealSaid:
    """A seal put on (`number`) a section or the kit, or (no number) a section that was opened."""

    entry: int
    section: Section
    number: str = ""


@dataclass(frozen=True)
class SealSpan:
    """A seal from the entry that put it on to the one that broke it (None: it is whole)."""

    section: Section
    number: str
    put_on: int
    broken: int | None = None


def seals(said: Iterable[SealSaid]) -> list[SealSpan]:
    """Every seal of one kit with what became of it, in the order in which they were put on. One
    is broken when its section is opened (any section, for the kit's) or another is put in its
    place."""
    spans: list[SealSpan] = []
    on: dict[Section, int] = {}

    def off(section: Section, entry: int) -> None:
        at = on.pop(section, None)
        if at is not None:
            was = spans[at]
            spans[at] = SealSpan(was.section, was.number, was.put_on, entry)

    for fact in said:
        off(fact.section, fact.entry)
        if fact.number:
            on[fact.section] = len(spans)
            spans.append(SealSpan(fact.section, fact.number, fact.entry))
        else:
            off(None, fact.entry)
    return spans


@dataclass(frozen=True)
class CustodySaid:
    """A kit (or section) taken out to a person, passed to one (`person`), or handed back.

    `what` is `opened`, `passed` or `closed`; `checkout` is None for a hand-back of a kit that the
    book did not show out.
    """

    entry: int
    section: Section
    checkout: int | None
    what: str
    person: int | None
    at: datetime
    as_found: str = ""


@dataclass(frozen=True)
class Time:
    """One time with a kit: who has it, or had it last; `closed` is the entry that ended it."""

    checkout: int
    section: Section
    person: int | None
    out_at: datetime
    opened: int
    closed: int | None = None
    in_at: datetime | None = None
    as_found: str = ""


def times(said: Iterable[CustodySaid]) -> list[Time]:
    """Every time that people had one kit or a section of it, in the order of their taking it. A
    kit that is handed back, or taken out anew, is with nobody else from then on."""
    done: list[Time] = []
    out: dict[Section, Time] = {}

    def end(fact: CustodySaid) -> None:
        was = out.pop(fact.section, None)
        if was is not None:
            at = max(fact.at, was.out_at)
            found = fact.as_found if fact.what == "closed" else ""
            done.append(
                Time(
                    was.checkout, was.section, was.person, was.out_at, was.opened,
                    fact.entry, at, found,
                )
            )  # fmt: skip

    for fact in said:
        held = out.get(fact.section)
        if fact.what == "passed":
            if held is not None and held.checkout == fact.checkout:
                out[fact.section] = Time(
                    held.checkout, held.section, fact.person, held.out_at, held.opened
                )
            continue
        end(fact)
        if fact.what == "opened" and fact.checkout is not None:
            out[fact.section] = Time(fact.checkout, fact.section, fact.person, fact.at, fact.entry)
    return sorted([*done, *out.values()], key=lambda time: time.opened)


def standing(said: Iterable[tuple[Hashable, bool, int]]) -> dict[Hashable, int]:
    """What stands after facts (what, whether it begins, entry): each with the entry since which it
    has stood without a break. Said twice it began the first time."""
    since: dict[Hashable, int] = {}
    for what, begins, entry in said:
        if begins:
            since.setdefault(what, entry)
        else:
            since.pop(what, None)
    return since
