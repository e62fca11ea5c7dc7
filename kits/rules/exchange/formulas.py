"""Texts in a file that a spreadsheet opens: none of them is taken for a formula.

A text that a spreadsheet might work out gets an apostrophe before the sign that a formula begins
with. Spreadsheets split a file by the separator of their country, whatever it was written with: so
does such a sign after a semicolon, a tab or a new line within a text. One that has apostrophes
there already gets one more, so that taking one off again always gives the text.
"""

import re

_SIGNS = "=+@\uff1d\uff0b\uff20\uff0d-"
"""The same in full width too."""
_BEGINNING = re.compile(rf"""(?:^|(?<=[^;\s"']))(?P<before>[;\s"']*)(?P<sign>[{_SIGNS}])""")
"""A sign with all separators, quotation marks and space before it."""
_SEPARATORS = frozenset(";\t\r\n")
_SPACE = re.compile(r"'*[\t\r\n]")
_NEUTRAL_SPACE = re.compile(r"'+[\t\r\n]")
"""What some take off before they look whether it is a formula."""


def neutral(text: str) -> str:
    """A text as it stands in a file, which no spreadsheet takes for a formula."""
    text = _BEGINNING.sub(_marked, text)
    return f"'{text}" if _SPACE.match(text) else text


def restored(text: str) -> str:
    """The text that `neutral` made this of; one that it did not make is left as it is."""
    text = text[1:] if _NEUTRAL_SPACE.match(text) else text
    return _BEGINNING.sub(_unmarked, text)


def _marked(match: re.Match[str]) -> str:
    return f"{match['before']}'{match['sign']}" if _begins_a_cell(match) else match[0]


def _unmarked(match: re.Match[str]) -> str:
    is_marked = _begins_a_cell(match) and match["before"].endswith("'")
    return match["before"][:-1] + match["sign"] if is_marked else match[0]


def _begins_a_cell(match: re.Match[str]) -> bool:
    return match.start() == 0 or not _SEPARATORS.isdisjoint(match["before"])
