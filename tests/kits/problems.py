"""Asserting on problems."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from gearroom.core.problems import Problem


def is_problem(answer: Any, status: int, code: str) -> dict[str, Any]:
    """The answer of a door is this problem; returns it."""
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    body: dict[str, Any] = json.loads(answer.content)
    assert (body["status"], body["code"]) == (status, code), body
    assert body["detail"]
    return body


@contextmanager
def refused(code: str, status: int = 409) -> Iterator[Any]:
    """What is done in the block is refused by a service with this problem."""
    with pytest.raises(Problem) as caught:
        yield caught
    assert (caught.value.status, caught.value.code) == (status, code), caught.value.detail
