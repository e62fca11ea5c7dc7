"""What a form says of an act besides what is done: when it really was, and somebody new."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from django.utils.translation import gettext as _

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid
from gearroom.core.models import Person
from gearroom.core.services.people import people
from gearroom.site.web.page import fields


def as_it_was(act: Act, said: Mapping[str, str], zone: str) -> Act:
    """The act as of when it really was (`occurred_at`, by the clock of `zone`), where the form
    says so: as the paper sheet has it. Raises Invalid for a time that is still to come."""
    if not said.get("occurred_at"):
        return act
    at = fields.instant(said, "occurred_at", zone, _("When it really was"))
    if at > act.received_at:
        raise Invalid(
            _("When it really was: that is still to come. Enter the time on the sheet."),
            field="occurred_at",
        )
    return replace(act, claimed_at=at)


def somebody_new(act: Act, said: Mapping[str, str]) -> Person | None:
    """Somebody not on the list, put on record by the name and telephone of the form; None where it
    has neither. Raises what `people.add_holder` raises."""
    name, phone = fields.words(said, "new_name", 120), fields.words(said, "new_phone", 40)
    return people.add_holder(act, name=name, phone=phone) if name or phone else None
