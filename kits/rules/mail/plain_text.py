"""A letter as it is read: what it opens with, parts with rows, and its plain text (RFC 5322)."""

import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

WIDTH = 78
"""Characters a line, as RFC 5322 §2.1.1 asks; addresses are longer where they have to be."""


@dataclass(frozen=True)
class VerdictLine:
    """A kit's verdict in words, and apart from it `judged`, the day and trip that it is for, and
    what else stands `beside` it. The rest marks it for programs that read the page: the kit's name,
    the day in ISO form, the trip's id or nothing, and the verdict's slug."""

    text: str
    judged: str
    beside: str = ""
    kit: str = ""
    through: str = ""
    trip: str = ""
    verdict: str = ""

    def __str__(self) -> str:
        """As it stands in plain text."""
        verdict = f"{self.text} ({self.judged})"
        return f"{verdict} · {self.beside}" if self.beside else verdict


@dataclass(frozen=True)
class LetterRow:
    """One thing to know or do, the address of the page that settles it, how a kit stands, and
    details."""

    text: str
    url: str = ""
    lines: tuple[str, ...] = ()
    verdicts: tuple[VerdictLine, ...] = ()


@dataclass(frozen=True)
class Part:
    """Rows under a heading."""

    heading: str
    rows: tuple[LetterRow, ...]


@dataclass(frozen=True)
class Letter:
    """What a mail says: `alarms` stand above all, then `first`, then the parts."""

    subject: str
    alarms: tuple[LetterRow, ...] = ()
    first: tuple[LetterRow, ...] = ()
    parts: tuple[Part, ...] = ()
    closing: tuple[str, ...] = ()


SHORT_WORDS = 150
"""So many words are read aloud in a minute."""


def words(letter: Letter) -> int:
    """How many words of a letter are read aloud: its addresses and dashes are not."""
    read = (word for word in as_text(letter).split() if "://" not in word)
    return sum(any(c.isalnum() for c in word) for word in read)


def one_line(text: str) -> str:
    """A text without line breaks and control characters, for a header."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def as_text(letter: Letter) -> str:
    """The plain text of a letter, wrapped at 78 characters except addresses."""
    blocks = ["\n".join(_row(row)) for row in (*letter.alarms, *letter.first)]
    for part in letter.parts:
        lines = [*_wrapped(part.heading.upper())]
        for row in part.rows:
            lines += _row(row, "- ", "  ")
        blocks.append("\n".join(lines))
    if letter.closing:
        blocks.append(
            "-- \n" + "\n".join(line for text in letter.closing for line in _wrapped(text))
        )
    return "\n\n".join(blocks) + "\n"


def _row(row: LetterRow, bullet: str = "", indent: str = "") -> list[str]:
    lines = list(_wrapped(row.text, bullet, indent))
    for line in (*map(str, row.verdicts), *row.lines):
        lines += _wrapped(line, f"{indent}- ", f"{indent}  ")
    if row.url:
        lines.append(indent + row.url)
    return lines


def _wrapped(text: str, first: str = "", rest: str = "") -> Iterator[str]:
    words = " ".join(_short(text.split()))
    yield from textwrap.wrap(
        words,
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [first.rstrip()]


def _short(words: Iterable[str]) -> Iterator[str]:
    """Words no longer than a line holds, but for addresses."""
    for word in words:
        if "://" in word:
            yield word
        else:
            yield from (word[i : i + WIDTH - 8] for i in range(0, len(word), WIDTH - 8))
