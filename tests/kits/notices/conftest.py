"""The small school, whose people have addresses and whose mails go into a folder."""

from pathlib import Path

import pytest
from pytest_django import Settings

from gearroom.core.models import Person
from tests.kits import factories
from tests.kits.factories import World


@pytest.fixture
def w(tmp_path: Path, settings: Settings) -> World:
    settings.EMAIL_OUTBOX_DIR = tmp_path / "outbox"
    settings.EMAIL_BACKEND = "gearroom.core.mail.EmlBackend"
    settings.PUBLIC_URL = "https://gear.example.org"
    world = factories.world()
    for person in (world.instructor, world.keeper, world.guide):
        Person.objects.filter(pk=person.pk).update(email=f"{person.name.lower()}@example.org")
    return world
