"""How well a name fits what somebody typed: tolerant of case, of accents and of one slip."""

import enum
import re
import unicodedata
from dataclasses import dataclass

LEAST = 2
"""Fewer characters than this fit too much to be looked for."""
_LEAST_FOR_A_SLIP = 4
_WORD = re.compile(r"\w+")


class Fit(enum.IntEnum):
    """How a name fits, the best first."""

    SAME = 0
    BEGINS = 1
    WORD_BEGINS = 2
    CONTAINS = 3
    ONE_SLIP = 4


def folded(text: str) -> str:
    """A text without case, accents and more than one space between words."""
    parts = unicodedata.normalize("NFKD", " ".join(text.split()).casefold())
    return "".join(each for each in parts if not unicodedata.combining(each))


@dataclass(frozen=True)
class Query:
    """What somebody typed, folded once for all the names that it is compared with."""

    text: str

    @classmethod
    def of(cls, typed: str) -> "Query":
        """As it was typed."""
        return cls(folded(typed))

    @property
    def too_short(self) -> bool:
        """Whether it would fit nearly everything."""
        return len(self.text) < LEAST

    def fit(self, name: str) -> Fit | None:
        """How a name fits; None where it does not."""
        text, wanted = folded(name), self.text
        if text == wanted:
            return Fit.SAME
        if text.startswith(wanted):
            return Fit.BEGINS
        if wanted in text:
            return Fit.WORD_BEGINS if _begins_a_word(wanted, text) else Fit.CONTAINS
        return Fit.ONE_SLIP if self._slipped(text) else None

    def _slipped(self, text: str) -> bool:
        """Whether one character wrong, left out, too many, or two swapped, make it the beginning
        of one of the words, or all of it."""
        wanted = self.text
        if len(wanted) < _LEAST_FOR_A_SLIP or any(c.isdigit() for c in wanted):
            return False
        return any(
            one_slip(wanted, part[:length])
            for part in (text, *_WORD.findall(text))
            if part[:1] == wanted[:1]
            for length in (len(wanted) - 1, len(wanted), len(wanted) + 1)
        )


def _begins_a_word(wanted: str, text: str) -> bool:
    return re.search(rf"(?<!\w){re.escape(wanted)}", text) is not None


def one_slip(one: str, other: str) -> bool:
    """Whether one slip makes a text of another: a character wrong, left out or too many, or two
    beside each other swapped."""
    if len(one) > len(other):
        one, other = other, one
    if len(other) - len(one) > 1:
        return False
    start = next((n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), len(one))
    if len(one) < len(other):
        return one[start:] == other[start + 1 :]
    swapped = one[start + 1 : start + 2] + one[start : start + 1] + one[start + 2 :]
    return one[start + 1 :] == other[start + 1 :] or swapped == other[start:]
