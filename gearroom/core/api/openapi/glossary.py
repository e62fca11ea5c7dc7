"""What the words of the API mean: descriptions of fields and parameters without one of their own.

A word means one thing wherever it stands, so it is explained once: each app has a module
`api.glossary` that adds to these. A field's own `help_text` wins; what is particular to one
component stands under `Component.field` (a request's without `Request` and `Patched`), the name of
an item beside its id under `item+name`. A pair is what a value means, and what null does.
"""

from collections.abc import Iterator
from typing import Any

from django.utils.module_loading import autodiscover_modules

Meaning = str | tuple[str, str]
FIELDS: dict[str, Meaning] = {}
"""By the name of a field."""
PARAMETERS: dict[str, str] = {}
"""By the name of a query parameter; those of a path in braces, `{id}` with the word before it."""
TAGS: dict[str, str] = {}
"""Of the groups of operations, by the first word of their paths."""

Part = dict[str, Any]


def describe(result: Part, **_: Any) -> Part:
    """The finished document with a description of every field, parameter and tag."""
    autodiscover_modules("api.glossary")
    for name, schema in result["components"]["schemas"].items():
        _describe_fields(name.removesuffix("Request").removeprefix("Patched"), schema)
    used = set()
    for path, methods in result["paths"].items():
        for operation in methods.values():
            used.update(operation["tags"])
            for parameter in operation.get("parameters", ()):
                _describe_parameter(path, parameter)
            for schema in _schemas_inside(operation):
                _describe_fields("", schema)
    result["tags"] = [{"name": tag, "description": TAGS.get(tag, "")} for tag in sorted(used)]
    return result


def _schemas_inside(operation: Part) -> Iterator[Part]:
    """Bodies that are written out in the operation."""
    for content in operation.get("requestBody", {}).get("content", {}).values():
        yield content["schema"]


def _describe_fields(component: str, schema: Part) -> None:
    fields = schema.get("properties", {})
    for name, field in fields.items():
        beside = f"item+{name}" if fields.get("item", {}).get("type") == "integer" else ""
        meaning = FIELDS.get(f"{component}.{name}") or FIELDS.get(beside) or FIELDS.get(name)
        text, null = (meaning, "") if isinstance(meaning, str) else meaning or ("", "")
        text = field.get("description") or text
        if text and null and may_be_null(field) and "null" not in text.lower():
            text = f"{text.rstrip('.')}. Null: {null}."
        if text:
            field["description"] = text


def may_be_null(schema: Part) -> bool:
    """Whether a value may be null."""
    return "null" in schema.get("type", ()) or any(
        may_be_null(one) for many in ("oneOf", "anyOf") for one in schema.get(many, ())
    )


def _describe_parameter(path: str, parameter: Part) -> None:
    if parameter.get("description"):
        return
    name = parameter["name"]
    keys = [name]
    if parameter["in"] == "path":
        before = path.split("{" + name + "}")[0].strip("/").rpartition("/")[2]
        keys = [f"{before}/{{{name}}}", f"{{{name}}}"]
    for key in keys:
        if key in PARAMETERS:
            parameter["description"] = PARAMETERS[key]
            return
