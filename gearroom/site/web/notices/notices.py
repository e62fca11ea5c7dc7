"""What was sent to whom and when, the next weekly email, and notification preferences."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Actor, NotFound, Problem
from gearroom.core.models import Person
from gearroom.core.services.people import people
from gearroom.site.web.page import (
    Choice,
    Done,
    PageForm,
    TimeOfDay,
    WholeNumber,
    actor,
    form_view,
    id_of,
    once_a_form,
    post_page,
    read_field,
    read_page,
    show,
)
from kits.models import CalendarBy, Notice
from kits.rules.notices.policy import WEEKLY, When
from kits.services.mail import notice_log
from kits.services.mail.digest import digest
from kits.services.mail.notice_log import State
from kits.services.notices import NOTICE_KINDS, preferences, recipients, registry

_A_PAGE = 40
_STATES = {
    State.SENT: gettext_lazy("Sent"),
    State.WAITING: gettext_lazy("Waiting"),
    State.IN_THE_WEEKLY: gettext_lazy("In the weekly email"),
    State.NOT_SENT: gettext_lazy("Not sent"),
    State.TAKEN_BACK: gettext_lazy("Withdrawn"),
}
_LOOKS = {State.SENT: "ok", State.NOT_SENT: "stop", State.TAKEN_BACK: ""}
_WHENS = {
    When.AT_ONCE: gettext_lazy("Immediately"),
    When.WEEKLY: gettext_lazy("In the weekly email"),
    When.NEVER: gettext_lazy("Not at all"),
}
_CALENDAR_BY = {
    CalendarBy.BATCH.value: gettext_lazy("one event for each batch"),
    CalendarBy.MONTH.value: gettext_lazy("one event for each month"),
}
_NUMBER = gettext_lazy("Enter a whole number from %(least)d to %(most)d.")
_TIME = gettext_lazy("Enter a time of day, such as 07:00.")


# ------------------------------------------------------------------------------------- the log
@read_page("own_account")
def log(request: HttpRequest) -> HttpResponse:
    """What was sent to whom, newest first: one's own, and that of the rooms one keeps."""
    sent = request.GET
    state, kind, name = sent.get("state", ""), sent.get("kind", ""), sent.get("name", "").strip()
    name, before = name[:120], id_of(sent.get("before", ""))
    rows = notice_log.visible_to(actor(request), state=state if state in set(State) else None)
    if kind in NOTICE_KINDS:
        rows = rows.filter(kind=kind)
    if name:
        rows = rows.filter(person__name__icontains=name)
    if before is not None:
        rows = rows.filter(pk__lt=before)
    notices = list(rows.order_by("-id")[: _A_PAGE + 1])
    further = sent.copy()
    if len(notices) > _A_PAGE:
        further["before"] = str(notices[_A_PAGE - 1].pk)
    return show(
        request,
        "site/notices/notices.html",
        notices=[_row(notice) for notice in notices[:_A_PAGE]],
        further=further.urlencode() if len(notices) > _A_PAGE else "",
        states=_STATES,
        kinds={code: registry.title(code) for code in NOTICE_KINDS},
        state=state,
        kind=kind,
        name=name,
    )


def _row(notice: Notice) -> dict[str, Any]:
    state = notice_log.state(notice)
    return {
        "notice": notice,
        "title": registry.title(notice.kind),
        "state": _STATES[state],
        "look": _LOOKS.get(state, "short"),
        "why": notice_log.why(notice),
    }


@read_page("own_account")
def notice(request: HttpRequest, notice: int) -> HttpResponse:
    """One notice: what it says, to whom, and why it was or was not sent."""
    who = actor(request)
    row = notice_log.get(who, notice)
    return show(
        request,
        "site/notices/notice.html",
        **_row(row),
        text=notice_log.text(who, row),
        phones=row.person == who.person or who.may("see_people", row.room_id),
        may_send=who.may("send_notice_again", row.room_id),
    )


