"""The schema is valid by validators that did not make it, and means what it seems to mean."""

import json
from collections.abc import Iterator
from importlib.resources import files
from typing import Any

import jsonschema_rs
from drf_spectacular import validation
from jsonschema import Draft202012Validator, FormatChecker

from tests.core.api.test_schema import SCHEMA

DOCUMENT = json.loads(json.dumps(SCHEMA.raw_schema))
DEFINITIONS = {"components": DOCUMENT["components"]}
METHODS = {"get", "post", "put", "patch", "delete"}
HOLDERS = ("schemas", "properties", "oneOf", "anyOf", "allOf")
BOUNDS = {"pattern", "maxLength", "maximum", "maxItems"}
NO_SIZE = ("boolean", ["boolean", "null"], "null", "object")
Where = tuple[str, ...]


def schemas(value: Any = DOCUMENT, at: Where = ()) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every JSON Schema object of the document, with where it stands."""
    if isinstance(value, list):
        for index, inner in enumerate(value):
            yield from schemas(inner, (*at, str(index)))
    if not isinstance(value, dict):
        return
    _, parent, name = ("", "", "", *at)[-3:]
    if parent in HOLDERS or name in ("schema", "items", "additionalProperties"):
        yield "/".join(at), value
    for key, inner in value.items():
        if name == "properties" or key not in ("examples", "example", "default", "enum", "const"):
            yield from schemas(inner, (*at, key))


def faults(value: Any, schema: dict[str, Any]) -> list[str]:
    """What a schema says against a value."""
    whole = {**DEFINITIONS, **schema}
    checker = Draft202012Validator(whole, format_checker=FormatChecker())
    return [error.message for error in checker.iter_errors(value)]


def operations() -> dict[str, dict[str, Any]]:
    return {
        f"{method} {path}": operation
        for path, methods in DOCUMENT["paths"].items()
        for method, operation in methods.items()
        if method in METHODS
    }


def test_the_schemas_are_looked_at_at_all() -> None:
    assert len(list(schemas())) > 2000 and len(operations()) > 100


def test_the_document_is_what_the_open_standard_says() -> None:
    standard = json.loads(files(validation).joinpath("openapi_3_1_schema.json").read_text())
    errors = jsonschema_rs.Draft202012Validator(standard).iter_errors(DOCUMENT)
    assert [(list(error.instance_path), error.message) for error in errors] == []


def test_each_schema_is_one() -> None:
    for where, schema in schemas():
        assert jsonschema_rs.meta.is_valid(schema), where


def test_what_is_taken_where_nothing_is_sent_may_be_sent() -> None:
    wrong = [
        (where, schema["default"], found)
        for where, schema in schemas()
        if "default" in schema and (found := faults(schema["default"], schema))
    ]
    assert wrong == []


def test_no_value_meets_two_of_which_one_may_be_met() -> None:
    """`oneOf` refuses what meets two of its schemas: it stands only where they cannot overlap."""
    for where, schema in schemas():
        for one in schema.get("oneOf", ()):
            rest = [other for other in schema["oneOf"] if other is not one]
            apart = one == {"type": "null"} or {"type": "null"} in rest or "required" in one
            assert apart, where


def test_an_enumeration_that_may_be_null_or_empty_has_that_value() -> None:
    for where, schema in schemas():
        if "enum" in schema and "null" in schema.get("type", ()):
            assert None in schema["enum"], where


def test_nothing_but_the_standard_s_words_stands_in_a_schema() -> None:
    for where, schema in schemas():
        assert not [word for word in schema if word.startswith("x-")], where


def test_operations_have_names_of_their_own_and_the_parameters_of_their_paths() -> None:
    names = [operation["operationId"] for operation in operations().values()]
    assert len(names) == len(set(names))
    for label, operation in operations().items():
        in_path = {p["name"] for p in operation.get("parameters", ()) if p["in"] == "path"}
        assert in_path == {part[1:-1] for part in label.split("/") if part.startswith("{")}, label


def test_every_body_and_every_path_has_an_example_of_its_form() -> None:
    for label, operation in operations().items():
        for kind, content in operation.get("requestBody", {}).get("content", {}).items():
            if kind == "application/json":
                assert faults(content["example"], content["schema"]) == [], label
        for parameter in operation.get("parameters", ()):
            if parameter["in"] == "path":
                assert faults(parameter["example"], parameter["schema"]) == [], label


def test_an_example_says_more_than_that_nothing_has_to_be_said() -> None:
    for label, operation in operations().items():
        content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
        name = content.get("schema", {}).get("$ref", "").rpartition("/")[2]
        assert content.get("example", True) or name == "ActBodyRequest", label


def test_every_value_that_is_sent_has_bounds() -> None:
    """Texts a length or a form, numbers a least and a most, lists a most."""
    sent = dict(_sent())
    assert len(sent) > 400
    for where, schema in sent.items():
        for one in schema.get("anyOf", [schema]):
            types = one.get("type", ())
            if {"enum", "const", "format", "$ref", "allOf", "oneOf"} & set(one) or types in NO_SIZE:
                continue
            assert BOUNDS & set(one), where


def _sent() -> Iterator[tuple[str, dict[str, Any]]]:
    for where, schema in schemas():
        of_body = "Request/properties/" in where or "/requestBody/" in where
        if of_body and where.split("/")[-2] == "properties":
            yield where, schema
    for label, operation in operations().items():
        for parameter in operation.get("parameters", ()):
            if parameter["in"] == "query":  # what a path names is there, or it is a 404
                yield f"{label} {parameter['name']}", parameter["schema"]


def test_what_has_to_be_there_is_described() -> None:
    for name, schema in DOCUMENT["components"]["schemas"].items():
        assert set(schema.get("required", ())) <= set(schema.get("properties", ())), name
