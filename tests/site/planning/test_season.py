"""A season on its page and on paper."""

import pypdfium2
import pytest

from kits.services.custody.use import UseLine
from kits.services.text.planning.planning_texts import CAUTION
from tests.kits import factories as make
from tests.kits.planning.school import past, serve
from tests.labels.printing.printed import texts
from tests.site.browsing import browser, text_of

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),
]


@pytest.fixture
def world() -> make.World:
    made = make.world()
    serve(made)
    return made


@pytest.mark.parametrize("query", ["", "?season=1999-9", "?season=", "?print="])
def test_it_stands_without_any_trip_and_has_the_caution(world: make.World, query: str) -> None:
    answer = browser(world.keeper).get(f"/season/{query}")
    assert answer.status_code == 200
    assert str(CAUTION) in text_of(answer)


def test_page_and_paper_say_the_same_and_the_paper_is_one_page(world: make.World) -> None:
    past(world, UseLine(world.dressing, 2))
    client = browser(world.keeper)
    page, answer = text_of(client.get("/season/")), client.get("/season/?print=1")
    assert answer["Content-Type"] == "application/pdf"
    assert len(pypdfium2.PdfDocument(answer.content)) == 1
    (sheet,) = texts(answer.content)
    for line in ("Kits ready to go", "small wound: 1", "What changes, and why"):
        assert line in page
        assert line in sheet
    assert str(CAUTION)[:60] in sheet


def test_another_rooms_kits_are_not_in_it(world: make.World) -> None:
    past(world, UseLine(world.dressing, 2))
    text = text_of(browser(world.stranger).get("/season/"))
    assert "DAY-01" not in text
    assert "small wound: 1" not in text
