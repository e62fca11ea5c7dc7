"""Every problem that the program can answer with is explained on its page."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from gearroom.core.acts import problems
from gearroom.core.problem_codes import KINDS
from kits.services.lookup.holders import KitIsOut

PROJECT = Path(__file__).resolve().parents[3]
CLASSES = {**vars(problems), "KitIsOut": KitIsOut}
FAMILY = {name for name, thing in CLASSES.items() if isinstance(thing, type)}


@cache
def codes() -> list[tuple[str, Any, Any]]:
    """(place, class, code) of every problem made in the source with its code written out."""
    return list(_codes())


def _codes() -> Iterator[tuple[str, Any, Any]]:
    for app in ("gearroom", "kits", "labels"):
        for file in sorted((PROJECT / app).rglob("*.py")):
            for node in ast.walk(ast.parse(file.read_text())):
                if not isinstance(node, ast.Call):
                    continue
                name = getattr(node.func, "id", getattr(node.func, "attr", ""))
                named = [k.value for k in node.keywords if k.arg == "code"]
                first = node.args[:1] if name in FAMILY - {"Invalid", "NotFound"} else []
                for value in named if name == "Invalid" else first:
                    if isinstance(value, ast.Constant):
                        yield f"{file.relative_to(PROJECT)}:{node.lineno}", name, value.value


def test_the_source_is_read_at_all() -> None:
    found = {code for _, _, code in codes()}
    assert len(found) > 60 and "kit-is-out" in found and "malformed-body" in found


def test_every_code_that_is_raised_is_explained() -> None:
    assert [(place, code) for place, _, code in codes() if code not in KINDS] == []


def test_every_code_has_the_status_of_its_class() -> None:
    wrong = [
        (place, code)
        for place, name, code in codes()
        if code in KINDS and name != "Problem" and KINDS[code].status != CLASSES[name].status
    ]
    assert wrong == []


@pytest.mark.parametrize("code", KINDS)
def test_an_explanation_is_two_sentences_that_a_person_reads(code: str) -> None:
    kind = KINDS[code]
    assert not kind.title.endswith(".") and kind.what_to_do.endswith(".")
    assert 400 <= kind.status < 600
    assert code.replace("-", "").isalpha() and code == code.lower()
