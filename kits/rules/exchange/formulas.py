"""Texts in a file that a spreadsheet opens: none of them is taken for a formula.

A text that a spreadsheet might work out begins with an apostrophe in the file. One that begins with
apostrophes before such a sign gets one more, so that taking one off again always gives the text.
"""

import re

_FORMULA = re.compile(r"'*[=+\-@\t\r]")
_NEUTRAL = re.compile(r"'+[=+\-@\t\r]")


def neutral(text: str) -> str:
    """A text as it stands in a file, which no spreadsheet takes for a formula."""
    return f"'{text}" if _FORMULA.match(text) else text


def restored(text: str) -> str:
    """The text that `neutral` made this of; one that it did not make is left as it is."""
    return text[1:] if _NEUTRAL.match(text) else text
