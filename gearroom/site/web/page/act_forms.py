"""What several forms say of an act besides what is done: when it really was, and somebody new."""

from collections.abc import Mapping
from dataclasses import replace

from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid
from gearroom.core.models import Person
from gearroom.core.services.people import people
from gearroom.site.web.page.forms import Moment, PageForm, ShortText


class BackdatedForm(PageForm):
    """When an act really was, as the paper sheet has it."""

    occurred_at = Moment(required=False, label=gettext_lazy("Actual time"))


class NewPersonForm(PageForm):
    """Somebody not on the list."""

    new_name = ShortText(120)
    new_phone = ShortText(40)


def backdated(act: Act, sent: Mapping[str, str], zone: str) -> Act:
    """The act as of when it really was, by the clock of `zone`, where the form says so. Raises
    Invalid for a time that is still to come."""
    at = BackdatedForm.read(sent, zone=zone)["occurred_at"]
    if at is None:
        return act
    if at > act.received_at:
        raise Invalid(
            _("The actual time is in the future. Enter the time on the paper sheet."),
            field="occurred_at",
        )
    return replace(act, claimed_at=at)


def new_person(act: Act, sent: Mapping[str, str]) -> Person | None:
    """Somebody not on the list, put on record by the name and telephone of the form; None where it
    has neither. Raises what `people.add_holder` raises."""
    name, phone = NewPersonForm.read(sent).values()
    return people.add_holder(act, name=name, phone=phone) if name or phone else None
