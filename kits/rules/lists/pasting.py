"""Lines of a kit list as somebody wrote them elsewhere: how many of what, and which item is meant.

    2 x plasters · Triangular bandage – 3 · gauze swabs 10x10 (5) · two blankets · 10 prs gloves
    · a row of a spreadsheet

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
_NUMBERS = {
    word: units
    for language in (
        "one two three four five six seven eight nine ten eleven twelve",
        "eins zwei drei vier fünf sechs sieben acht neun zehn elf zwölf",
    )
    for units, word in enumerate(language.split(), start=1)
} | dict.fromkeys(("ein", "eine", "einen"), 1)
_IN_WORDS = rf"(?:{'|'.join(sorted(_NUMBERS, key=len, reverse=True))})\b"
# More of one item is rather a strength or a size: “Ibuprofen 400”.
_MANY = 100
# A pair or a pack may be one unit or several.
_SEVERAL = re.compile(r"[\s0-9](?:packs?|prs?|pairs?|paar)\b", re.I)
_PIECES = (
    r"(?:pcs|pieces?|packs?|off|stk|stück|st|mal|ea|each"
    r"|tabs|tablets|tabletten|tabl|tbl|prs?|pairs?|paar)\b\.?"
)
_SIZE = r"(?:(?:cm|mm|m|ml|l|mg|g|kg|in|inch|way|ply|cornered|sided|person|size)\b|[%°])"
_NOTE = re.compile(r"\s*(\([^()]*[^\W\d][^()]*\))$")
_BULLET = re.compile(r"^\s*(?:[-–—*•·▪◦●○□☐☑✓✔]+\s+|\[[ x]?\]\s*|[0-9]{1,3}[.)]\s+(?=\D))+", re.I)


def _first(number: str) -> re.Pattern[str]:
    """A number that a line starts with. “10 x 10 cm” and “5 cm” are sizes, “2 x 10 x 10 cm” is two
    of a size."""
    return re.compile(
        rf"^({number})\s*(?:[x×*]\s*(?=[^\W\d])|[x×*]\s+(?=[0-9]+\s*[x×]\s*[0-9])|{_PIECES}\s+"
        rf"|\s+(?!{_SIZE}|[x×*]))(?=\S)",
        re.I,
    )


def _last(number: str) -> re.Pattern[str]:
    """A number that a line ends with."""
    return re.compile(
        rf"(?:\s*[(\[]\s*(?:[x×]\s*)?({number})\s*(?:[x×]|{_PIECES})?\s*[)\]]"
        rf"|(?<![0-9])\s*(?:\s[-–—=]|[:;,])\s*(?:[x×]\s*)?({number})\s*(?:[x×]|{_PIECES})?"
        rf"|(?<![0-9])\s+[x×*]\s*({number})\s*(?:{_PIECES})?"
        rf"|\s+({number})\s*(?:[x×]|{_PIECES})"
        rf"|(?<!size)(?<!größe)(?<!gr\.)(?<!no\.)(?<!nr\.)(?<!type)(?<!typ)(?<![0-9×–-])(?<![\s0-9]x)"
        rf"\s+({number}))\s*$",
        re.I,
    )


# A number in figures goes before one in words: “Four-tailed bandage – 2”.
_FORMS = [(_first(number), _last(number)) for number in (_N, _IN_WORDS)]
_CELLS = [
    re.compile(rf"(?:[x×]\s*)?({number})\s*(?:[x×]|{_PIECES})?\s*(\([^()]*\))?", re.I)
    for number in (_N, _IN_WORDS)
]
_WORD = re.compile(r"[^\W_]+")


@dataclass(frozen=True)
class PastedLine:
    """A line as it was pasted, what it names, and how many (0 to MOST; None: it doesn't say);
    `plain`: whether that number is to be taken as it is."""

    text: str
    name: str
    units: int | None
    plain: bool = True


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
    plain = _BULLET.sub("", " ".join(cells)) or text
    name, number, rest = _in_cells(cells) or _in_words(plain) or (plain, "", "")
    units = _units(number)
    plain_number = units is not None and units <= _MANY and not _SEVERAL.search(rest)
    return PastedLine(text, name, units, plain_number)


_Parts = tuple[str, str, str]
"""What a line names, its number, and that number with the words around it."""


def _in_cells(cells: Sequence[str]) -> _Parts | None:
    """Of a row of a spreadsheet, by the first cell that is a number."""
    for form in _CELLS:
        counts = [found for cell in cells if (found := form.fullmatch(cell))]
        if counts and len(counts) < len(cells):
            names = [cell for cell in cells if not form.fullmatch(cell)]
            note = [counts[0][2]] if counts[0][2] else []
            return " ".join([*names, *note]), counts[0][1], f" {counts[0][0]}"
    return None


def _in_words(plain: str) -> _Parts | None:
    """Of a line of text. A note in brackets may follow the number: “Gauze – 2 (haemostatic)”."""
    texts = [(plain, "")]
    if note := _NOTE.search(plain):
        texts.append((plain[: note.start()], f" {note[1]}"))
    for first, last in _FORMS:
        if found := first.match(plain):
            return plain[found.end() :].strip(), found[1], found[0]
        for text, after in texts:
            found = last.search(text)
            if found and (name := text[: found.start()].strip(" \t-–—:;,")):
                return f"{name}{after}", next(filter(None, found.groups())), found[0]
    return None


def _units(text: str) -> int | None:
    """The number that a text stands for: 1.000 and 1,000 are a thousand, 3.00 and 3,0 are three."""
    if not text or text.casefold() in _NUMBERS:
        return _NUMBERS.get(text.casefold())
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
