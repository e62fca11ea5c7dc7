"""How views describe themselves in the OpenAPI schema: from the same attributes that they obey; and
what a strict field takes: the same bounds that `requests.serializers` holds it to."""

import re
from typing import Any

from django.core.validators import RegexValidator
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import ResolvedComponent, get_doc, is_list_serializer
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework import serializers

from gearroom.core.api.openapi.member_rules import schema_of
from gearroom.core.api.problems import MEDIA_TYPE
from gearroom.core.api.requests.serializers import (
    YEARS_FORM,
    AnyField,
    NoteField,
    ProblemDocument,
    ScannedField,
    StrictSerializer,
)
from gearroom.core.problem_codes import KINDS
from gearroom.core.rules.roles import USE_CASES

_ANY = {
    400: "The request does not match the schema",
    404: "Not found in your gear rooms",
    422: "A value cannot be right",
    429: "Too many requests",
    503: "Busy, read-only or without its database: nothing was changed",
}
PATH_EXAMPLES = {
    "kit": "DAY-01",
    "id": 4,
    "number": 2,
    "before": 1,
    "code": "9C5G-K64D",
    "room": "main-store",
    "source": "bookings",
    "reference": "118",
    "list": 1,
    "need": "blister",
    "activity": "hill-walking",
    "table": "items",
}
UUID_SCHEMA = {"type": "string", "pattern": "^[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}$"}
"""As a pattern, not a format: clients that are generated make an object of that, which no header
can be."""
_REFUSED = "Not possible at the moment"
_SIGNED_IN = {401: "Not logged in", 403: "Not allowed"}
_WRITE = {
    409: f"{_REFUSED}, or the same request is still being processed",
    411: "Content-Length is missing",
    412: "Changed since you read it",
    413: "Too large",
    415: "Media type not supported",
    422: "A value cannot be right, or the key was used for another request",
    507: "The storage is full: nothing was changed",
}

_KEY = OpenApiParameter(
    "Idempotency-Key",
    UUID_SCHEMA,
    OpenApiParameter.HEADER,
    required=True,
    description="A new UUID for this request. If you send the same content again with the same"
    " key, you get the first answer again; other content is a 422.",
)
_MATCH = OpenApiParameter(
    "If-Match",
    str,
    OpenApiParameter.HEADER,
    description="The ETag that you read; if it has changed since, the answer is a 412.",
)
_HANDED_OVER = OpenApiParameter(
    "Gearroom-Handed-Over",
    {"type": "string", "pattern": "^[0-9]{1,15} (-|-?[0-9]{1,13}) [0-9a-f]{64}$"},
    OpenApiParameter.HEADER,
    description="Of a record that a phone has handed over to another: whose it is, by how many"
    " milliseconds that phone’s clock was ahead, and its signature. The phone’s own pages send"
    " this.",
)


