"""All that is kept about a person, as one document: every row of every table that is of them.

It follows the tables themselves, so that a new one is in it from its first day on. Other people are
in it by number alone.
"""

from collections.abc import Iterator
from typing import Any

from django.apps import apps
from django.db.models import BinaryField, Field, ForeignKey, Model, Q

from gearroom.core import clock
from gearroom.core.acts import Actor
from gearroom.core.models import KeptAnswer, Person, User
from gearroom.core.services.people import erasure, rooms

_SECRETS = frozenset(
    {
        "password",
        "pin",
        "sha256",
        "session_key",
        "calendar_sha256",
        "request_sha256",
        "lease",
        "rendered",
    }
)
_OF_OTHERS = frozenset({"facts"})
"""What a notice says of others."""


def export(actor: Actor, person: Person) -> dict[str, Any]:
    """What is kept about somebody: for themselves, and for an administrator of every room. Rows by
    table, in the order of their numbers; secrets are left out, of pictures the size is said.

    Raises NotAllowed.
    """
    if actor.person is not None and actor.person.pk == person.pk:
        actor.require("own_account")
    else:
        actor.require("export_person")
        rooms.require_administrator_everywhere(actor)
    record = erasure.record_of(person)
    users = list(User.objects.filter(person__in=record))
    return {
        "person": person.pk,
        "merged": [each.pk for each in record[1:]],
        "made_at": clock.now().isoformat(),
        "tables": {
            model._meta.label_lower: rows
            for model in _tables()
            if (rows := list(_rows(model, record, users)))
        },
    }


def _tables() -> Iterator[type[Model]]:
    for model in apps.get_models():
        if model._meta.app_label in ("core", "kits", "labels") and model is not KeptAnswer:
            yield model
    yield KeptAnswer


def _rows(model: type[Model], record: list[Person], users: list[User]) -> Iterator[dict[str, Any]]:
    theirs = Q(pk__in=[])
    if model in (Person, User):
        theirs = Q(pk__in=[each.pk for each in (record if model is Person else users)])
    for field in model._meta.concrete_fields:
        if isinstance(field, ForeignKey) and field.related_model in (Person, User):
            theirs |= Q(**{f"{field.name}__in": record if field.related_model is Person else users})
    if not theirs:
        return
    for row in model._base_manager.filter(theirs).order_by("pk").iterator(chunk_size=500):
        yield {
            field.attname: _value(row, field)
            for field in model._meta.concrete_fields
            if field.name not in _SECRETS | _OF_OTHERS
        }


def _value(row: Model, field: "Field[Any, Any]") -> Any:
    value = getattr(row, field.attname)
    if isinstance(field, BinaryField):
        return None if value is None else {"bytes": len(value)}
    return value
