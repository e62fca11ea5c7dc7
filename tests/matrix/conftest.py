"""The school of the matrix: made once in a database of its own, and as it was before each case."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from django.core.cache import cache
from django.db import transaction
from django.test import Client

from gearroom.core.services.accounts import shared_devices
from tests.matrix.identities import Asker, askers
from tests.matrix.school.school import school
from tests.matrix.school.sides import School


@dataclass
class Stage:
    """The school, who asks, and the client that they ask with."""

    url: str
    school: School
    askers: dict[str, Asker]
    client: Client


@pytest.fixture(scope="session")
def _stages(_engines: Any, django_db_blocker: Any) -> Iterator[dict[str, Stage]]:
    made: dict[str, Stage] = {}
    yield made
    for name, stage in made.items():
        _engines[name].drop(stage.url)


@pytest.fixture
def stage(
    engine: str,
    _engines: Any,
    _stages: dict[str, Stage],
    django_db_blocker: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Stage]:
    """The school in this process; every case is taken back with `taken_back`."""
    monkeypatch.setattr(shared_devices, "LOCKS_AFTER", timedelta(days=1))
    with django_db_blocker.unblock():
        if engine not in _stages:
            _stages[engine] = _made(_engines[engine])
        else:
            _engines[engine].open(_stages[engine].url)
        yield _stages[engine]
        _engines[engine].open_home()


def _made(engine: Any) -> Stage:
    url = engine.copy()
    engine.open(url)
    cache.clear()
    with transaction.atomic():
        made = school()
    client = Client(raise_request_exception=False)
    return Stage(url, made, askers(made), client)


@contextmanager
def taken_back() -> Iterator[None]:
    """A transaction that is taken back at its end, with whatever was counted of the rates."""
    cache.clear()
    with transaction.atomic():
        yield
        transaction.set_rollback(True)
