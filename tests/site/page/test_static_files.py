"""Static files that templates, scripts and styles name are there."""

import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

from tests.keeper import PROJECT

STATIC = PROJECT / "gearroom" / "site" / "static"
SCRIPTS = sorted(STATIC.rglob("*.js"))
_IMPORT = re.compile(r'^(?:import|export)\b[^;"]*"(\.[^"]+)"', re.MULTILINE)
_NAMED = re.compile(r'{% static "(site/[^"]+)" %}')


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: str(path.relative_to(STATIC)))
def test_what_a_script_imports_is_there(script: Path) -> None:
    named = _IMPORT.findall(script.read_text())
    assert [each for each in named if not (script.parent / each).is_file()] == []


def test_what_a_template_names_is_there() -> None:
    named = {
        each
        for path in (PROJECT / "gearroom" / "site" / "templates").rglob("*.html")
        for each in _NAMED.findall(path.read_text())
    }
    assert len(named) > 20
    assert [each for each in sorted(named) if not finders.find(each)] == []
