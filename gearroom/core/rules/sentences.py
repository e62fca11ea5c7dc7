"""Sentences that rules make: an English text with places for facts, and the facts.

A rule knows no language, so it does not put the two together; whoever speaks to people does, with
`kits.services.text.wording.in_words`. Read as they stand they are English, for logs and commands.
The text is a literal in a call of `say`, where translators' tools find it (as gettext's
`gettext_noop`).
"""

from calendar import month_name
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

GROUPED_FROM = 10_000
"""Whole numbers from here on are written in groups of three digits; years never are."""


@dataclass(frozen=True)
class Sentence:
    """A text with places in printf style, `%(name)s`; facts may be sentences, dates and numbers."""

    text: str
    facts: Mapping[str, Any] = field(default_factory=dict, hash=False)

    def __str__(self) -> str:
        return self.text % {name: _english(fact) for name, fact in self.facts.items()}


def say(text: str, **facts: Any) -> Sentence:
    """A sentence. Percent signs in `text` are doubled."""
    return Sentence(text, facts)


Speak = Callable[[Sentence | str], str]
"""What puts a sentence into words: `str` in English, `kits.services.text.wording.in_words` in the
language
of whoever reads."""


class SentenceError(Exception):
    """An error of which `says` is the sentence that says what to do."""

    def __init__(self, says: Sentence) -> None:
        super().__init__(str(says))
        self.says = says


class InvalidValue(SentenceError, ValueError):
    """A value that cannot be."""


def _english(fact: Any) -> Any:
    match fact:
        case date():
            return f"{fact.day} {month_name[fact.month]} {fact.year}"
        case float():
            return f"{fact:g}"
        case int() if abs(fact) >= GROUPED_FROM:
            return f"{fact:,}"
        case _:
            return fact