class ViewSchema(AutoSchema):
    """Reads `query`, `shows`, `body`, `answers` and `method` off a view, and which problems are
    particular to it."""

    view: Any

    def _writes(self) -> bool:
        return self.method not in ("GET", "HEAD", "OPTIONS")

    def _is_list_view(self, serializer: Any = None) -> bool:
        if serializer is None or isinstance(serializer, dict):
            return not self._writes() and getattr(self.view, "many", False)
        return is_list_serializer(serializer)

    def get_operation_id(self) -> str:
        """The path's words and what is done: people_list, people_show, people_post."""
        does = self.method.lower()
        if not self._writes():
            does = "list" if self._is_list_view() else "show"
        return "_".join([*self._tokenize_path(), does]).replace("-", "_")

    def is_deprecated(self) -> bool:
        """Whether there is a newer way to do what this does."""
        return self._writes() and getattr(self.view, "older_way", False)

    def get_request_serializer(self) -> Any:
        """The strict body of a write."""
        return self.view.body if self._writes() else None

    def _get_request_body(self, direction: str = "request") -> Any:
        body = super()._get_request_body(direction)
        content = body["content"] if body else {}
        if len(content) > 1 and "application/json" in content:
            # JSON carries no files: those fields are for the multipart form alone.
            name = content["application/json"]["schema"]["$ref"].rpartition("/")[2]
            whole = self.registry[name, ResolvedComponent.SCHEMA].schema
            fields = {n: s for n, s in whole["properties"].items() if s.get("format") != "binary"}
            if len(fields) < len(whole["properties"]):
                content["application/json"]["schema"] = {**whole, "properties": fields}
        if "application/json" in content:
            wanted = self.get_request_serializer()
            wanted = wanted["application/json"] if isinstance(wanted, dict) else wanted
            content["application/json"]["example"] = wanted.example
            if not all(rule.holds(()) for rule in wanted.rules):
                body["required"] = True
        return body

    def get_operation(self, *args: Any, **kwargs: Any) -> Any:
        """With the examples of the problems that are particular to it, as far as there are some."""
        operation: Any = super().get_operation(*args, **kwargs)
        for code in self._particular():
            answer = operation["responses"][str(KINDS[code].status)]["content"][MEDIA_TYPE]
            answer.setdefault("examples", {})[code] = {"$ref": f"#/components/examples/{code}"}
        return operation

    def _particular(self) -> tuple[str, ...]:
        codes: tuple[str, ...] = self.view.particular_problems(writes=self._writes())
        return codes

    def _named(self, status: int, description: str) -> str:
        """What an answer with this status means, with the codes that are particular to it."""
        codes = [f"`{code}`" for code in self._particular() if KINDS[code].status == status]
        return f"{description}. Codes of its own: {', '.join(codes)}" if codes else description

    def _resolve_path_parameters(self, variables: list[str]) -> list[dict[str, Any]]:
        return [
            {**parameter, "example": PATH_EXAMPLES[parameter["name"]]}
            for parameter in super()._resolve_path_parameters(variables)
        ]

    def get_response_serializers(self) -> Any:
        """What it answers, and every problem it may answer instead."""
        if self._writes():
            answers = dict(self.view.answers)
        else:
            shows = self.view.shows
            many = getattr(self.view, "many", False)
            answers = {200: shows(many=True) if many and shows else shows}
        problems = {
            **{KINDS[code].status: _REFUSED for code in self._particular()},
            **_ANY,
            **({} if self.view.public else _SIGNED_IN),
            **(_WRITE if self._writes() else {}),
        }
        for status, description in sorted(problems.items()):
            answers[(status, MEDIA_TYPE)] = OpenApiResponse(
                ProblemDocument, self._named(status, description)
            )
        return answers

    def get_override_parameters(self) -> list[Any]:
        """Query parameters of a read; the key and If-Match of a write."""
        if not self._writes():
            return [self.view.query] if self.view.query else []
        key = [_KEY] if self.view.key_header else []
        if getattr(self.view, "can_be_handed_over", False):
            key.append(_HANDED_OVER)
        return [*key, _MATCH] if self.method in ("PATCH", "PUT") else key

    def get_description(self) -> str:  # type: ignore[override]  # as AutoSchema has it
        """What the view does for this method, and the scope that a token needs for it."""
        return "\n\n".join(filter(None, [self._does(), self._needs()]))

    def _needs(self) -> str:
        use_case = getattr(self.view, "use_case" if self._writes() else "reads_as", None)
        if self.view.public or use_case is None:
            return ""
        if self._writes() and self.view.token_needs:
            return f"A token needs {self.view.token_needs}."
        return f"A token needs the scope `{USE_CASES[use_case].scope}`."

    def _does(self) -> str:
        """The docstring of what the view does for this method."""
        does = ("perform",) if self._writes() else ("read", "rows")
        for name in does:
            own = next((c.__dict__[name] for c in type(self.view).__mro__ if name in c.__dict__), 0)
            if own and not own.__module__.endswith("core.api.views") and (doc := get_doc(own)):
                return doc
        return get_doc(type(self.view))

    def get_summary(self) -> str:
        """Its first line."""
        return self._does().partition("\n")[0].rstrip(".")

    def _map_serializer_field(
        self, field: AnyField, direction: str, bypass_extensions: bool = False
    ) -> dict[str, Any]:
        schema: dict[str, Any] = super()._map_serializer_field(field, direction, bypass_extensions)
        if direction == "request":
            schema = describe(field, schema)
        schema.pop("x-spec-enum-id", None)  # for a step that names enumerations; none does here
        return schema

    def _insert_field_validators(self, field: AnyField, schema: dict[str, Any]) -> None:
        super()._insert_field_validators(field, schema)
        blank = with_blank(schema)
        schema.clear()
        schema.update(blank)

    def _postprocess_serializer_schema(
        self, schema: dict[str, Any], serializer: Any, direction: str
    ) -> dict[str, Any]:
        schema = super()._postprocess_serializer_schema(schema, serializer, direction)
        if direction == "request" and isinstance(serializer, StrictSerializer):
            schema |= {"additionalProperties": False, **schema_of(serializer.rules)}
        return schema


# -------------------------------------------------------- what a strict field takes, as JSON Schema
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
    pattern = rf"{sign}[0-9]{{1,{whole}}}(\.[0-9]{{1,{field.decimal_places}}})?"
    if field.max_value is not None:
        most = f"{int(field.max_value)}"
        pattern = rf"({sign}{_below(most)}(\.[0-9]{{1,{field.decimal_places}}})?"
        pattern += rf"|{most}(\.0{{1,{field.decimal_places}}})?)"
    return f"^{pattern}$"


def _below(most: str) -> str:
    """Whole numbers below this one, with as many digits at most."""
    ranges = [
        rf"{most[:at]}[0-{int(digit) - 1}][0-9]{{{len(most) - at - 1}}}"
        for at, digit in enumerate(most)
        if digit != "0"
    ]
    shorter = [rf"[0-9]{{1,{len(most) - 1}}}"] if len(most) > 1 else []
    return f"({'|'.join(shorter + ranges)})"


def _text(field: AnyField) -> str:
    """No control characters, and where it may not be blank something that can be seen."""
    none = _CONTROL if isinstance(field, NoteField) else _CONTROL + _LINES
    none = r"\x00" if isinstance(field, ScannedField) else none
    any_, solid = f"[^{none}]", rf"[^\s{none}]"
    blank = getattr(field, "allow_blank", False)
    return f"^{any_}*$" if blank else f"^{any_}*{solid}{any_}*$"
