"""Somebody's notification settings: when the weekly email comes, quiet hours, which kinds are sent
when; and the secret address of their calendar."""

import hashlib
import secrets
from collections.abc import Iterable, Mapping, Sequence
from datetime import time
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, locked
from gearroom.core.models import Person
from gearroom.core.models.installation import current
from gearroom.core.rules.grouping import grouped
from kits.models import NotificationChoice, NotificationPreferences
from kits.rules.notices.policy import WEEKLY, When
from kits.services.notices.registry import NOTICE_KINDS, when_sent


def of(person: Person) -> NotificationPreferences:
    """Somebody's settings; the defaults where they set nothing."""
    return of_many([person])[person.pk]


def of_many(people: Iterable[Person]) -> dict[int, NotificationPreferences]:
    """The settings of each of these people, by id."""
    by_id = {person.pk: person for person in people}
    rows = {row.person_id: row for row in NotificationPreferences.objects.filter(person__in=by_id)}
    return {
        pk: rows.get(pk) or NotificationPreferences(person=person) for pk, person in by_id.items()
    }


def default_quiet() -> Sequence[time]:
    """The quiet hours of those who chose none, from and until; empty: none."""
    return current().quiet_hours


def choices_of(people: Iterable[int]) -> dict[int, dict[str, When]]:
    """What each of these people (ids) chose for which kind."""
    rows = NotificationChoice.objects.filter(person__in=list(people))
    chosen = grouped((row.person_id, (row.kind, When(row.when))) for row in rows)
    return {person: dict(choices) for person, choices in chosen.items()}


def choices(person: Person) -> dict[str, When]:
    """When notices of each kind are sent to somebody."""
    chosen = choices_of([person.pk]).get(person.pk, {})
    return {code: when_sent(code, chosen) for code in NOTICE_KINDS}


@transaction.atomic
def change(
    act: Act,
    person: Person,
    *,
    choices: Mapping[str, str] | None = None,
    **fields: Any,
) -> NotificationPreferences:
    """Change how somebody is notified. `fields` are of the preferences: `weekly_on` (0: Monday),
    `weekly_at`, `quiet_from` and `quiet_until` (both or neither), `minutes_a_kit`, `calendar_by`.

    Raises Invalid for a kind that is not there, or that cannot be chosen.
    """
    act.actor.require("choose_notices")
    _check(choices or {})
    person = locked(act, person)  # there may be no row of settings yet
    row, _made = NotificationPreferences.objects.get_or_create(person=person)
    for field, value in fields.items():
        setattr(row, field, value)
    if (row.quiet_from is None) != (row.quiet_until is None):
        raise Invalid(
            _("Enter both the start and the end of the quiet hours, or neither."),
            field="quiet_from",
        )
    row.save(update_fields=list(fields))
    for kind, when in (choices or {}).items():
        NotificationChoice.objects.update_or_create(
            person=person, kind=kind, defaults={"when": When(when).value}
        )
    return row


def _check(choices: Mapping[str, str]) -> None:
    for kind, when in choices.items():
        if kind not in NOTICE_KINDS:
            raise Invalid(
                _("“%(kind)s” is not a kind of notification. The kinds are: %(kinds)s.")
                % {"kind": kind, "kinds": ", ".join(NOTICE_KINDS)},
                field="choices",
            )
        if not NOTICE_KINDS[kind].policy.may_choose:
            raise Invalid(
                _("“%(kind)s” cannot be turned off or delayed.") % {"kind": kind}, field="choices"
            )
        if kind == WEEKLY and When(when) is When.AT_ONCE:
            raise Invalid(_("The weekly email can only be sent weekly or never."), field="choices")


# -------------------------------------------------------------------------------------- calendar
def new_calendar(act: Act, person: Person) -> str:
    """A new secret for somebody's calendar; an address given out before shows nothing any more.
    Only its SHA-256 is kept."""
    act.actor.require("choose_notices")
    secret = secrets.token_urlsafe(32)
    NotificationPreferences.objects.update_or_create(
        person=person, defaults={"calendar_sha256": _hash(secret)}
    )
    return secret


def end_calendar(act: Act, person: Person) -> None:
    """Have the address of somebody's calendar show nothing any more."""
    act.actor.require("choose_notices")
    NotificationPreferences.objects.filter(person=person).update(calendar_sha256=None)


def by_secret(secret: str) -> Person | None:
    """Whose calendar a secret opens."""
    row = (
        NotificationPreferences.objects.select_related("person__home_room")
        .filter(calendar_sha256=_hash(secret), person__left_on__isnull=True)
        .first()
    )
    return row.person if row else None


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
