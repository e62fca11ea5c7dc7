"""Who calls the API in tests of the plumbing."""

import pytest
from django.core.cache import cache

from gearroom.core.models import User
from gearroom.core.rules.roles import Role
from tests.core.api.made import Caller, somebody


@pytest.fixture
def admin() -> User:
    """An administrator of every room; nobody has used up anything of their rate."""
    cache.clear()
    return somebody("admin", Role.ADMINISTRATOR)


@pytest.fixture
def call(admin: User) -> Caller:
    """A program that calls the API as that administrator."""
    return Caller(admin)
