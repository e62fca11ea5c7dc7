"""Where events are sent: the list, one with what was sent to it, and what can be done about it."""

import uuid
from functools import partial
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core import clock
from gearroom.core.acts import Act, Actor, Problem
from gearroom.core.models import Room
from gearroom.core.outbound import FAILURE_TEXTS, Failure
from gearroom.core.services.people import rooms
from gearroom.site.web.page import (
    FOREIGN,
    Done,
    Line,
    PageForm,
    Several,
    actor,
    form_view,
    id_of,
    page,
    post_page,
    read_page,
    show,
    shown_once,
)
from gearroom.site.web.webhooks.event_titles import names_in, title_of
from kits.models import Webhook, WebhookAttempt, WebhookStop
from kits.rules.events import EVENT_TYPES
from kits.services.lookup import find
from kits.services.notices.texts.upkeep import WHY_STOPPED
from kits.services.webhooks import content, owners, webhooks

_A_PAGE = 10


class WebhookForm(PageForm):
    """What a webhook is for, where events are sent, and which."""

    name = Line(80, message=gettext_lazy("Enter what the webhook is for, in up to 80 characters."))
    address = Line(2000, message=gettext_lazy("Enter the address, in up to 2,000 characters."))
    room = Line(80, required=False)
    types = Several()


class EventForm(PageForm):
    """Which event a button is about."""

    event = forms.UUIDField(error_messages=dict.fromkeys(("required", "invalid"), FOREIGN))


# --------------------------------------------------------------------------------------- the list
@page("edit_webhook")
def own_webhooks(request: HttpRequest) -> HttpResponse:
    """The webhooks that one may change; the secret of a new one is shown this once."""
    if request.method != "POST":
        return _list_page(request)

    def perform(act: Act) -> dict[str, Any]:
        webhook, secret = webhooks.add(act, **_fields(act, request))
        return {"id": webhook.pk, "name": webhook.name, "secret": secret}

    return shown_once(request, perform, "secret", partial(_list_page, request))


def _fields(act: Act, request: HttpRequest) -> dict[str, Any]:
    values = WebhookForm.read(request.POST)
    values["room"] = find.room(act.actor, values["room"]) if values["room"] else None
    return values


def _list_page(
    request: HttpRequest, problem: Problem | None = None, made: dict[str, Any] | None = None
) -> HttpResponse:
    who = actor(request)
    return show(
        request,
        "site/webhooks/webhooks.html",
        problem=problem,
        made=made,
        webhooks=[(each, *_look(each)) for each in owners.webhooks_of(who).order_by("name", "id")],
        **_choices(request, who, None, kept=problem is not None),
    )


def _choices(
    request: HttpRequest, who: Actor, webhook: Webhook | None, *, kept: bool
) -> dict[str, Any]:
    """What the form of a webhook shows: what was sent where that was refused (`kept`), else what it
    has."""
    sent = request.POST
    room = webhook.room.slug if webhook and webhook.room else ""
    types = webhook.types if webhook else []
    return {
        "name": sent.get("name", "") if kept else webhook.name if webhook else "",
        "address": sent.get("address", "") if kept else webhook.address if webhook else "",
        "room_of_it": sent.get("room", "") if kept else room,
        "own_rooms": _own_rooms(who),
        "types": [(name, title_of(name)) for name in EVENT_TYPES],
        "wanted": sent.getlist("types") if kept else types,
    }


def _own_rooms(who: Actor) -> list[Room]:
    return [room for room in rooms.visible_to(who) if who.may("edit_webhook", room.pk)]


def _look(webhook: Webhook) -> tuple[str, str]:
    """How a webhook stands: the look of it, and in a word."""
    if webhook.stopped == WebhookStop.OFF:
        return "", _("Off")
    if webhook.stopped:
        return "stop", _("Stopped")
    return ("short", _("Failing")) if webhook.tries else ("ok", _("On"))


