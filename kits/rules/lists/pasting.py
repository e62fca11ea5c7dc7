"""Lines of a kit list as somebody wrote them elsewhere: how many of what, and which item is meant.

    2 x plasters · Triangular bandage – 3 · gauze swabs 10x10 (5) · a row of a spreadsheet

Every line that is not empty comes out once, whole and in its order. What cannot be made out is left
to whoever pasted it.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from enum import IntEnum

from kits.rules.text.quantities import MOST

_N = r"[0-9]{1,3}(?:[.,'’][0-9]{3})+|[0-9]+(?:[.,]0+)?"
_PIECES = r"(?:pcs|pieces?|packs?|off|stk|stück|st|mal|ea|each)\.?"
_SIZE = r"(?:cm|mm|m|ml|l|mg|g|kg|in|inch|%|°)(?![a-z])"
_BULLET = re.compile(r"^\s*(?:[-–—*•·▪◦●○□☐☑✓✔]+\s+|\[[ x]?\]\s*|[0-9]{1,3}[.)]\s+(?=\D))+", re.I)
# “10 x 10 cm” and “5 cm” are sizes, “2 x 10 x 10 cm” is two of a size.
_FIRST = re.compile(
    rf"^({_N})\s*(?:[x×*]\s*(?=[^\W\d])|[x×*]\s+(?=[0-9]+\s*[x×]\s*[0-9])|{_PIECES}\s+"
    rf"|\s+(?!{_SIZE}|[x×*]))(?=\S)",
    re.I,
)
_LAST = re.compile(
    rf"(?:\s*[(\[]\s*(?:[x×]\s*)?({_N})\s*(?:[x×]|{_PIECES})?\s*[)\]]"
    rf"|(?<![0-9])\s*(?:\s[-–—=]|[:;,])\s*(?:[x×]\s*)?({_N})\s*(?:[x×]|{_PIECES})?"
    rf"|(?<![0-9])\s+[x×*]\s*({_N})|\s+({_N})\s*(?:[x×]|{_PIECES})"
    rf"|(?<!size)(?<!größe)(?<!gr\.)(?<!no\.)(?<!nr\.)(?<!type)(?<!typ)(?<![0-9x×–-])\s+({_N}))\s*$",
    re.I,
)
_WORD = re.compile(r"[^\W_]+")


@dataclass(frozen=True)
class PastedLine:
    """A line as it was pasted, what it names, and how many (0 to MOST; None: it doesn't say)."""

    text: str
    name: str
    units: int | None


class Likeness(IntEnum):
    """How much an item's name is like what a line names."""

    CLOSE = 1
    ALL_WORDS = 2
    EXACT = 3


@dataclass(frozen=True)
class Match:
    """An item that a line may mean."""

    item: int
    likeness: Likeness


def lines(text: str) -> list[PastedLine]:
    """The lines of a text that are not empty."""
    return [_line(each.strip()) for each in text.splitlines() if each.strip()]


def _line(text: str) -> PastedLine:
    cells = [cell.strip() for cell in text.split("\t") if cell.strip()]
    counts = [cell for cell in cells if re.fullmatch(_N, cell)]
    if counts and len(counts) < len(cells):
        names = [cell for cell in cells if not re.fullmatch(_N, cell)]
        return PastedLine(text, " ".join(names), _units(counts[0]))
    plain = _BULLET.sub("", " ".join(cells)) or text
    if first := _FIRST.match(plain):
        return PastedLine(text, plain[first.end() :].strip(), _units(first[1]))
    last = _LAST.search(plain)
    if last and (name := plain[: last.start()].strip(" \t-–—:;,")):
        return PastedLine(text, name, _units(next(filter(None, last.groups()))))
    return PastedLine(text, plain, None)


def _units(text: str) -> int | None:
    """The number that a text stands for: 1.000 and 1,000 are a thousand, 3.00 and 3,0 are three."""
    whole = re.sub(r"[.,'’](?=[0-9]{3}(?:[^0-9]|$))", "", text)
    number = re.sub(r"[.,]0+$", "", whole)
    return int(number) if len(number) < 8 and int(number) <= MOST else None


def matches(name: str, items: Mapping[int, str], most: int = 3) -> Sequence[Match]:
    """The items that a line may mean, the most likely first, at most so many."""
    found = [
        (likeness, _ratio(name, other), item)
        for item, other in items.items()
        if (likeness := _likeness(name, other)) is not None
    ]
    found.sort(key=lambda each: (-each[0], -each[1], each[2]))
    return [Match(item, likeness) for likeness, _, item in found[:most]]


def _likeness(name: str, other: str) -> Likeness | None:
    ours, theirs = _words(name), _words(other)
    if not ours or not theirs:
        return None
    if ours == theirs:
        return Likeness.EXACT
    if _all_in(ours, theirs) or _all_in(theirs, ours):
        return Likeness.ALL_WORDS
    shared = any(len(word) > 3 and _all_in([word], theirs) for word in ours)
    return Likeness.CLOSE if shared or _ratio(name, other) >= 0.6 else None


def _words(text: str) -> list[str]:
    return _WORD.findall(re.sub(r"(?<=[0-9])\s*[x×]\s*(?=[0-9])", " x ", text.casefold()))


def _all_in(some: Sequence[str], others: Sequence[str]) -> bool:
    """Whether each word is among the others, in the singular or plural too."""
    return all(any(_same(word, other) for other in others) for word in some)


def _same(word: str, other: str) -> bool:
    short, long = sorted((word, other), key=len)
    return word == other or (
        len(short) > 3 and long.startswith(short) and len(long) < len(short) + 3
    )


def _ratio(name: str, other: str) -> float:
    return SequenceMatcher(None, " ".join(_words(name)), " ".join(_words(other))).ratio()
