"""Which words are to be announced: those that are other than what was last announced."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Protocol, TypeVar


class Announcement(Protocol):
    """A word on a subject. `unless`: the word that holds before anything is announced of it; None:
    none does, so its first word is announced."""

    @property
    def subject(self) -> str: ...

    @property
    def word(self) -> str: ...

    @property
    def unless(self) -> str | None: ...


W = TypeVar("W", bound=Announcement)


def changed(words: Iterable[W], announced: Mapping[str, str]) -> Iterator[tuple[W, str | None]]:
    """The words that are other than what was last announced of their subjects (`announced`), each
    with that. One subject may have one word."""
    for word in words:
        before = announced.get(word.subject, word.unless)
        if word.word != before:
            yield word, before
