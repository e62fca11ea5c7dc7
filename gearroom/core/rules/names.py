"""Names, telephones and addresses in texts that are kept for ever.

Such a text holds a reference in the place of each: the person's number and the number of the row
that has the words, `U+FDD0 17.305 U+FDD1`. The two are noncharacters (Unicode 16, §23.7), which no
text for people holds; where one is sent all the same, it is kept as itself followed by the other.
"""

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

OPEN, CLOSE = "\ufdd0", "\ufdd1"
NOBODY = 0
"""The number of somebody who is not on record."""
LONGER = 5
"""How many times as long as it was typed a text with references may be."""

_REFERENCE = re.compile(f"{OPEN}(?:([0-9]+)\\.([0-9]+))?{CLOSE}")
_WHOLE_REFERENCE = re.compile(f"({OPEN}(?:[0-9]+\\.[0-9]+)?{CLOSE})")
_LEAST_DIGITS = 6
_WORD = re.compile(r"\w+")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_CODES = frozenset(
    {
        "code",
        "codes",
        "type",
        "instance",
        "kind",
        "title",
        "language",
        "slug",
        "number",
        "serial",
        "gtin",
        "label",
        "seal_seen",
        "section",
        "scope",
        "currency",
    }
)
"""Members of facts and answers that hold the program's own words, or numbers of things."""
_WRITTEN_IN = frozenset({"leader_name", "leader_phone", "leader_email", "username"})
"""Members that name or reach somebody who may not be on record."""
_OF_A_PERSON = frozenset({"name", "phone", "email", "username"})
"""Members that name or reach whoever the others (`id`, `name`, `phone`) are of."""


@dataclass(frozen=True)
class Known:
    """Words that name or reach a person (their number); NOBODY for somebody not on record."""

    person: int
    text: str


class Names:
    """What to look for in texts: the first that has the same words counts."""

    def __init__(self, known: Iterable[Known]) -> None:
        self._by_words: dict[str, Known] = {}
        for each in known:
            if words := _alike(each.text):
                self._by_words.setdefault(words, each)
        self._longest = sorted(self._by_words.values(), key=lambda each: -len(each.text))
        either = "|".join(f"({_pattern(each.text)})" for each in self._longest)
        self._any = re.compile(f"(?<!\\w)(?:{either})(?!\\w)") if either else None

    def split(self, text: str) -> Iterator[str | Known]:
        """A text in its order: what is between, and who is named, in the words that it has."""
        start = 0
        for match in self._any.finditer(text) if self._any else ():
            yield text[start : match.start()]
            named = self._longest[(match.lastindex or 1) - 1]  # each is a group of the pattern
            yield Known(named.person, match[0])
            start = match.end()
        yield text[start:]

    def of(self, text: str) -> Known | None:
        """Who is meant by a text that is nothing but such words."""
        return self._by_words.get(_alike(text))


def distinctive(person: int, name: str, phone: str, email: str) -> Iterator[Known]:
    """What tells of somebody wherever it stands: a name of several words, a telephone number of
    at least six digits, an email address. A single word (Will, May) may mean something else."""
    if len(name.split()) > 1:
        yield Known(person, name)
    if len(_digits(phone)) >= _LEAST_DIGITS:
        yield Known(person, phone)
    if email:
        yield Known(person, email)


class Roll:
    """Many words that name somebody, of which few occur in any one text: those are found here by
    their first word, so that a pattern has to be made of them alone."""

    def __init__(self, known: Iterable[Known]) -> None:
        self._numbers: list[tuple[int, str, Known]] = []
        self._by_first: dict[str, list[tuple[int, str, Known]]] = defaultdict(list)
        for place, each in enumerate(known):
            if _is_number(each.text):
                self._numbers.append((place, _digits(each.text), each))
            elif words := _alike(each.text):
                first = _WORD.search(words)
                self._by_first[first[0] if first else ""].append((place, words, each))

    def occurring(self, value: Any) -> list[Known]:
        """Those that a JSON-like value can hold, in their order. Some may not be in it."""
        text = "\n".join(_strings(value))
        words, digits = " ".join(text.split()).casefold(), _digits(text)
        result = [row for row in self._numbers if row[1] in digits]
        for first in {*_WORD.findall(words), ""}:
            result += [row for row in self._by_first.get(first, ()) if row[1] in words]
        return [each for _place, _words, each in sorted(result, key=lambda row: row[0])]


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for each in value.values():
            yield from _strings(each)
    elif isinstance(value, list | tuple):
        for each in value:
            yield from _strings(each)


