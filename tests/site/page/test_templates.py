"""Templates are laid out to be read, and what they name is there."""

import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.template.loader import get_template

PROJECT = Path(__file__).resolve().parents[3]
TEMPLATES = [
    path for app in ("gearroom", "kits", "labels") for path in (PROJECT / app).rglob("*.html")
]


@pytest.mark.parametrize("path", TEMPLATES, ids=str)
def test_a_template_has_at_most_120_lines_of_120_characters(path: Path) -> None:
    lines = path.read_text().splitlines()

    assert len(lines) <= 120
    assert max(map(len, lines)) <= 120


def named(pattern: str) -> list[tuple[str, str]]:
    """What templates name, each with the template."""
    return [
        (str(path.relative_to(PROJECT)), name)
        for path in TEMPLATES
        for name in re.findall(pattern, path.read_text())
    ]


def test_the_files_that_templates_name_are_there() -> None:
    files = named(r'{% static "([^"]+)"')
    parts = named(r'{% (?:include|extends) "([^"]+)"')
    assert len(files) > 50
    assert len(parts) > 200

    assert [each for each in files if not finders.find(each[1])] == []
    for _, name in parts:
        get_template(name)  # raises TemplateDoesNotExist
