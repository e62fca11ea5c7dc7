"""The schema explains itself: every field, parameter, header and group of operations."""

from collections.abc import Iterator
from typing import Any

from gearroom.core.api.openapi.glossary import FIELDS, PARAMETERS, TAGS, may_be_null
from gearroom.core.rules.roles import Scope
from tests.core.api.test_schema_valid import DOCUMENT, operations

COMPONENTS = DOCUMENT["components"]


def bodies() -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema of an object, with its name or its operation's."""
    yield from COMPONENTS["schemas"].items()
    for label, operation in operations().items():
        for content in operation.get("requestBody", {}).get("content", {}).values():
            yield label, content["schema"]


def test_every_field_is_described() -> None:
    missing = [
        f"{where}.{name}"
        for where, schema in bodies()
        for name, field in schema.get("properties", {}).items()
        if not field.get("description")
    ]
    assert missing == []


def test_where_there_may_be_null_it_is_said_what_that_means() -> None:
    missing = [
        f"{where}.{name}"
        for where, schema in bodies()
        for name, field in schema.get("properties", {}).items()
        if may_be_null(field) and "null" not in field["description"].lower()
    ]
    assert missing == []


def test_every_parameter_is_described() -> None:
    missing = [
        f"{label} {parameter['name']}"
        for label, operation in operations().items()
        for parameter in operation.get("parameters", ())
        if not parameter.get("description")
    ]
    assert missing == []


def test_every_answer_header_and_group_is_described() -> None:
    for label, operation in operations().items():
        assert all("$ref" in one or one["description"] for one in operation["responses"].values())
        assert set(operation["tags"]) <= {tag["name"] for tag in DOCUMENT["tags"]}, label
    assert all(header["description"] for header in COMPONENTS["headers"].values())
    assert [tag["name"] for tag in DOCUMENT["tags"] if not tag["description"]] == []


def test_every_example_of_a_problem_stands_at_an_operation() -> None:
    answers = [*COMPONENTS["responses"].values()]
    for operation in operations().values():
        answers += operation["responses"].values()
    shown = {
        name
        for answer in answers
        for content in answer.get("content", {}).values()
        for name in content.get("examples", {})
    }
    assert set(COMPONENTS["examples"]) <= shown


def test_every_operation_that_needs_a_token_says_with_which_scope() -> None:
    silent = [
        label
        for label, operation in operations().items()
        if {} not in operation["security"] and "A token needs " not in operation["description"]
    ]
    assert silent == []


def test_nothing_is_explained_that_is_not_there() -> None:
    fields: set[str] = set()
    for where, schema in COMPONENTS["schemas"].items():
        name = where.removesuffix("Request").removeprefix("Patched")
        for field in schema.get("properties", {}):
            fields |= {field, f"{name}.{field}", f"item+{field}"}
    for _, schema in bodies():
        fields |= set(schema.get("properties", {}))
    assert set(FIELDS) - fields == set()
    assert set(TAGS) - {tag["name"] for tag in DOCUMENT["tags"]} == set()
    names = {p["name"] for one in operations().values() for p in one.get("parameters", ())}
    assert {key.rpartition("/")[2].strip("{}") for key in PARAMETERS} - names == set()


def test_every_scope_of_a_token_is_explained() -> None:
    explained = COMPONENTS["securitySchemes"]["token"]["description"]
    assert [scope for scope in Scope if f"`{scope}`:" not in explained] == []
