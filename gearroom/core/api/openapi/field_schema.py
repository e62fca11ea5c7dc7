"""What a strict field takes, as JSON Schema: the same bounds that `serializers` holds it to."""

import re
from typing import Any

from django.core.validators import RegexValidator
from rest_framework import serializers

from gearroom.core.api.requests.serializers import YEARS_FORM, AnyField, NoteField, ScannedField

Schema = dict[str, Any]
_CONTROL = r"\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f"
_LINES = r"\t\n\r"
_OF_THE_WHOLE = ("description", "title", "default", "examples", "deprecated", "readOnly")


def describe(field: AnyField, schema: Schema) -> Schema:
    """A field's schema, made of the field itself, with the limits of our views."""
    if isinstance(field, serializers.ListSerializer | serializers.ListField):
        return {**schema, **_number_of_rows(field)}
    if isinstance(field, serializers.DecimalField):
        return {**schema, "pattern": _decimal(field)}
    if isinstance(field, serializers.DateField | serializers.DateTimeField):
        return {**schema, "pattern": YEARS_FORM}
    has_form = any(isinstance(one, RegexValidator) for one in getattr(field, "validators", ()))
    is_text = schema.get("type") in ("string", ["string", "null"])
    if is_text and not has_form and not {"pattern", "format", "enum"} & set(schema):
        return {**schema, "pattern": _text(field)}
    return schema


def with_blank(schema: Schema) -> Schema:
    """A schema of which the generator made `oneOf` with the empty text: nothing may meet two."""
    inner, *rest = schema.get("oneOf", [{}])
    if not rest or rest[0] != {"type": "string", "maxLength": 0}:
        return dict(schema)
    whole = {name: value for name, value in schema.items() if name != "oneOf"}
    whole |= {name: inner[name] for name in _OF_THE_WHOLE if name in inner}
    form = {name: value for name, value in inner.items() if name not in _OF_THE_WHOLE}
    if set(form) <= {"type", "pattern", "maxLength"} and re.search(form.get("pattern", ""), ""):
        return {**whole, **form, **({"type": ["string", "null"]} if rest[1:] else {})}
    return {**whole, "anyOf": [form, *rest]}


def _number_of_rows(field: Any) -> Schema:
    least = field.min_length if field.min_length is not None else int(not field.allow_empty)
    most = field.max_length
    return {
        **({"minItems": least} if least else {}),
        **({"maxItems": most} if most is not None else {}),
    }


def _decimal(field: Any) -> str:
    whole = field.max_digits - field.decimal_places
    sign = "" if field.min_value is not None and field.min_value >= 0 else "-?"
    return rf"^{sign}[0-9]{{1,{whole}}}(\.[0-9]{{1,{field.decimal_places}}})?$"


def _text(field: AnyField) -> str:
    """No control characters, and where it may not be blank something that can be seen."""
    none = _CONTROL if isinstance(field, NoteField) else _CONTROL + _LINES
    none = r"\x00" if isinstance(field, ScannedField) else none
    any_, solid = f"[^{none}]", rf"[^\s{none}]"
    blank = getattr(field, "allow_blank", False)
    return f"^{any_}*$" if blank else f"^{any_}*{solid}{any_}*$"
