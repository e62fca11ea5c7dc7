"""A folder for mails, and the small school, one of whose people gets the weekly email."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from pytest_django import Settings

from gearroom.core.models import Person
from kits.services.kits import holds
from tests.kits import factories
from tests.kits.factories import World, act
from tests.kits.mail.weeks import MONDAY


@pytest.fixture
def outbox(tmp_path: Path, settings: Settings) -> Any:
    settings.EMAIL_OUTBOX_DIR = tmp_path / "outbox"
    settings.EMAIL_BACKEND = "gearroom.core.mail.EmlBackend"
    settings.PUBLIC_URL = "https://gear.example.org"
    return settings.EMAIL_OUTBOX_DIR


@pytest.fixture
def w(outbox: Any) -> World:
    world = factories.world()
    holds.lay_up(act(world.keeper), world.day_02)  # empty, and quiet
    Person.objects.filter(pk=world.instructor.pk).update(
        email="ines@example.org", created_at=MONDAY - timedelta(days=400)
    )
    return world
