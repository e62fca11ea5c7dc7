"""How many: what counts as a number of units.

Units are whole base units of an item. A number that reaches a rule or the stock book has passed
through here once, so nothing further in needs to ask again.
"""

from gearroom.core.rules.sentences import InvalidValue, say

MOST = 1_000_000
"""The most units one line of one act may speak of; more is a slip of the finger."""


def units(value: object, *, least: int = 1) -> int:
    """Return `value` as a number of units, `least` to `MOST`.

    `least` is 1 for what moves and 0 for what a count finds. Only an `int` will do: `True` is an
    answer and not a number, "3" is text, and 2.0 is refused like 2.5, so that the same request
    never means two things.

    Raises InvalidValue, which says what to give instead.
    """
    if isinstance(value, float) and not value.is_integer():
        problem = say(
            "The number of units is %(value)s, but it must be a whole number.",
            value=value,
        )
    elif isinstance(value, bool) or not isinstance(value, int):
        problem = say(
            "The number of units must be a whole number from %(least)s to %(most)s, given as a "
            "number and not as text.",
            least=least,
            most=MOST,
        )
    elif value < 0:
        problem = say(
            "The number of units is %(value)s, but it must be %(least)s or more. To correct a "
            "mistake, undo the entry instead.",
            value=value,
            least=least,
        )
    elif value < least:
        problem = say(
            "The number of units is %(value)s, but it must be %(least)s or more.",
            value=value,
            least=least,
        )
    elif value > MOST:
        problem = say(
            "The number of units is more than %(most)s. Check the number.",
            most=MOST,
        )
    else:
        return value
    raise InvalidValue(problem)
