"""What tests with a browser have in common."""

import pytest


@pytest.fixture(autouse=True)
def _database_beside_the_browser(monkeypatch: pytest.MonkeyPatch) -> None:
    """Playwright's loop runs in the test's thread, which Django otherwise takes for async code."""
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
