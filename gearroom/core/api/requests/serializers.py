"""Strict serializers: ordinary Django REST framework fields, with nothing coerced.

`StrictSerializer` reads JSON bodies: a string is not a number, 1 is not true; 3.0 is 3, as JSON has
one kind of number (RFC 8259 §6); dates and times are ISO 8601 in full, times with their offset;
unknown fields are refused; texts hold no control characters. `QuerySerializer` reads query
parameters: the same forms, each as text. Whatever passes here the schema allows, and the other way
round: what is refused later, for what it means, is a 422.
"""

import math
import re
import unicodedata
from collections.abc import Mapping
from typing import Any, ClassVar, TypeAlias

from django.core.files.uploadedfile import UploadedFile
from django.core.validators import (
    EmailValidator,
    MaxValueValidator,
    MinValueValidator,
    RegexValidator,
)
from django.utils.translation import gettext as _
from rest_framework import serializers

from gearroom.core.acts import Problem, Unacceptable, document, printable
from gearroom.core.api.openapi.member_rules import Rule
from gearroom.core.rules.plain_text import plain
from gearroom.core.rules.years import YEARS

AnyField: TypeAlias = "serializers.Field[Any, Any, Any, Any]"
MAX_WHOLE = 2**31 - 1
YEARS_FORM = r"^(19[7-9]|2[01][0-9])[0-9]-"
"""How a date or a time of `YEARS` begins."""
UUID_FORM = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.I | re.A)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.A)
INSTANT = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt]\d{2}:\d{2}:\d{2}(\.\d{1,9})?([Zz]|[+-]\d{2}:\d{2})", re.A
)
_WHOLE = re.compile(r"-?\d{1,19}", re.A)
_DECIMAL = re.compile(r"-?\d{1,30}(\.\d{1,30})?", re.A)
_NUMBER = re.compile(r"-?\d{1,30}(\.\d{1,30})?(e[+-]?\d{1,3})?", re.I | re.A)
_FLAG = re.compile(r"[Tt]rue|[Ff]alse")
"""Clients made of the schema by Python's libraries put it into a form with a capital."""


CLOCK_TIME = r"^([01][0-9]|2[0-3]):[0-5][0-9]$"
"""An hour and minutes, such as 18:00, for a RegexField."""


class NoteField(serializers.CharField):
    """A text that may have several lines."""


class ScannedField(serializers.CharField):
    """A text as a scanner sent it: separators and line breaks are part of what it says."""


# What a field takes: its JSON types, the form of its text, and how to say so. The first match of a
# field's class counts. A field of a class not listed is refused as a mistake of the program.
_FORMS: list[tuple[type[AnyField], tuple[type, ...], re.Pattern[str] | None, str]] = [
    (serializers.BooleanField, (bool,), _FLAG, "true or false"),
    (serializers.IntegerField, (int,), _WHOLE, "a whole number, such as 3"),
    (serializers.FloatField, (int, float), _NUMBER, "a number"),
    (serializers.DecimalField, (str,), _DECIMAL, 'a decimal number in a text, such as "12.50"'),
    (serializers.UUIDField, (str,), UUID_FORM, "a UUID, as RFC 9562 writes it"),
    (serializers.DateTimeField, (str,), INSTANT, "a time with its offset, such as"
     " 2026-05-31T08:15:00+01:00"),
    (serializers.DateField, (str,), _DAY, "a date, such as 2026-05-31"),
    (serializers.FileField, (UploadedFile,), None, "a file"),
    (serializers.MultipleChoiceField, (list,), None, "a list"),
    (serializers.ChoiceField, (str,), None, "a text"),
    (serializers.CharField, (str,), None, "a text"),
    (serializers.ListField, (list,), None, "a list"),
    (serializers.ListSerializer, (list,), None, "a list"),
    (serializers.DictField, (dict,), None, "an object"),
    (serializers.BaseSerializer, (dict,), None, "an object"),
    (serializers.JSONField, (object,), None, "JSON"),
]  # fmt: skip


class _Strict(serializers.Serializer[Any]):
    from_text = False
    rules: ClassVar[tuple[Rule, ...]] = ()
    """What holds of several members together."""
    example: ClassVar[dict[str, Any]] = {}
    """A body as somebody would send it."""

    def get_fields(self) -> dict[str, AnyField]:
        """The fields as declared; whole numbers without limits get those of a database column, and
        texts of a fixed form are taken as they come."""
        fields: dict[str, AnyField] = super().get_fields()
        for field in fields.values():
            if isinstance(field, serializers.CharField) and _has_form(field):
                field.trim_whitespace = False
            for inner in (field, getattr(field, "child", None)):
                if isinstance(inner, serializers.IntegerField):
                    if inner.max_value is None:
                        inner.max_value = MAX_WHOLE
                        inner.validators.append(MaxValueValidator(MAX_WHOLE))
                    if inner.min_value is None:
                        inner.min_value = -MAX_WHOLE
                        inner.validators.append(MinValueValidator(-MAX_WHOLE))
        return fields

    def to_internal_value(self, data: Any) -> Any:
        """The validated values; raises ValidationError that names every field that is not as it
        should be."""
        if not isinstance(data, Mapping):
            raise serializers.ValidationError({"": ["This has to be an object."]})
        known = {name: field for name, field in self.fields.items() if not field.read_only}
        errors: dict[str, list[str]] = {}
        for name, value in data.items():
            if name not in known:
                errors[printable(str(name))] = [
                    f"There is no such field here. Known: {', '.join(sorted(known)) or 'none'}."
                ]
            elif result := _form_error(known[name], value, self.from_text):
                errors[name] = [result]
        if errors:
            raise serializers.ValidationError(errors)
        data = {name: _as_kept(known[name], value) for name, value in data.items()}
        for rule in self.rules:
            if not rule.holds(data):
                raise serializers.ValidationError({rule.field: [str(rule.says)]})
        return super().to_internal_value(data)


