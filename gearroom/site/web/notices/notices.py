"""What was told to whom and when, the next weekly email, and how somebody wants to hear."""

from __future__ import annotations

from datetime import time
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from gearroom.core.acts.act import Act
from gearroom.core.acts.problems import Invalid, NotFound, Problem
from gearroom.core.models import Person
from gearroom.core.services.people import people
from gearroom.site.web.page.shell import Done, acted, actor, once_a_form, page, show
from kits.models import Notice
from kits.rules.notices.policy import WEEKLY, When
from kits.services.mail import digest, notice_log
from kits.services.mail.notice_log import State
from kits.services.notices import preferences, recipients, registry
from kits.services.notices.registry import NOTICE_KINDS

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
    When.AT_ONCE: gettext_lazy("At once"),
    When.WEEKLY: gettext_lazy("In the weekly email"),
    When.NEVER: gettext_lazy("Not at all"),
}


# ------------------------------------------------------------------------------ what was told
@require_safe
@page("own_account")
def every(request: HttpRequest) -> HttpResponse:
    """What was told to whom, newest first: one's own, and that of the rooms one keeps."""
    state, kind = request.GET.get("state", ""), request.GET.get("kind", "")
    rows = notice_log.visible_to(actor(request), state=state if state in set(State) else None)
    if kind in NOTICE_KINDS:
        rows = rows.filter(kind=kind)
    name = request.GET.get("name", "").strip()[:120]
    if name:
        rows = rows.filter(person__name__icontains=name)
    found = list(_before(request, rows).order_by("-id")[: _A_PAGE + 1])
    further = request.GET.copy()
    if len(found) > _A_PAGE:
        further["before"] = str(found[_A_PAGE - 1].pk)
    return show(
        request,
        "site/notices/notices.html",
        {
            "notices": [_row(notice) for notice in found[:_A_PAGE]],
            "further": further.urlencode() if len(found) > _A_PAGE else "",
            "states": _STATES,
            "kinds": {code: registry.title(code) for code in NOTICE_KINDS},
            "state": state,
            "kind": kind,
            "name": name,
        },
    )


def _before(request: HttpRequest, rows: QuerySet[Notice]) -> QuerySet[Notice]:
    before = request.GET.get("before", "")
    return rows.filter(pk__lt=int(before)) if before.isascii() and before.isdigit() else rows


def _row(notice: Notice) -> dict[str, Any]:
    state = notice_log.state(notice)
    return {
        "notice": notice,
        "title": registry.title(notice.kind),
        "state": _STATES[state],
        "look": _LOOKS.get(state, "short"),
        "why": notice_log.why(notice),
    }


@require_safe
@page("own_account")
def one(request: HttpRequest, notice: int) -> HttpResponse:
    """One notice: what it says, to whom, and why it was or was not sent."""
    who = actor(request)
    found = notice_log.get(who, notice)
    facts = {
        **_row(found),
        "text": notice_log.text(who, found),
        "phones": found.person == who.person or who.may("see_people", found.room_id),
        "may_send": who.may("send_notice_again", found.room_id),
    }
    return show(request, "site/notices/notice.html", facts)


@require_POST
@page("send_notice_again")
def send_again(request: HttpRequest, notice: int) -> HttpResponse:
    """Tell the same once more."""

    def perform(act: Act) -> Done:
        again = notice_log.send_again(act, notice_log.get(act.actor, notice))
        says = _("It is sent to %(name)s once more within a minute.") % {"name": again.person.name}
        return Done(says, to=reverse("notice", args=[again.pk]))

    return acted(request, perform, to=reverse("notice", args=[notice]))


