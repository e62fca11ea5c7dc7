"""What has to be there for a test to go on."""

from typing import TypeVar

T = TypeVar("T")


def present(value: T | None) -> T:
    """The value; the test fails where there is none."""
    assert value is not None
    return value