class StrictSerializer(_Strict):
    """Reads a JSON object. Nested serializers have to be strict too."""


class QuerySerializer(_Strict):
    """Reads query parameters."""

    from_text = True


class ActBody(StrictSerializer):
    """Fields that every action accepts."""

    occurred_at = serializers.DateTimeField(
        required=False, help_text="When it happened, if that was earlier than now."
    )
    device_now = serializers.DateTimeField(
        required=False, help_text="The time on the device's own clock when it sends this."
    )
    reason = NoteField(
        required=False,
        max_length=500,
        allow_blank=True,
        help_text="The reason, where one is required.",
    )


class PageQuery(QuerySerializer):
    """What every list takes."""

    cursor = serializers.CharField(
        required=False,
        max_length=500,
        help_text="The page to read: taken from “next” or “previous”.",
    )
    page_size = serializers.IntegerField(
        required=False, min_value=1, max_value=200, help_text="Rows per page; default 50."
    )


class ProblemDocument(serializers.Serializer[Any]):
    """A problem as described in RFC 9457. Some have further members with details."""

    type = serializers.CharField(help_text="The address of a page about this kind of problem.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField(help_text="What is wrong, and what to do next.")
    instance = serializers.CharField(required=False, help_text="The path of the request.")
    code = serializers.CharField(help_text="The last part of “type”.")
    errors = serializers.DictField(  # type: ignore[assignment]  # so RFC 9457 names it
        child=serializers.ListField(child=serializers.CharField()),
        required=False,
        help_text="The fields that are wrong, each with its messages; 20 at most.",
    )
    errors_left_out = serializers.IntegerField(
        required=False, help_text="How many more fields are wrong."
    )
    first_answered_at = serializers.DateTimeField(
        required=False, help_text="When this answer was first given; nothing was done now."
    )
    to_ask_anew = serializers.CharField(
        required=False, help_text="What to send instead of a value that was given before."
    )

    def to_representation(self, problem: Problem) -> dict[str, Any]:
        """A problem with all its members."""
        return document(problem)


def _as_kept(field: AnyField, value: Any) -> Any:
    """A value whose form is right, with its texts as they are kept (`plain_text`); a text of a
    fixed form, or as a scanner sent it, as it came. Raises Unacceptable (422) for one in which
    nothing can be seen, where something has to be."""
    if isinstance(value, list) and isinstance(field, serializers.ListField):
        return [_as_kept(field.child, inner) for inner in value]
    if not isinstance(value, str) or not isinstance(field, serializers.CharField):
        return value
    if isinstance(field, ScannedField) or _has_form(field):
        return value
    kept = plain(value)
    if value.strip() and not kept.strip() and not field.allow_blank:
        sentence = _("This text has no visible characters. Type it again by hand.")
        raise Unacceptable("cannot-be-right", sentence, errors={field.field_name or "": [sentence]})
    return kept


def _has_form(field: AnyField) -> bool:
    return any(isinstance(one, RegexValidator | EmailValidator) for one in field.validators)


def _form_error(field: AnyField, value: Any, from_text: bool) -> str | None:
    """What is wrong with the form of a value, before its meaning is looked at; or None."""
    if value is None and not from_text:
        return None  # whether null is allowed is the field's own business
    types, form, expected = _form_of(field)
    if isinstance(field, serializers.IntegerField) and isinstance(value, float):
        value = int(value) if value.is_integer() else value
    taken = (str,) if from_text and not isinstance(field, serializers.FileField) else types
    if not isinstance(value, taken) or (isinstance(value, bool) and not {bool, object} & {*taken}):
        return f"This has to be {expected}."
    if isinstance(value, str):
        return _text_error(field, value, form, expected)
    if isinstance(field, serializers.ListField | serializers.DictField):
        inner: Any = value.values() if isinstance(value, dict) else value
        return next(filter(None, (_form_error(field.child, v, False) for v in inner)), None)
    return None


def _form_of(field: AnyField) -> tuple[tuple[type, ...], re.Pattern[str] | None, str]:
    """What a field takes (see `_FORMS`). Raises TypeError for one that no form is known for."""
    if isinstance(field, serializers.Serializer) and not isinstance(field, _Strict):
        raise TypeError(f"{type(field).__name__} is nested in a strict serializer and is not one")
    for kind, types, form, expected in _FORMS:
        if isinstance(field, kind):
            return types, form, expected
    raise TypeError(f"no strict form is known for {type(field).__name__}")


def _text_error(
    field: AnyField, text: str, form: re.Pattern[str] | None, expected: str
) -> str | None:
    """What is wrong with a text: its form, its length, or its characters; or None."""
    if form and not form.fullmatch(text):
        return f"This has to be {expected}."
    if form is _NUMBER and math.isinf(float(text)):
        return f"This has to be {expected} that a double holds."
    dated = isinstance(field, serializers.DateField | serializers.DateTimeField)
    if dated and int(text[:4]) not in YEARS:
        return f"This has to be in a year from {YEARS[0]} to {YEARS[-1]}."
    most = getattr(field, "max_length", None)
    if most is not None and len(text) > most:
        return f"This has at most {most} characters, and these are {len(text)}."
    controls = {c for c in text if unicodedata.category(c) == "Cc"}
    if isinstance(field, NoteField):
        controls -= {*"\n\r\t"}
    if controls and not isinstance(field, ScannedField):
        return "This text may not hold control characters."
    return None
