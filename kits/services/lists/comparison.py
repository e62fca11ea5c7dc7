"""How two versions of a kit list differ: lines, reasons, and what they say of themselves."""

from dataclasses import dataclass
from typing import Any

from kits.models import ListLine, PackingListVersion
from kits.rules.ledger.facts import Line
from kits.rules.lists.versions import Comparison, compare
from kits.services.ledger import readiness


@dataclass(frozen=True)
class OtherReason:
    """A line of both versions that says otherwise why its thing is there."""

    line: ListLine
    was: str


@dataclass(frozen=True)
class VersionsCompared:
    """How a later version differs from an earlier: its lines, what it says of itself (`said` maps
    people, days, hazards to the two values), and why things are there (`reasons`)."""

    before: PackingListVersion
    after: PackingListVersion
    lines: Comparison
    said: dict[str, tuple[Any, Any]]
    reasons: tuple[OtherReason, ...]


def compared(before: PackingListVersion, after: PackingListVersion) -> VersionsCompared:
    """Compare two versions."""
    lines: dict[int, tuple[Line, ...]] = readiness.lines_of({before.pk, after.pk})
    said = {
        name: (getattr(before, name), getattr(after, name))
        for name in ("people", "days", "hazards")
        if getattr(before, name) != getattr(after, name)
    }
    comparison = compare(lines.get(before.pk, ()), lines.get(after.pk, ()))
    return VersionsCompared(before, after, comparison, said, _other_reasons(before, after))


def _other_reasons(
    before: PackingListVersion, after: PackingListVersion
) -> tuple[OtherReason, ...]:
    def lines(version: PackingListVersion) -> dict[tuple[str, int], ListLine]:
        rows = ListLine.objects.filter(section__version=version).select_related("item", "section")
        return {
            (row.section.key, row.item_id): row
            for row in rows.order_by("section__position", "position", "id")
        }

    was = lines(before)
    return tuple(
        OtherReason(line, was[where].reason)
        for where, line in lines(after).items()
        if where in was and was[where].reason != line.reason
    )