def may_name(value: Any) -> bool:
    """Whether a JSON-like value holds a text in which `distinctive` could find anybody at all."""
    return any(
        (len(_digits(text)) >= _LEAST_DIGITS and not _DAY.match(text))
        or OPEN in text
        or "@" in text
        or any(c.isspace() for c in text)
        for text in _strings(value)
    )


Refer = Callable[[Known], str | None]
"""What stands in the place of words that name somebody; None: they stay."""


def replaced(value: Any, names: Names, refer: Refer, *, kept: bool = False) -> Any:
    """A JSON-like value with what names somebody replaced by what `refer` gives for it. Names of
    members and the program's own codes are left. `kept`: it has references already, which stay."""
    if isinstance(value, str):
        return _text(value, names, refer, kept)
    if isinstance(value, list | tuple):
        return [replaced(each, names, refer, kept=kept) for each in value]
    if isinstance(value, dict):
        return {name: _member(name, value, names, refer, kept) for name in value}
    return value


def _member(name: str, of: dict[str, Any], names: Names, refer: Refer, kept: bool) -> Any:
    value = of[name]
    if name in _CODES:
        return replaced(value, Names(()), refer, kept=kept)
    if not isinstance(value, str) or (kept and OPEN in value):
        return replaced(value, names, refer, kept=kept)
    who = _named_by_member(name, of, names) if value else None
    return (who and refer(who)) or replaced(value, names, refer, kept=kept)


def _named_by_member(name: str, of: dict[str, Any], names: Names) -> Known | None:
    """Who is meant by a member as such, whatever its words are."""
    if name in _OF_A_PERSON and {"name", "phone"} <= of.keys() and isinstance(of.get("id"), int):
        return Known(of["id"], of[name])
    if name in _WRITTEN_IN:
        return names.of(of[name]) or Known(NOBODY, of[name])
    return None


def _text(text: str, names: Names, refer: Refer, kept: bool) -> str:
    if kept and OPEN in text:
        pieces = _WHOLE_REFERENCE.split(text)  # every other one is a reference
        return "".join(
            piece if n % 2 else _text(piece, names, refer, kept=False)
            for n, piece in enumerate(pieces)
        )
    return "".join(
        each.replace(OPEN, OPEN + CLOSE)
        if isinstance(each, str)
        else (each.text if (refers := refer(each)) is None else refers)
        for each in names.split(text)
    )


def references(value: Any) -> set[int]:
    """The numbers of the rows that a JSON-like value refers to."""
    return {
        int(row) for text in _strings(value) for _person, row in _REFERENCE.findall(text) if row
    }


def readable(value: Any, words: Callable[[int, int], str]) -> Any:
    """A JSON-like value with its references replaced by what `words` gives for a person's number
    and a row's."""
    if isinstance(value, str):
        return _REFERENCE.sub(
            lambda match: words(int(match[1]), int(match[2])) if match[1] else OPEN, value
        )
    if isinstance(value, list):
        return [readable(each, words) for each in value]
    if isinstance(value, dict):
        return {name: readable(each, words) for name, each in value.items()}
    return value


def reference(person: int, row: int) -> str:
    """The reference to a person's words; row 0: they were erased."""
    return f"{OPEN}{person}.{row}{CLOSE}"


def _digits(text: str) -> str:
    return "".join(c for c in text if c in "0123456789")


def _is_number(text: str) -> bool:
    return not any(c.isalpha() for c in text) and len(_digits(text)) >= _LEAST_DIGITS


def _alike(text: str) -> str:
    """The same for the same words, however they are spaced or written large."""
    return _digits(text) if _is_number(text) else " ".join(text.split()).casefold()


def _pattern(text: str) -> str:
    if _is_number(text):
        return r"\+?\(?" + r"[\s().\-/]*".join(_digits(text))
    options = dict.fromkeys((text, text.casefold()))  # STRASSE for Straße
    words = "|".join(r"\s+".join(map(re.escape, way.split())) for way in options)
    several = len(text.split()) > 1 or "@" in text
    return f"(?i:{words})" if several else r"\s+".join(map(re.escape, text.split()))