@form_view("send_notice_again", "notice")
def send_again(act: Act, request: HttpRequest, notice: int) -> Done:
    """Send the same once more."""
    again = notice_log.send_again(act, notice_log.get(act.actor, notice))
    return Done(
        _("The notification will be sent to %(name)s again within a minute.")
        % {"name": again.person.name},
        to=reverse("notice", args=[again.pk]),
    )


@read_page("own_account")
def next_weekly(request: HttpRequest) -> HttpResponse:
    """The next weekly email as it would be now: one's own, or that of somebody of one's rooms."""
    who, pk = actor(request), id_of(request.GET.get("person", ""))
    person = _own_person(who) if pk is None else people.get(who, pk)
    due_at, letter = digest.preview(person, rooms=notice_log.rooms_of_weekly(who, person))
    return show(
        request,
        "site/notices/weekly_email.html",
        reader=person,
        own=person == who.person,
        due_at=due_at,
        letter=letter,
    )


def _own_person(who: Actor) -> Person:
    if who.person is None:
        raise NotFound("person")
    return who.person


# --------------------------------------------------------------------------------- preferences
class PreferencesForm(PageForm):
    """When the weekly email comes, and quiet hours."""

    weekly_on = WholeNumber(most=6, message=_NUMBER)
    weekly_at = TimeOfDay(message=_TIME)
    quiet_from = TimeOfDay(required=False, message=_TIME)
    quiet_until = TimeOfDay(required=False, message=_TIME)
    minutes_a_kit = WholeNumber(least=1, most=480, message=_NUMBER)
    calendar_by = Choice(CalendarBy, required=False, initial=CalendarBy.BATCH)


_WHEN = Choice(
    When, message=gettext_lazy("Choose immediately, in the weekly email, or not at all.")
)
"""When notices of a kind are sent."""


def _page(
    request: HttpRequest,
    problem: Problem | None = None,
    made: dict[str, Any] | None = None,
) -> HttpResponse:
    person = _own_person(actor(request))
    chosen = preferences.choices(person)
    return show(
        request,
        "site/notices/preferences.html",
        problem=problem,
        own=person,
        how=preferences.of(person),
        zone=recipients.zone_of(person),
        default_quiet=preferences.default_quiet(),
        days=WEEKDAYS,
        calendar_by=_CALENDAR_BY.items(),
        kinds=[
            {
                "code": code,
                "title": registry.title(code),
                "fixed": not kind.policy.may_choose,
                "when": str(chosen[code]),
                "whens": [
                    (when.value, label)
                    for when, label in _WHENS.items()
                    if code != WEEKLY or when is not When.AT_ONCE
                ],
            }
            for code, kind in NOTICE_KINDS.items()
        ],
        made=made,
    )


@form_view("choose_notices", "notice-settings", page_of=_page)
def settings(act: Act, request: HttpRequest) -> Done:
    """When the weekly email comes, quiet hours, and what is sent at once."""
    sent = request.POST
    choices = {
        code: read_field(_WHEN, sent, f"when-{code}").value
        for code, kind in NOTICE_KINDS.items()
        if kind.policy.may_choose and f"when-{code}" in sent
    }
    preferences.change(act, _own_person(act.actor), choices=choices, **PreferencesForm.read(sent))
    return Done(_("Saved. The change applies from the next email."))


# ------------------------------------------------------------------------------------ the calendar
@post_page("choose_notices")
def new_calendar(request: HttpRequest) -> HttpResponse:
    """A new secret address of one's calendar, shown this once."""

    def perform(act: Act) -> dict[str, Any]:
        secret = preferences.new_calendar(act, _own_person(act.actor))
        return {"address": request.build_absolute_uri(f"/api/v1/calendars/{secret}/")}

    made = once_a_form(request, perform, kept=lambda body: {**body, "address": None})
    return _page(request, made=made)


@form_view("choose_notices", "notice-settings")
def end_calendar(act: Act, request: HttpRequest) -> Done:
    """Have the address of one's calendar show nothing any more."""
    preferences.end_calendar(act, _own_person(act.actor))
    return Done(_("The old calendar address no longer shows anything."))
