"""Templates are laid out to be read."""

from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[3]
TEMPLATES = [
    path for app in ("gearroom", "kits", "labels") for path in (PROJECT / app).rglob("*.html")
]


@pytest.mark.parametrize("path", TEMPLATES, ids=str)
def test_a_template_has_at_most_120_lines_of_120_characters(path: Path) -> None:
    lines = path.read_text().splitlines()

    assert len(lines) <= 120
    assert max(map(len, lines)) <= 120
