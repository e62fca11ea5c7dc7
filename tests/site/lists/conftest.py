"""A small school with a draft of its kit list."""

import pytest

from kits.models import PackingListVersion
from kits.services.lists import drafts
from tests.kits import factories as make


@pytest.fixture
def world() -> make.World:
    return make.world()


@pytest.fixture
def draft(world: make.World) -> PackingListVersion:
    """Version 2 of the small school's list, a copy of version 1."""
    return drafts.new_draft(make.act(world.instructor), world.version.packing_list)