@require_safe
@page("own_account")
def next_weekly(request: HttpRequest) -> HttpResponse:
    """The next weekly email as it would be now: one's own, or that of somebody of one's rooms."""
    who = actor(request)
    wanted = request.GET.get("person", "")
    if wanted.isascii() and wanted.isdigit() and len(wanted) < 19:
        person = people.get(who, int(wanted))
    else:
        person = _own(request)
    due_at, letter = digest.preview(person, rooms=notice_log.rooms_of_weekly(who, person))
    return show(
        request,
        "site/notices/weekly_email.html",
        {"reader": person, "own": person == who.person, "due_at": due_at, "letter": letter},
    )


def _own(request: HttpRequest) -> Person:
    person = actor(request).person
    if person is None:
        raise NotFound("person")
    return person


# ------------------------------------------------------------------------------- how one hears
@page("choose_notices")
def settings(request: HttpRequest) -> HttpResponse:
    """When the weekly email comes, quiet hours, and what is told at once."""
    if request.method == "POST":
        try:
            return acted(request, lambda act: _changed(request, act), to=request.path)
        except Problem as problem:
            return _settings_page(request, problem=problem)
    return _settings_page(request)


def _settings_page(request: HttpRequest, **more: Any) -> HttpResponse:
    person = _own(request)
    chosen = preferences.choices(person)
    problem = more.get("problem")
    facts = {
        "own": person,
        "how": preferences.of(person),
        "zone": recipients.zone_of(person),
        "default_quiet": preferences.default_quiet(),
        "days": WEEKDAYS,
        "kinds": [
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
        **more,
    }
    return show(
        request, "site/notices/preferences.html", facts, status=problem.status if problem else 200
    )


def _changed(request: HttpRequest, act: Act) -> Done:
    said = request.POST
    choices = {
        code: _when(said[f"when-{code}"])
        for code, kind in NOTICE_KINDS.items()
        if kind.policy.may_choose and f"when-{code}" in said
    }
    preferences.change(
        act,
        _own(request),
        choices=choices,
        weekly_on=_number(said.get("weekly_on", ""), 0, 6, "weekly_on"),
        weekly_at=_time(said.get("weekly_at", ""), "weekly_at"),
        quiet_from=_time(said["quiet_from"], "quiet_from") if said.get("quiet_from") else None,
        quiet_until=_time(said["quiet_until"], "quiet_until") if said.get("quiet_until") else None,
        minutes_a_kit=_number(said.get("minutes_a_kit", ""), 1, 480, "minutes_a_kit"),
    )
    return Done(_("Saved. It applies from the next email."))


def _when(text: str) -> str:
    try:
        return When(text).value
    except ValueError:
        raise Invalid(_("Choose at once, in the weekly email, or not at all.")) from None


def _time(text: str, field: str) -> Any:
    try:
        return time.fromisoformat(text)
    except ValueError:
        raise Invalid(_("Enter a time of day, such as 07:00."), field=field) from None


def _number(text: str, least: int, most: int, field: str) -> int:
    text = text.strip()
    if not (text.isascii() and text.isdigit() and len(text) < 6 and least <= int(text) <= most):
        raise Invalid(
            _("Enter a whole number from %(least)d to %(most)d.") % {"least": least, "most": most},
            field=field,
        )
    return int(text)


# ------------------------------------------------------------------------------------ the calendar
@require_POST
@page("choose_notices")
def new_calendar(request: HttpRequest) -> HttpResponse:
    """A new secret address of one's calendar, shown this once."""

    def perform(act: Act) -> dict[str, Any]:
        secret = preferences.new_calendar(act, _own(request))
        return {"address": request.build_absolute_uri(f"/api/v1/calendars/{secret}/")}

    made = once_a_form(request, perform, kept=lambda body: {**body, "address": None})
    return _settings_page(request, address=made["address"], asked_again=made["address"] is None)


@require_POST
@page("choose_notices")
def end_calendar(request: HttpRequest) -> HttpResponse:
    """Have the address of one's calendar show nothing any more."""

    def perform(act: Act) -> Done:
        preferences.end_calendar(act, _own(request))
        return Done(_("The old calendar address shows nothing any more."))

    return acted(request, perform, to=reverse("notice-settings"))
