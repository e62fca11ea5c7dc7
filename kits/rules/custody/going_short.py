"""A kit that is short, before it goes: what a shelf here settles, and who may let it go."""

from dataclasses import dataclass

from kits.rules.ledger import Criticality, Line, ReasonCode, Verdict, Weight, Word
from kits.rules.restocking.picking import FillUp, PutIn, RestockList


@dataclass(frozen=True)
class Addition:
    """What settles one line from the shelves: units to put in, or something nobody counts to fill
    up."""

    line: Line
    put_in: tuple[PutIn, ...] = ()
    fill_up: FillUp | None = None

    @property
    def count(self) -> int:
        """How many units go in."""
        return sum(row.count for row in self.put_in)


def additions(verdict: Verdict, listed: RestockList) -> list[Addition]:
    """Return what settles each line that keeps a kit from going without a word, gravest first; no
    addition for a line that the shelves cannot bring to its minimum. `listed` is the kit's restock
    list through the day of the verdict."""
    below = {row.line.id for row in listed.missing if row.below_minimum}
    settled = (
        addition_to(listed, int(str(reason.facts["line"])))
        for reason in verdict.reasons
        if reason.weight >= Weight.SHORT
        and reason.code in (ReasonCode.SHORT, ReasonCode.EMPTY_BY_EYE)
    )
    return [each for each in settled if each is not None and each.line.id not in below]


def addition_to(listed: RestockList, line: int) -> Addition | None:
    """Return what a restock list has for one line (its id); None where it has nothing."""
    if rows := tuple(row for row in listed.put_in if row.line.id == line):
        return Addition(rows[0].line, put_in=rows)
    return next(
        (
            Addition(row.line, fill_up=row)
            for row in listed.fill_up
            if row.line.id == line and row.shelf is not None
        ),
        None,
    )


def guide_may(verdict: Verdict, *, important_too: bool) -> bool:
    """Return whether a guide may let a kit go that is short, with a reason: it is so on routine
    lines alone; with `important_too`, on important lines as well."""
    lines = (
        (Criticality.ROUTINE, Criticality.IMPORTANT) if important_too else (Criticality.ROUTINE,)
    )
    return verdict.word is Word.SHORT and verdict.short_only_on(*lines)
