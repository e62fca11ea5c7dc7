"""What holds of several members of one body: its serializer obeys it, the schema says it.

A serializer names its rules in `rules`. A member counts where it was sent, null or not. The schema
says them by `if`, not by `anyOf` or `oneOf`: of those, clients that are generated make types.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise


@dataclass(frozen=True)
class Rule:
    """A rule: whether what was sent obeys it, and how JSON Schema says it. `says` tells whoever
    broke it what to send, of `field` or of the whole."""

    holds: Callable[[Collection[str]], bool]
    schema: Mapping[str, Any]
    says: str | Promise
    field: str = ""


def any_of(names: tuple[str, ...], says: str | Promise, field: str = "") -> Rule:
    """At least one of the members is there."""
    schema = _alternatives(names, exclusive=False)
    return Rule(lambda sent: any(name in sent for name in names), schema, says, field)


def one_of(names: tuple[str, ...], says: str | Promise, field: str = "") -> Rule:
    """Exactly one of the members is there."""
    schema = _alternatives(names, exclusive=True)
    return Rule(lambda sent: sum(name in sent for name in names) == 1, schema, says, field)


def _alternatives(names: Sequence[str], exclusive: bool) -> dict[str, Any]:
    """The first of the names, and none of the others where they exclude each other, or else those
    others."""
    first, *others = ({"required": [name]} for name in names)
    if not others:
        return first
    excluded = {"then": {"not": {"anyOf": others}}} if exclusive else {}
    return {"if": first, **excluded, "else": _alternatives(names[1:], exclusive)}


def needs(name: str, other: str, says: str | Promise, field: str = "") -> Rule:
    """A member says nothing without another: where it is there, the other is too."""
    schema = {"dependentRequired": {name: [other]}}
    return Rule(lambda sent: name not in sent or other in sent, schema, says, field)


def schema_of(rules: Collection[Rule]) -> dict[str, Any]:
    """All the rules as JSON Schema, to be put beside the properties."""
    parts = [rule.schema for rule in rules]
    words = [word for part in parts for word in part]
    if len(words) > len(set(words)):
        return {"allOf": parts}
    return {word: value for part in parts for word, value in part.items()}
