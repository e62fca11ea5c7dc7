"""The table of a draft as its form sends it: rows of texts, in their order."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from django.http import QueryDict

from gearroom.core.acts import Invalid
from gearroom.site.web.page import FOREIGN
from kits.rules.ledger.facts import Criticality
from kits.rules.lists import table as rules
from kits.rules.lists.table import Group, Row, Table, Values

FACTS = "facts"
NEW_LINE = {"carry": "1", "never": "0", "matters": str(Criticality.ROUTINE)}
"""What a new line has in its inputs."""
_LINE = ("item", "carry", "never", "matters", "reason")
_LEFT_OUT = (
    *("thing", "need", "why", "words", "instead", "hours", "trained"),
    *("decided_by", "decided_on", "look_again_on", "look_again_after"),
)
_SEVERAL = ("hazard", "activity")


def sent_table(sent: QueryDict) -> Table:
    """The table that was sent: `order` names its rows, each by what it is and its id."""
    groups: list[Group] = []
    left_out: list[Row] = []
    gone = set(sent.getlist("gone"))
    for each in sent.getlist("order"):
        kind, _colon, id = each.partition(":")
        if kind == "section":
            groups.append(Group(_row(id, gone, _head(sent, id))))
        elif kind == "line" and groups:
            row = _row(id, gone, _texts(sent, _LINE, id))
            groups[-1] = replace(groups[-1], rows=(*groups[-1].rows, row))
        elif kind == "out":
            several = {name: tuple(sorted(sent.getlist(f"{name}-{id}"))) for name in _SEVERAL}
            left_out.append(_row(id, gone, {**_texts(sent, _LEFT_OUT, id), **several}))
    facts: Values = {
        **{name: sent.get(name, "") for name in ("people", "days", "note")},
        "hazard": tuple(sorted(sent.getlist("hazard"))),
    }
    return _where_sent(Table(Row(FACTS, facts), tuple(groups), tuple(left_out)), sent)


def _row(id: str, gone: set[str], values: Values) -> Row:
    return Row(id, values, gone=id in gone)


def _head(sent: QueryDict, id: str) -> Values:
    return {"name": sent.get(f"name-{id}", ""), "outside": sent.get(f"outside-{id}", "")}


def _texts(sent: QueryDict, names: Sequence[str], id: str) -> dict[str, str]:
    return {name: sent.get(f"{name}-{id}", "") for name in names}


def _where_sent(table: Table, sent: QueryDict) -> Table:
    """The table with rows in the section that was chosen for them."""
    for group in table.groups:
        for row in group.rows:
            to = sent.get(f"to-{row.id}", group.head.id)
            if to != group.head.id:
                table = rules.sent_to(table, row.id, to)
    return table


# ---------------------------------------------------------------------- what somebody read before
def packed(table: Table) -> str:
    """A table as one text, for an input that says what somebody read."""
    return json.dumps(
        [
            table.facts.values,
            [
                [g.head.id, g.head.values, [[row.id, row.values] for row in g.rows]]
                for g in table.groups
            ],
            [[row.id, row.values] for row in table.left_out],
        ],
        ensure_ascii=False,
        separators=(",", ":"),
    )


def unpacked(text: str) -> Table:
    """The table that such a text stands for. Raises Invalid."""
    try:
        facts, groups, left_out = json.loads(text)
        return Table(
            Row(FACTS, _values(facts)),
            tuple(
                Group(Row(str(id), _values(head)), tuple(Row(str(i), _values(v)) for i, v in rows))
                for id, head, rows in groups
            ),
            tuple(Row(str(id), _values(values)) for id, values in left_out),
        )
    except (ValueError, TypeError, AttributeError, RecursionError):
        raise Invalid(str(FOREIGN), field="read") from None


def _values(values: Mapping[str, Any]) -> Values:
    return {
        str(name): tuple(map(str, value)) if isinstance(value, list) else str(value)
        for name, value in values.items()
    }
