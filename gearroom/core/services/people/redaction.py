"""Names taken out of rows that are kept for ever: the only code that lifts their triggers.

A row that is written has references already (`gearroom.core.services.people.names`). This is for
rows that were written before that, once and for everybody; and for what somebody typed who is
erased, such as a nickname. Each is an act of an administrator on record, with every row that it
changed.
"""

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import models, transaction
from django.db.models.functions import Cast

from gearroom.core.acts import Act, Actor
from gearroom.core.models import KeptAnswer, Person, RedactedRow, Redaction, append_only
from gearroom.core.rules.names import Known, Names, Roll, reference, replaced
from gearroom.core.services.people import names, rooms

ROWS_AT_A_TIME = 2000


@dataclass(frozen=True)
class Column:
    """A column of a protected table that holds what people typed, or an answer that they got."""

    model: type[models.Model]
    field: "models.Field[Any, Any]"
    json: bool

    @property
    def place(self) -> tuple[str, str]:
        """Table and column."""
        return self.model._meta.db_table, self.field.attname


def columns() -> list[Column]:
    """All of them."""
    typed = [
        Column(model, field, json=isinstance(field, names.WordsJSONField))
        for model in append_only.registered()
        for field in model._meta.concrete_fields
        if isinstance(field, names.WordsField | names.WordsJSONField)
    ]
    return [*typed, Column(KeptAnswer, KeptAnswer._meta.get_field("body"), json=True)]


def redact_landed(act: Act) -> Redaction:
    """Put references in the place of everybody's names, telephones and addresses, in rows that were
    written before names were kept apart. They read as before, until somebody is erased. What is
    done already stays; so a second time changes nothing."""
    require_administrator(act.actor)
    # Names of one word are looked for in answers of the program alone, whose sentences are known.
    singles = single_words(Person.objects.filter(erased_at=None).only("name"))
    in_answers = Roll([*names.of_everybody(), *singles])
    in_what_was_typed = Roll(names.of_everybody())

    def hide(column: Column, value: Any) -> Any:
        known = in_answers if column.model is KeptAnswer else in_what_was_typed
        return names.with_references(value, known, kept=True)

    return _redact(act, None, hide)


def redact(
    act: Act, person: Person, typed: Sequence[Known], in_answers: Sequence[Known]
) -> Redaction:
    """Take words that tell of a person out of every row that is kept for ever, for good: some out
    of what was typed, those and more out of answers that were given."""
    require_administrator(act.actor)
    theirs = {each.person for each in (*typed, *in_answers)}
    of_typed, of_answers = Names(typed), Names([*typed, *in_answers])

    def gone(each: Known) -> str | None:
        return reference(each.person, 0) if each.person in theirs else None

    def take_out(column: Column, value: Any) -> Any:
        wanted = of_answers if column.model is KeptAnswer else of_typed
        return replaced(value, wanted, gone, kept=True)

    return _redact(act, person, take_out)


def require_administrator(actor: Actor) -> None:
    """Raise NotAllowed unless they administer every room."""
    actor.require("erase_person")
    rooms.require_administrator_everywhere(actor)


def single_words(people: Iterable[Person]) -> Iterator[Known]:
    """Names of one word, which may mean something else in what somebody typed."""
    return (
        Known(person.pk, person.name)
        for person in people
        if len(person.name.split()) == 1 and len(person.name) > 1
    )


def _redact(act: Act, about: Person | None, change: Callable[[Column, Any], Any]) -> Redaction:
    with transaction.atomic():
        redaction = Redaction.objects.create(
            key=act.key, person=act.person, about=about, at=act.received_at
        )
        for column in columns():
            _change(redaction, column, list(_changes(column, change)))
    return redaction


def _changes(column: Column, change: Callable[[Column, Any], Any]) -> Iterator[tuple[Any, Any]]:
    """The rows of a column that a change makes other than they are: key and new value."""
    for pk, value in raw(column):
        if (other := change(column, value)) != value:
            yield pk, other


def raw(column: Column, rows: Sequence[Any] | None = None) -> Iterator[tuple[Any, Any]]:
    """Key and value of rows (all of them where None) as they are kept, references and all."""
    result = column.model._base_manager.exclude(**{f"{column.field.name}__isnull": True})
    if rows is not None:
        result = result.filter(pk__in=rows)
    as_text = result.order_by("pk").annotate(_kept=Cast(column.field.name, models.TextField()))
    for pk, text in as_text.values_list("pk", "_kept").iterator(chunk_size=ROWS_AT_A_TIME):
        if text:
            yield pk, json.loads(text) if column.json else text


def _change(redaction: Redaction, column: Column, changes: Sequence[tuple[Any, Any]]) -> None:
    if not changes:
        return
    table, name = column.place
    with append_only.lifted(column.model):
        for pk, value in changes:
            column.model._base_manager.filter(pk=pk).update(
                **{column.field.name: _stored(column, value)}
            )
    RedactedRow.objects.bulk_create(
        (
            RedactedRow(
                redaction=redaction, table=table, column=name, row=str(pk), sha256=digest(value)
            )
            for pk, value in changes
        ),
        batch_size=ROWS_AT_A_TIME,
    )


def _stored(column: Column, value: Any) -> Any:
    if column.json and not isinstance(column.field, models.JSONField):
        return json.dumps(value, separators=(",", ":"))
    return value


def digest(value: Any) -> str:
    """The SHA-256 of a value as it is kept, whatever the order of its members."""
    return hashlib.sha256(json.dumps(value, sort_keys=True).encode()).hexdigest()


def differences() -> Iterator[str]:
    """Rows that were redacted and are not as their last redaction left them, a line each."""
    rows = RedactedRow.objects.order_by("pk").values_list("table", "column", "row", "sha256")
    redacted: dict[tuple[str, str], dict[str, str]] = {}
    for table, name, row, sha256 in rows:
        redacted.setdefault((table, name), {})[row] = sha256
    for column in columns():
        table, name = column.place
        left = redacted.get(column.place, {})
        keys = list(map(column.model._meta.pk.to_python, left))
        there: dict[str, str] = {}
        for start in range(0, len(keys), 500):
            there |= {
                str(pk): digest(value) for pk, value in raw(column, keys[start : start + 500])
            }
        yield from (
            f"{table} {row}: {name} is not as it was left when names were taken out."
            for row, sha256 in left.items()
            if there.get(row) != sha256
        )
