"""What holds of several members of one body: its serializer obeys it, the schema says it.

A serializer names its rules in `rules`. A member counts where it was sent, null or not.
"""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise


@dataclass(frozen=True)
class _Of:
    names: tuple[str, ...]
    says: str | Promise
    field: str = ""


class AnyOf(_Of):
    """At least one of the members."""

    def holds(self, sent: Collection[str]) -> bool:
        """At least one is there."""
        return any(name in sent for name in self.names)

    def schema(self) -> dict[str, Any]:
        """`anyOf` with what is required."""
        return {"anyOf": [{"required": [name]} for name in self.names]}


class OneOf(_Of):
    """Exactly one of the members."""

    def holds(self, sent: Collection[str]) -> bool:
        """One is there and no other."""
        return sum(name in sent for name in self.names) == 1

    def schema(self) -> dict[str, Any]:
        """`oneOf` with what is required."""
        return {"oneOf": [{"required": [name]} for name in self.names]}


@dataclass(frozen=True)
class Needs:
    """A member that says nothing without another."""

    name: str
    other: str
    says: str | Promise
    field: str = ""

    def holds(self, sent: Collection[str]) -> bool:
        """The other is there too."""
        return self.name not in sent or self.other in sent

    def schema(self) -> dict[str, Any]:
        """`dependentRequired`."""
        return {"dependentRequired": {self.name: [self.other]}}


Rule = AnyOf | OneOf | Needs
"""`says` tells whoever broke it what to send, of `field` or of the whole."""


def schema_of(rules: Collection[Rule]) -> dict[str, Any]:
    """All the rules as JSON Schema, to be put beside the properties."""
    parts = [rule.schema() for rule in rules]
    words = [word for part in parts for word in part]
    if len(words) > len(set(words)):
        return {"allOf": parts}
    return {word: value for part in parts for word, value in part.items()}
