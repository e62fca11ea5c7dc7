"""What services refuse."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from gearroom.core.acts import Problem


@contextmanager
def refused(code: str, status: int = 409) -> Iterator[Any]:
    """What is done in the block is refused by a service with this problem."""
    with pytest.raises(Problem) as caught:
        yield caught
    assert (caught.value.status, caught.value.code) == (status, code), caught.value.detail
