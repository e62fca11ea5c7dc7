"""Views that do one act by a form.

@form_view("edit_shelf", "room", refused=_room_page)
def add_shelf(act, request, room):                # once for the form's key
    shelf = shelves.add_shelf(act, find.room(act.actor, room), request.POST.get("name", ""))
    return Done(_("Shelf %(shelf)s is added.") % {"shelf": shelf.name})
"""

import inspect
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.core.models import Person
from gearroom.core.services.people import people
from gearroom.site.web.page.form_acts import Done, acted
from gearroom.site.web.page.forms import Moment, PageForm, ShortText
from gearroom.site.web.page.shell import View, page, post_page

Page = Callable[..., HttpResponse]
"""The page that a form stands on: of the request, what its address names, and the `problem` that
the form met, if any."""


def form_view(
    use_case: str,
    to: str = "",
    *,
    part: str = "",
    page_of: Page | None = None,
    refused: View | None = None,
) -> Callable[[Callable[..., Done]], View]:
    """Make a function of the act and the request a view (see `shell.page` for `use_case`).

    Afterwards it leads to the address named `to` of the same things, and there to `part` (such as
    `#roles`); `Done` may name another. `page_of` is what a GET shows, and a form that was refused;
    `refused` shows the latter alone, where a GET is not taken; it may be another view,
    which is not asked again who may see it.
    """
    visible = page_of or refused
    beside: Page | None = inspect.unwrap(visible) if visible else None

    def wrap(perform: Callable[..., Done]) -> View:
        @wraps(perform)
        def view(request: HttpRequest, **address: Any) -> HttpResponse:
            if page_of is not None and request.method != "POST":
                return page_of(request, **address)

            try:
                return acted(
                    request,
                    lambda act: perform(act, request, **address),
                    to=reverse(to, kwargs=address) + part if to else "",
                )
            except Problem as problem:
                if beside is None:
                    raise
                return beside(request, **address, problem=problem)

        return (page if page_of else post_page)(use_case)(view)

    return wrap


# -------------------------------------- what several forms say of an act besides what is done
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
    if (at := BackdatedForm.read(sent, zone=zone)["occurred_at"]) is None:
        return act
    if at > act.received_at:
        raise Invalid(
            _(
                "The time you entered is in the future. Enter the time that is written on the "
                "paper sheet."
            ),
            field="occurred_at",
        )
    return replace(act, claimed_at=at)


def new_person(act: Act, sent: Mapping[str, str]) -> Person | None:
    """Somebody not on the list, put on record by the name and telephone of the form; None where it
    has neither. Raises what `people.add_holder` raises."""
    name, phone = NewPersonForm.read(sent).values()
    return people.add_holder(act, name=name, phone=phone) if name or phone else None
