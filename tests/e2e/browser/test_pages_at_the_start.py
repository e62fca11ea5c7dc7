"""The pages of an installation that is nobody's yet, as fit for all as the others."""

from collections.abc import Callable

import pytest

from tests.e2e.browser.test_pages_fit_for_all import visit
from tests.e2e.pages import chromium
from tests.site.every_page import AT_THE_START
from tests.web import Web

pytestmark = [
    pytest.mark.server,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


def test_the_first_pages_of_an_installation_are_fit_for_all(
    need: Callable[[str], str],
    open_database: str,
    make_web: Callable[[], Web],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
    program = need("chromium")
    need("axe-core")
    server = make_web().start()
    with chromium(program) as browser:
        page = browser.new_page(viewport={"width": 320, "height": 640}, reduced_motion="reduce")
        found = visit(page, server.url, AT_THE_START)

    assert not found, "\n".join(found)