# ------------------------------------------------------------------------------------------- one
def _one_page(
    request: HttpRequest,
    webhook: int,
    problem: Problem | None = None,
    made: dict[str, Any] | None = None,
) -> HttpResponse:
    who = actor(request)
    row = owners.get(who, webhook)
    before = id_of(request.GET.get("before", ""))
    attempts = row.attempts.select_related("event").order_by("-id")
    if before is not None:
        attempts = attempts.filter(pk__lt=before)
    visible = list(attempts[: _A_PAGE + 1])
    delivery = webhooks.delivery(row)
    names = names_in(who, [each.event for each in visible if each.event])
    look, word = _look(row)
    return show(
        request,
        "site/webhooks/webhook.html",
        problem=problem,
        made=made,
        webhook=row,
        look=look,
        word=word,
        stopped=WHY_STOPPED[WebhookStop(row.stopped)] if row.stopped else "",
        older_until=until if (until := row.older_until) and until > clock.now() else None,
        needs_secret=row.stopped == WebhookStop.NO_SECRET,
        delivery=delivery,
        next_title=title_of(delivery.next_type) if delivery.next_type else "",
        attempts=[_attempt(each, names) for each in visible[:_A_PAGE]],
        waiting=any(each.at is None for each in visible),
        before=visible[_A_PAGE - 1].pk if len(visible) > _A_PAGE else None,
        **_choices(request, who, row, kept=problem is not None and "name" in request.POST),
    )


def _attempt(attempt: WebhookAttempt, names: dict[int, str]) -> dict[str, Any]:
    event = attempt.event
    return {
        "attempt": attempt,
        "title": title_of(event.type if event else content.TEST),
        "event": event,
        "about": names[event.pk] if event else "",
        "look": "" if attempt.at is None else "ok" if attempt.accepted else "stop",
        "failure": FAILURE_TEXTS[Failure(attempt.failure)] if attempt.failure else "",
    }


@read_page("edit_webhook")
def webhook(request: HttpRequest, webhook: int) -> HttpResponse:
    """One webhook."""
    return _one_page(request, webhook)


@form_view("edit_webhook", "webhook", refused=_one_page)
def change(act: Act, request: HttpRequest, webhook: int) -> Done:
    """Change what it is for, where events are sent, and which."""
    webhooks.change(act, owners.get(act.actor, webhook), **_fields(act, request))
    return Done(_("Saved."))


@form_view("edit_webhook", "webhook", refused=_one_page)
def turn_off(act: Act, request: HttpRequest, webhook: int) -> Done:
    """Send nothing to it for now."""
    webhooks.change(act, owners.get(act.actor, webhook), on=False)
    return Done(_("Nothing is sent to it until you turn it on again. Nothing is lost."))


@form_view("edit_webhook", "webhook", refused=_one_page)
def resume(act: Act, request: HttpRequest, webhook: int) -> Done:
    """Send to it from where it stopped, at once."""
    webhooks.resume(act, owners.get(act.actor, webhook))
    return Done(_("What is waiting is sent now, in order."))


@form_view("edit_webhook", "webhook", refused=_one_page)
def test(act: Act, request: HttpRequest, webhook: int) -> Done:
    """Send a test."""
    webhooks.test(act, owners.get(act.actor, webhook))
    return Done(_("The test is sent within a minute. Reload the page to see what came of it."))


@form_view("edit_webhook", "webhook", refused=_one_page)
def send_again(act: Act, request: HttpRequest, webhook: int) -> Done:
    """Send an event once more."""
    row, event = owners.get(act.actor, webhook), _event(request)
    webhooks.send_again(act, row, event)
    return Done(_("It is sent again within a minute. Reload the page to see what came of it."))


@form_view("edit_webhook", "webhook", refused=_one_page)
def leave_out(act: Act, request: HttpRequest, webhook: int) -> Done:
    """Leave out the event that fails."""
    row, event = owners.get(act.actor, webhook), _event(request)
    webhooks.leave_out(act, row, event)
    return Done(_("It is left out. What comes after it is sent now."))


def _event(request: HttpRequest) -> uuid.UUID:
    event: uuid.UUID = EventForm.read(request.POST)["event"]
    return event


@post_page("edit_webhook")
def rotate(request: HttpRequest, webhook: int) -> HttpResponse:
    """Give it a new secret, which is shown this once."""

    def perform(act: Act) -> dict[str, Any]:
        row, secret = webhooks.rotate(act, owners.get(act.actor, webhook))
        return {"id": row.pk, "name": row.name, "secret": secret}

    return shown_once(request, perform, "secret", partial(_one_page, request, webhook))


@form_view("edit_webhook", refused=_one_page)
def remove(act: Act, request: HttpRequest, webhook: int) -> Done:
    """Remove it."""
    row = owners.get(act.actor, webhook)
    webhooks.remove(act, row)
    return Done(
        _("The webhook “%(name)s” has been removed.") % {"name": row.name}, to=reverse("webhooks")
    )
