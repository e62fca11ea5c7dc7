"""What is kept about a person: given as one document, and erased.

What tells of them is erased: their words, their sign-in, their roles; their number stays.

Rows that are kept for ever refer to the number, and read *Person 17* from then on, answers that are
given again included. What is of the gear room's business is in
`kits.services.people.personal_records`.

The document has every row of every table that is of them. It follows the tables themselves, so that
a new one is in it from its first day on. Other people are in it by number alone.
"""

from collections.abc import Iterator, Sequence
from typing import Any

from django.apps import apps
from django.db.models import BinaryField, CharField, Field, ForeignKey, JSONField, Model, Q
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Refused, Unacceptable, refuse_first
from gearroom.core.models import (
    AccountChange,
    KeptAnswer,
    Membership,
    PasswordReset,
    Person,
    PersonalText,
    SignedIn,
    Token,
    User,
    append_only,
)
from gearroom.core.rules.names import Known, Names, distinctive, replaced
from gearroom.core.services.accounts import sign_ins
from gearroom.core.services.people import people, redaction, rooms

MOST_WORDS, MOST_LETTERS = 20, 120
_APPS = ("core", "kits", "labels")

TYPED = frozenset(
    {
        "note",
        "signature_note",
        "reason",
        "short_reason",
        "answer",
        "advice",
        "leader_name",
        "leader_phone",
        "leader_email",
        "cancelled_why",
        "last_error",
        "refused_why",
        "words",
        "instead",
        "trained",
        "look_again_after",
        "draft",
    }
)
"""Columns of tables whose rows change that hold what people typed about one another."""
FACTS = frozenset({"facts"})
"""Columns that hold what a notice says, in our words."""
OF_THINGS = frozenset(
    {
        "name",
        "address",
        "phone",
        "how_to_return",
        "bag",
        "check_question",
        "caution",
        "reference",
        "published_at",
        "organisation",
        "mail_from",
    }
)
"""Columns that things go by, on labels too: whoever keeps them changes them."""
THEIR_OWN = (AccountChange, Person, User, PersonalText, SignedIn, Token, Membership, PasswordReset)


def record_of(person: Person) -> list[Person]:
    """A person and whoever turned out to be the same one."""
    return [person, *Person.objects.filter(merged_into=person).order_by("pk")]


def check_words(words: Sequence[str]) -> list[str]:
    """Further words for a person, such as a nickname, tidy. Raises Unacceptable (`no-name`)."""
    tidy = [" ".join(each.split()) for each in words]
    tidy = list(dict.fromkeys(each for each in tidy if each))
    if len(tidy) > MOST_WORDS or any(not 3 <= len(each) <= MOST_LETTERS for each in tidy):
        raise Unacceptable(
            "no-name",
            _("Enter up to %(count)s more names, each with 3 to %(letters)s characters.")
            % {"count": MOST_WORDS, "letters": MOST_LETTERS},
        )
    return tidy


def known_of(person: Person, words: Sequence[str] = ()) -> list[Known]:
    """All words that tell of somebody: those on record, those that they had when something was
    written, and further ones that an administrator names."""
    known = [Known(person.pk, each) for each in words]
    for each in record_of(person):
        known += distinctive(each.pk, each.name, each.phone, each.email)
        for text in each.texts.values_list("text", flat=True):
            number, address = (text, "") if "@" not in text else ("", text)
            known += distinctive(each.pk, text, number, address)
    return known


def refuse(person: Person) -> None:
    """Raise Refused: `erased-already`, `not-a-person`, `last-administrator`."""
    refuse_first(
        (
            person.erased_at is not None,
            Refused(
                "erased-already",
                _("This person’s data has already been erased. There is nothing to do."),
            ),
        ),
        (
            people.is_program(person),
            Refused(
                "not-a-person",
                _("This is a program or a shared device, not a person. End its login instead."),
            ),
        ),
    )
    people.require_another_administrator(person)


def erase(act: Act, person: Person, known: Sequence[Known]) -> None:
    """Erase the words of a person, and end all that they can do. In the caller's transaction."""
    redaction.require_administrator(act.actor)
    record = record_of(person)
    singles = list(redaction.single_words(record))
    users = list(User.objects.filter(person__in=record))
    texts = {each.text for each in known} | {user.username for user in users}
    texts |= {text for each in record for text in (each.name, each.phone, each.email) if text}
    PersonalText.objects.filter(Q(person__in=record) | Q(person=None, text__in=texts)).delete()
    for user in users:
        _end_sign_in(act, user)
    AccountChange.objects.filter(person__in=record).delete()
    Membership.objects.filter(person__in=record).delete()
    for each in record:
        Person.objects.filter(pk=each.pk).update(
            name=f"Person {each.pk}",
            phone="",
            email="",
            language="",
            pin="",
            home_room=None,
            left_on=each.left_on or clock.today("UTC"),
            erased_at=act.received_at,
        )
    _take_out(TYPED, Names(known))
    _take_out(FACTS, Names([*known, *singles]))
    redaction.redact(act, person, known, singles)


def _end_sign_in(act: Act, user: User) -> None:
    """Their sign-in, wherever it is open, and what was made with it; the row stays for what it
    did."""
    sign_ins.end_everywhere(user, act.received_at)
    SignedIn.objects.filter(user=user).delete()
    Token.objects.filter(user=user).delete()
    PasswordReset.objects.filter(user=user).delete()
    user.username, user.email = f"person-{user.person.pk}", ""
    user.is_active = user.is_staff = user.is_superuser = False
    user.last_login = None
    user.set_unusable_password()
    user.save()


def _take_out(columns: frozenset[str], names: Names) -> None:
    for model, field in changing(columns):
        for row in model._base_manager.only("pk", field.name).iterator(chunk_size=500):
            value = getattr(row, field.attname)
            other = replaced(value, names, lambda each: f"Person {each.person}", kept=True)
            if other != value:
                model._base_manager.filter(pk=row.pk).update(**{field.name: other})


def changing(columns: frozenset[str]) -> Iterator[tuple[type[Model], "Field[Any, Any]"]]:
    """Columns of these names in our tables whose rows change, but those that are erased whole."""
    for model in apps.get_models():
        ours = model._meta.app_label in _APPS
        if ours and model not in {*append_only.registered(), *THEIR_OWN}:
            for field in model._meta.concrete_fields:
                if field.name in columns and isinstance(field, CharField | JSONField):
                    yield model, field


def named_after(names: Names) -> list[str]:
    """What things go by that still tells of somebody: whoever keeps them changes it."""
    texts = {
        text
        for model, field in changing(OF_THINGS)
        for text in model._base_manager.values_list(field.name, flat=True)
    }
    return sorted(
        text for text in texts if any(isinstance(each, Known) for each in names.split(text))
    )


# ------------------------------------------------------------------------------- as one document
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
        "secret",
        "older_secret",
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
    record = record_of(person)
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


def _tables() -> list[type[Model]]:
    """Ours, the answers last."""
    return sorted(
        [each for each in apps.get_models() if each._meta.app_label in _APPS],
        key=lambda model: model is KeptAnswer,
    )


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
