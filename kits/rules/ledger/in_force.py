"""Folds over the facts that are in force: which seal is on, who has a kit, what is on hold.

The facts come in the order in which they were recorded, without those that an undo took back.
Nothing is patched: what is so now, and what was so as known at some instant, is the same fold over
other facts.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

Section = int | None
"""A section's id; None is the whole kit."""

Hold = tuple[int | None, int | None, str]
"""A kit's or a batch's id, and why it is on hold."""


def seal_holds(number: str | None, typed: str) -> bool:
    """Whether a seal that was read as `typed` is the one on record: nothing was read, it is the
    same, or its last three characters or more are. None: no seal is on record."""
    if number is None:
        return False
    typed, number = typed.strip().casefold(), number.casefold()
    return not typed or typed == number or (len(typed) >= 3 and number.endswith(typed))


@dataclass(frozen=True)
class SealSpan:
    """A seal from the entry that put it on to the one that broke it (None: it is whole)."""

    section: Section
    number: str
    put_on: int
    broken: int | None = None


def seals(events: Iterable[tuple[int, Section, str]]) -> list[SealSpan]:
    """Every seal of one kit with what became of it, in the order in which they were put on. One
    is broken when its section is opened (any section, for the kit's) or another is put in its
    place. The events are entry, section and the number of the seal put on; without a number a
    section that was opened."""
    spans: list[SealSpan] = []
    on: dict[Section, int] = {}
    for entry, section, number in events:
        for broken in (section,) if number else (section, None):
            if (at := on.pop(broken, None)) is not None:
                spans[at] = replace(spans[at], broken=entry)
        if number:
            on[section] = len(spans)
            spans.append(SealSpan(section, number, entry))
    return spans


@dataclass(frozen=True)
class CustodyEvent:
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
class CustodySpan:
    """One time with a kit: who has it, or had it last; `closed` is the entry that ended it."""

    checkout: int
    section: Section
    person: int | None
    out_at: datetime
    opened: int
    closed: int | None = None
    in_at: datetime | None = None
    as_found: str = ""


def times(events: Iterable[CustodyEvent]) -> list[CustodySpan]:
    """Every time that people had one kit or a section of it, in the order of their taking it. A
    kit that is handed back, or taken out anew, is with nobody else from then on."""
    done: list[CustodySpan] = []
    out: dict[Section, CustodySpan] = {}
    for event in events:
        held = out.get(event.section)
        if event.what == "passed":
            if held is not None and held.checkout == event.checkout:
                out[event.section] = replace(held, person=event.person)
            continue
        if held is not None:
            done.append(
                replace(
                    out.pop(event.section),
                    closed=event.entry,
                    in_at=max(event.at, held.out_at),
                    as_found=event.as_found if event.what == "closed" else "",
                )
            )
        if event.what == "opened" and event.checkout is not None:
            out[event.section] = CustodySpan(
                event.checkout, event.section, event.person, event.at, event.entry
            )
    return sorted([*done, *out.values()], key=lambda span: span.opened)


def on_hold(events: Iterable[tuple[Hold, bool, int]]) -> dict[Hold, int]:
    """What is on hold after events (hold, whether it begins, entry): each with the entry since
    which it is without a break. Begun twice it began the first time."""
    since: dict[Hold, int] = {}
    for what, begins, entry in events:
        if begins:
            since.setdefault(what, entry)
        else:
            since.pop(what, None)
    return since
