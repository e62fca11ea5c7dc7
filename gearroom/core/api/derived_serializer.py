"""Answers whose members follow from the dataclass or the model that they show.

    @DerivedSerializer.of(Place)
    class PlaceAnswer(DerivedSerializer):
        members = ["id", "name", "kit", "labels"]
        sources = {"kit": "kit.name"}
        labels = serializers.ListField(child=LabelCode())

A member is declared only where its type does not say what it is: a place in another answer is
shown by this one, unless it is declared there. `members`, `sources`,
`help_texts` and `kinds` add to those of the bases.
"""

import uuid
from collections import ChainMap
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from functools import cache, partial
from types import NoneType, UnionType
from typing import Any, ClassVar, TypeVar, get_args, get_origin, get_type_hints

from django.db import models
from rest_framework import serializers

_COLUMNS = {
    models.BooleanField: bool,
    models.IntegerField: int,
    models.CharField: str,
    models.TextField: str,
    models.DateTimeField: datetime,
    models.DateField: date,
    models.DecimalField: Decimal,
    models.UUIDField: uuid.UUID,
}
"""Python's types of a model's columns, by their classes or the bases of those."""


Kind = TypeVar("Kind", bound="type[DerivedSerializer]")


class DerivedSerializer(serializers.Serializer[Any]):
    shown: ClassVar[Any] = None
    """What it shows, where it is not the usual answer for that (see `of`)."""
    members: ClassVar[Sequence[str]] = ()
    """The members in their order, with those declared; where none is named, all of a dataclass
    and then those declared."""
    sources: ClassVar[Mapping[str, str]] = {}
    """The path of attributes that leads to a member, where that is not its name alone."""
    help_texts: ClassVar[Mapping[str, str]] = {}
    kinds: ClassVar[dict[Any, Any]] = {
        bool: serializers.BooleanField,
        int: serializers.IntegerField,
        float: serializers.FloatField,
        str: serializers.CharField,
        date: serializers.DateField,
        datetime: serializers.DateTimeField,
        uuid.UUID: serializers.UUIDField,
        Decimal: partial(serializers.DecimalField, 12, 2),
    }
    """The field, or the serializer, for values of a type."""

    def __init_subclass__(cls) -> None:
        """Raise TypeError for a member named here that a base declares: that would be shown as the
        base has it. Declare it here, or leave it out."""
        theirs = ChainMap(*(getattr(base, "_declared_fields", {}) for base in cls.__bases__))
        for name in _own(cls, "members"):
            if name in theirs and cls._declared_fields[name] is theirs[name]:
                raise TypeError(f"{cls.__name__} names {name}, which a base declares.")

    @classmethod
    def of(cls, what: Any) -> Callable[[Kind], Kind]:
        """Have a serializer show values of a type wherever they stand in an answer."""

        def register(kind: Kind) -> Kind:
            kind.shown = what
            DerivedSerializer.kinds[what] = kind
            return kind

        return register

    def get_fields(self) -> dict[str, Any]:
        """The members, each as declared or by its type."""
        declared = super().get_fields()
        names = [name for each in reversed(type(self).__mro__) for name in _own(each, "members")]
        if not names and self.shown:
            names = [name for name in get_type_hints(self.shown) if name not in declared]
        sources, help_texts = self._of_all("sources"), self._of_all("help_texts")
        members = {
            name: declared.get(name) or self._derived(name, sources.get(name), help_texts.get(name))
            for name in names
        }
        return {**members, **declared}

    def _derived(self, name: str, source: str | None, help_text: str | None) -> Any:
        of, null = _type_at(self.shown, source or name)
        more = {"allow_null": True} if null else {}
        return self._field(of, source=source, help_text=help_text, **more)

    def _field(self, of: Any, **more: Any) -> Any:
        """The field for values of a type, or for a sequence of them."""
        kinds = self._of_all("kinds")
        if get_origin(of) in (Sequence, list, tuple):
            inner = get_args(of)[0]
            kind = kinds.get(inner)
            if isinstance(kind, type) and issubclass(kind, serializers.BaseSerializer):
                return kind(many=True, **more)
            return serializers.ListField(child=self._field(inner), **more)
        if of not in kinds and issubclass(of, Enum):
            return serializers.ChoiceField([each.value for each in of], **more)
        return kinds[of](**more)

    @classmethod
    @cache  # an answer has many of one kind
    def _of_all(cls, name: str) -> dict[Any, Any]:
        """A mapping of this class with those of its bases."""
        return dict(ChainMap(*(_own(each, name) for each in cls.__mro__)))


def _own(kind: type, name: str) -> Any:
    return vars(kind).get(name, {})


@cache
def _type_at(of: Any, path: str) -> tuple[Any, bool]:
    """The type that a path of attributes leads to, and whether there may be nothing there."""
    null = False
    for name in path.split("."):
        of = _type_of(of, name)
        if isinstance(of, UnionType):
            null = True
            (of,) = (each for each in get_args(of) if each is not NoneType)
    return of, null


def _type_of(of: Any, name: str) -> Any:
    """The type of an attribute: a column, a property or a dataclass's field."""
    is_model = issubclass(of, models.Model)
    if is_model and name == "pk":
        return int
    attribute = getattr(of, name, None)
    if isinstance(attribute, property):
        return get_type_hints(attribute.fget)["return"]
    if not is_model:
        return get_type_hints(of)[name]
    column: Any = of._meta.get_field(name)
    if column.one_to_many:
        return Sequence[column.related_model]
    if column.is_relation and name == column.name:
        kind = column.related_model
    else:
        column_type = column.target_field if column.is_relation else column
        kind = next(_COLUMNS[each] for each in type(column_type).__mro__ if each in _COLUMNS)
    return kind | None if column.null else kind
