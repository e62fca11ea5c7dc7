"""One verdict has one set of words: no text says of a kit what an earlier edition said."""

import ast
import re
from collections.abc import Iterator
from functools import cache

from tests import messages

OLD = re.compile(
    r"\brescue\b|\bfit to go\b|(?<!does )(?<!do )(?<!did )(?<!may )(?<!will )\bnot fit\b"
    r"|\bmay go short\b|to be good through",
    re.IGNORECASE,
)


@cache
def sentences() -> frozenset[tuple[str, str]]:
    """What people read: the texts that are translated, and what the API says of itself."""
    return frozenset(_sentences())


def _sentences() -> Iterator[tuple[str, str]]:
    for text, places in messages.texts().items():
        for said in filter(None, (text.text, text.plural)):
            yield places[0][0], said
    for app in messages.APPS:
        for file in (messages.PROJECT / app).rglob("*.py"):
            if "migrations" not in file.parts:
                for said in constants(ast.parse(file.read_text())):
                    yield str(file.relative_to(messages.PROJECT)), said


def constants(tree: ast.Module) -> Iterator[str]:
    """The sentences among a module's strings; not what stands alone, as docstrings do."""
    alone = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    strings = (node for node in ast.walk(tree) if isinstance(node, ast.Constant))
    for node in strings:
        if id(node) not in alone and isinstance(node.value, str) and " " in node.value:
            yield node.value


def test_no_text_says_of_a_kit_what_is_no_word_of_the_verdict() -> None:
    found = {(file, said) for file, said in sentences() if OLD.search(said)}
    assert not found


def test_the_texts_are_those_of_the_verdict_and_of_an_emergency() -> None:
    said = {text for _file, text in sentences()}
    assert {"Ask first: %(why)s", "Do not take: %(why)s", "Emergency: take it now"} <= said
