"""What the schema gives as examples of problems with scans is what is answered."""

from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from gearroom.core.api.openapi.problem_examples import examples
from labels.api.scan_problems import PROBLEMS
from tests.kits import factories as make
from tests.kits.problem_examples import without_what_varies
from tests.labels.scan import scanned as at

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.parametrize("engine", ["sqlite"], indirect=True),  # of the schema
]


class Asked:
    """A keeper's scanner."""

    def __init__(self, labels: at.Labelled) -> None:
        self.labels = labels
        self.call = make.caller(labels.world.keeper)

    def scan(self, *texts: str, intent: str = "check-out") -> Any:
        """Scan these texts."""
        return self.call.post("scans/", {"texts": texts, "intent": intent})

    def send(self, picture: bytes) -> Any:
        """Send a picture, only to know what is in it."""
        image = SimpleUploadedFile("label.jpg", picture)
        headers = {"authorization": f"Bearer {self.call.secret}"}
        return self.call.client.post("/api/v1/scans/", {"image": image}, headers=headers)


def _two_tags(asked: Asked) -> Any:
    world, labels = asked.labels.world, asked.labels
    other = at.label(world.instructor, world)
    return asked.scan(labels.kit.code, labels.tag.code, other.code)


def _another_for_it(asked: Asked) -> Any:
    at.promised(asked.labels, asked.labels.world.day_02, asked.labels.world.guide)
    return asked.scan(asked.labels.kit.code, asked.labels.tag.code)


ASKED: dict[str, Callable[[Asked], Any]] = {
    "code-wrong": lambda asked: asked.scan(at.wrong(asked.labels.kit.code)),
    "label-not-bound": lambda asked: asked.scan(asked.labels.blank.code),
    "makers-code-wrong": lambda asked: asked.scan("(01)09501101530004", intent="receive"),
    "not-ours": lambda asked: asked.scan("https://example.org/menu"),
    "not-wanted-here": lambda asked: asked.scan(asked.labels.tag.code, intent="count"),
    "nothing-read": lambda asked: asked.send(at.jpeg(Image.new("L", (64, 48), 200))),
    "picture-broken": lambda asked: asked.send(at.jpeg(Image.new("L", (64, 48), 200))[:300]),
    "which-person": _two_tags,
    "another-kit-is-reserved": _another_for_it,
}


def problem_of(answer: Any) -> dict[str, Any]:
    """The problem with the first of what was scanned, else with the request."""
    whole = answer.json()
    problem: dict[str, Any] = whole["outcomes"][0]["problem"] if "outcomes" in whole else whole
    return {name: value for name, value in problem.items() if name != "instance"}


def test_there_is_an_example_for_each_that_is_asked_for() -> None:
    assert set(ASKED) == {code for code, _, _ in PROBLEMS}


@pytest.mark.parametrize("code", ASKED)
def test_it_is_answered_as_in_the_example(code: str, engine: str) -> None:
    cache.clear()
    problem = problem_of(ASKED[code](Asked(at.labelled())))
    assert without_what_varies(problem) == without_what_varies(examples()[code])
