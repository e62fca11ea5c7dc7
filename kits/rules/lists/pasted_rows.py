"""Rows pasted into a kit list, from a spreadsheet or from anywhere: which cell is what.

Columns are named by a first row, in English or German, or told by what is in them: the first text
is the item, the first number how many to carry, the second the minimum, one word of three the
priority, and what is left the reason. A row with one text alone names the section of those below
it, or begins what is not carried; so does a number of 0 or a word for it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from kits.rules.ledger.facts import Criticality
from kits.rules.lists import pasting

_COLUMNS = {
    "item": ("item", "items", "thing", "name", "what", "artikel", "gegenstand", "was"),
    "carry": (
        *("carry", "number", "quantity", "qty", "units", "target", "count", "how many"),
        *("anzahl", "menge", "stück", "soll", "mitnehmen"),
    ),
    "never": ("minimum", "min", "min.", "at least", "mindestens", "mindestmenge", "mindestzahl"),
    "matters": ("priority", "priorität", "wichtigkeit"),
    "reason": (
        *("reason", "why", "note", "notes"),
        *("begründung", "grund", "warum", "notiz", "bemerkung"),
    ),
    "section": ("section", "pouch", "bag", "abschnitt", "fach", "tasche", "beutel"),
}
_COLUMN_OF = {name: column for column, names in _COLUMNS.items() for name in names}
_PRIORITIES = {
    **{str(each): str(each) for each in Criticality},
    "must have": "must-have",
    "must": "must-have",
    "essential": "must-have",
    "unverzichtbar": "must-have",
    "muss": "must-have",
    "wichtig": "important",
    "normal": "routine",
    "üblich": "routine",
}
_LEFT_OUT = {
    *("not carried", "left out", "none", "no", "–", "-", "0"),
    *("nicht dabei", "nicht mitgenommen", "nicht mitgeführt", "nein", "keine"),
}


@dataclass(frozen=True)
class PastedRow:
    """A row as it was pasted, and what its cells say; `values` are those of a line by name.
    `plain`: whether its number is to be taken as it is."""

    text: str
    item: str
    values: Mapping[str, str]
    section: str = ""
    left_out: bool = False
    plain: bool = True

    @property
    def reason(self) -> str:
        """Why it is carried, or not."""
        return self.values.get("reason", "")


def rows(text: str) -> list[PastedRow]:
    """The rows of a text that are not empty."""
    lines = [line for line in text.splitlines() if line.strip()]
    if not any("\t" in line for line in lines):
        return [_of_line(line) for line in pasting.lines(text)]
    cells = [[cell.strip() for cell in line.split("\t")] for line in lines]
    columns = _named(cells[0])
    return list(_of_cells(cells[1:] if columns else cells, columns))


def _of_line(line: pasting.PastedLine) -> PastedRow:
    carry = "" if line.units is None else str(line.units)
    return PastedRow(
        line.text, line.name, _values(carry), left_out=line.units == 0, plain=line.plain
    )


def _named(cells: Sequence[str]) -> list[str]:
    """What each column is, where a first row names them; empty where it does not."""
    columns = [_COLUMN_OF.get(cell.casefold(), "") for cell in cells]
    return columns if "item" in columns and len([each for each in columns if each]) > 1 else []


def _of_cells(rows: Sequence[Sequence[str]], columns: Sequence[str]) -> Iterator[PastedRow]:
    section, left_out = "", False
    for cells in rows:
        texts = [cell for cell in cells if cell]
        if len(texts) == 1 and not texts[0].isdigit() and "section" not in columns:
            left_out = texts[0].casefold() in _LEFT_OUT
            section = "" if left_out else texts[0]
            continue
        found = _by_name(cells, columns) if columns else _by_kind(texts)
        none = found.get("carry", "").casefold() in _LEFT_OUT
        yield PastedRow(
            " ".join(texts),
            found.get("item", ""),
            _line_values(found),
            found.get("section", section),
            left_out=left_out or none,
        )


def _by_name(cells: Sequence[str], columns: Sequence[str]) -> dict[str, str]:
    return {name: cell for name, cell in zip(columns, cells, strict=False) if name and cell}


def _by_kind(texts: Sequence[str]) -> dict[str, str]:
    found: dict[str, str] = {}
    reason: list[str] = []
    for text in texts:
        if text.isdigit() or text.casefold() in _LEFT_OUT:
            found.setdefault("never" if "carry" in found else "carry", text)
        elif "item" not in found:
            found["item"] = text
        elif text.casefold() in _PRIORITIES and "matters" not in found:
            found["matters"] = text
        else:
            reason.append(text)
    return {**found, "reason": " ".join(reason)}


def _line_values(found: Mapping[str, str]) -> dict[str, str]:
    """The values of a line; a priority in other words is kept with the reason."""
    typed = found.get("matters", "")
    priority = _PRIORITIES.get(typed.casefold())
    reason = " ".join(filter(None, ("" if priority else typed, found.get("reason", ""))))
    values = _values(found.get("carry", ""), found.get("never", ""), reason)
    return {**values, "matters": priority or values["matters"]}


def _values(carry: str = "", never: str = "", reason: str = "") -> dict[str, str]:
    return {
        "carry": carry, "never": never, "matters": str(Criticality.ROUTINE), "reason": reason,
    }  # fmt: skip
