"""Answers whose fields follow from a dataclass."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from functools import cache
from types import NoneType, UnionType
from typing import Any, ClassVar, get_args, get_origin, get_type_hints

from rest_framework import serializers

from gearroom.core.api.requests.serializers import AnyField

_KINDS: dict[Any, type[AnyField]] = {
    bool: serializers.BooleanField,
    int: serializers.IntegerField,
    float: serializers.FloatField,
    str: serializers.CharField,
    date: serializers.DateField,
    datetime: serializers.DateTimeField,
}


class DataclassSerializer(serializers.Serializer[Any]):
    shown: ClassVar[type]
    """The dataclass; a field of it that is declared by hand is shown as declared."""
    help_texts: ClassVar[Mapping[str, str]] = {}
    left_out: ClassVar[Sequence[str]] = ()

    def get_fields(self) -> dict[str, Any]:
        """A field for each of the dataclass, by its type, and those declared."""
        declared = super().get_fields()
        derived = {
            name: _field(of, help_text=self.help_texts.get(name))
            for name, of in _types(self.shown).items()
            if name not in (*declared, *self.left_out)
        }
        return {**derived, **declared}


@cache
def _types(of: type) -> Mapping[str, Any]:
    """The types of a dataclass's fields, worked out once: an answer has many of one kind."""
    return get_type_hints(of)


def _field(of: Any, **more: Any) -> Any:
    """The field for values of a type: a plain one, one or null, or a sequence."""
    inner = [each for each in get_args(of) if each is not NoneType]
    if isinstance(of, UnionType):
        return _field(inner[0], allow_null=True, **more)
    if get_origin(of) is Sequence:
        return serializers.ListField(child=_field(inner[0]), **more)
    return _KINDS[of](**more)
