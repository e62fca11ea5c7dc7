"""Who is named in rows that are kept for ever: numbers there, the words where they can be erased.

`WordsField` and `WordsJSONField` are for columns of append-only tables that hold what people type:
a row that is written has references in the place of names, telephones and addresses of people on
record (see `gearroom.core.rules.names`), and a row that is read has the words again, or *Person 17*
once they were erased. `kept` and `given` do the same for the answers of acts.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.db import models
from django.utils.translation import gettext as _

from gearroom.core.rules.names import (
    NOBODY,
    OPEN,
    Known,
    Names,
    Roll,
    distinctive,
    may_name,
    readable,
    reference,
    references,
    replaced,
)

if TYPE_CHECKING:
    _Field = models.Field[Any, Any]
    _CharField = models.CharField[str, str]
else:
    _Field, _CharField = models.Field, models.CharField

_people: ContextVar[list[Any] | None] = ContextVar("people", default=None)


@contextmanager
def recording_people() -> Iterator[list[Any]]:
    """The people that are loaded or made meanwhile, by whatever way: whom an answer may name."""
    people: list[Any] = []
    token = _people.set(people)
    try:
        yield people
    finally:
        _people.reset(token)


def note(*, instance: Any, **_signal: Any) -> None:
    """Note a person that is loaded or made; connected to `post_init` of people."""
    if (people := _people.get()) is not None:
        people.append(instance)


def of_everybody() -> Iterator[Known]:
    """What tells of each person on record, wherever it stands."""
    people = apps.get_model("core", "Person")._base_manager.filter(erased_at=None)
    for row in people.order_by("-merged_into", "pk").values_list("pk", "name", "phone", "email"):
        yield from distinctive(*row)


def of_these(people: Iterable[Any]) -> Iterator[Known]:
    """What names or reaches people that are there with their rows, single words too."""
    for person in people:
        has = person.__dict__  # what is not loaded is not asked for
        if person.pk is not None:
            words = map(has.get, ("name", "phone", "email"))
            yield from (Known(person.pk, each) for each in words if each)


def with_references(value: Any, known: Roll | Iterable[Known], *, kept: bool = False) -> Any:
    """A JSON-like value as it may be kept for ever: references in the place of who is named, the
    words written down beside. `kept`: it has references already, which stay. What is written has
    to be in the transaction of its row."""
    roll = known if isinstance(known, Roll) else Roll(known)
    names = Names(roll.occurring(value))
    wanted: dict[Known, int] = {}

    def gather(each: Known) -> str:
        wanted.setdefault(each, 0)
        return each.text

    replaced(value, names, gather, kept=kept)
    if wanted:
        _write_down(wanted)
    return replaced(value, names, lambda each: reference(each.person, wanted[each]), kept=kept)


def _write_down(wanted: dict[Known, int]) -> None:
    """Give each its row: one that is there already, or a new one. Two acts at once may both write
    the same words; nothing minds."""
    model = apps.get_model("core", "PersonalText")
    rows = model.objects.filter(text__in={each.text for each in wanted})
    there = {
        (person or NOBODY, text): pk
        for pk, person, text in rows.values_list("pk", "person", "text").order_by("-pk")
    }
    new = [each for each in wanted if (each.person, each.text) not in there]
    made = model.objects.bulk_create(
        model(person_id=each.person or None, text=each.text) for each in new
    )
    there |= {(each.person, each.text): row.pk for each, row in zip(new, made, strict=True)}
    # A row that refers to somebody waits for an act that erases them, so what is asked after it was
    # written holds.
    people = apps.get_model("core", "Person")._base_manager.exclude(erased_at=None)
    gone = set(people.filter(pk__in={each.person for each in wanted}).values_list("pk", flat=True))
    if gone:
        model.objects.filter(person__in=gone).delete()
    for each in wanted:
        wanted[each] = 0 if each.person in gone else there[each.person, each.text]


def with_words(value: Any) -> Any:
    """A JSON-like value that was kept, as it reads now."""
    rows = references(value)
    texts: dict[int, str] = {}
    if rows:
        kept = apps.get_model("core", "PersonalText").objects.filter(pk__in=rows)
        texts = dict(kept.filter(person__erased_at=None).values_list("pk", "text"))
    return readable(value, lambda person, row: texts.get(row) or nameless(person))


def nameless(person: int) -> str:
    """How somebody reads whose name was erased, by their number."""
    return _("Person %(number)s") % {"number": person} if person else _("Unknown person")


class _Words(_Field):
    """A column that holds references in the place of names. To the database, and in migrations, it
    is `stored_as`."""

    stored_as: str

    def pre_save(self, model_instance: models.Model, add: bool) -> Any:
        """As it is kept; the instance has what was typed."""
        typed = super().pre_save(model_instance, add)
        return with_references(typed, of_everybody()) if may_name(typed) else typed

    def deconstruct(self) -> Any:
        """As a field of Django's."""
        name, _path, args, kwargs = super().deconstruct()
        return name, self.stored_as, args, kwargs


class WordsField(_Words, _CharField):
    """Text that people typed. `max_length` is of the column; forms hold what is typed shorter
    (`gearroom.core.rules.names.LONGER`)."""

    stored_as = "django.db.models.CharField"

    def from_db_value(self, value: str | None, *_more: Any) -> str | None:
        """As it reads."""
        return with_words(value) if value and OPEN in value else value


class WordsJSONField(_Words, models.JSONField):
    """Facts of an act, some of which people typed."""

    stored_as = "django.db.models.JSONField"

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> Any:
        """As it reads."""
        return with_words(super().from_db_value(value, expression, connection))
