"""How many: what counts as a number of units.

Units are whole base units of an item. A number that reaches a rule or the stock book has passed
through here once, so nothing further in needs to ask again.
"""

from __future__ import annotations

MOST = 1_000_000
"""The most units one line of one act may speak of; more is a slip of the finger."""


class QuantityError(ValueError):
    """A number of units that cannot be. The message says what to give instead."""

    def __init__(self, value: object, message: str) -> None:
        super().__init__(message)
        self.value = value


def units(value: object, *, least: int = 1, what: str = "the number of units") -> int:
    """Return `value` as a number of units, `least` to `MOST`.

    `least` is 1 for what moves and 0 for what a count finds. Only an `int` will do: `True` is an
    answer and not a number, "3" is text, and 2.0 is refused like 2.5, so that the same request
    never means two things. `what` names the number in the message.

    Raises `QuantityError`.
    """
    if isinstance(value, bool) or not isinstance(value, int):
        if isinstance(value, float) and not value.is_integer():
            told = f"{what} is {value}: parts of a unit are not counted. Give a whole number."
        else:
            told = f"{what} must be a whole number from {least} to {MOST:,}, written as a number."
        raise QuantityError(value, told)
    if value < least:
        told = f"{what} is {value}: it must be {least} or more."
        if value < 0:
            told += " To put a mistake right, reverse its entry."
        raise QuantityError(value, told)
    if value > MOST:
        raise QuantityError(value, f"{what} is more than {MOST:,}. Look at the number again.")
    return value
