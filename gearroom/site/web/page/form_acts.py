"""What a form of a page does: one act, once for the form's key, and a sentence on the next page.

if request.method == "POST":
    def perform(act):                             # runs once for the form's key
        done = sorting.restock(act, find.kit(act.actor, kit))
        return Done(_("Put in."), entry=done.entry.pk)
    return acted(request, perform, to=reverse("kit", args=[kit]))
"""

import hashlib
import uuid
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Problem, Unacceptable, database_problems
from gearroom.core.services.idempotency import once
from gearroom.site.web.page import errors
from gearroom.site.web.page.shell import actor, here

NOT_CONTENT = {"csrfmiddlewaretoken", "key", "since"}
"""Fields of a form that do not say what is to be done."""


@dataclass(frozen=True)
class Done:
    """What came of an act: a sentence for the next page, and the entry that undoing it names."""

    says: str
    entry: int | None = None
    to: str = ""


def once_a_form(
    request: HttpRequest,
    perform: Callable[[Act], Any],
    kept: Callable[[Any], Any] = lambda body: body,
) -> Any:
    """What the act of a form came to: done the first time its key is sent, remembered after that.
    `kept` makes of it what may be remembered (a secret may not).

    Raises the Problem that kept it from being done.
    """
    try:
        key = uuid.UUID(request.POST.get("key", ""))
    except ValueError:
        key = uuid.uuid4()  # a form that was made by hand: done as often as it is sent
    act = Act(actor=actor(request), key=key, room=here(request))
    try:
        with database_problems():
            answer = once(
                key=key,
                user=request.user,  # type: ignore[arg-type]  # signed in
                request={"method": "POST", "path": request.path, "body": _content(request)},
                perform=lambda: (200, perform(act)),
                instance=request.path,
                kept=kept,
            )
    except Unacceptable as problem:
        if problem.code == "key-reused":  # come back to by the browser's *Back*, and changed
            problem.detail = _(
                "This form has been sent before, with other content. Look at what has been "
                "recorded. If this is still to be recorded too, open the page again and enter it."
            )
        raise
    if answer.status >= 400:
        zone = act.room.time_zone if act.room else settings.TIME_ZONE
        raise errors.Remembered(answer.body, zone)
    return answer.body


def shown_once(
    request: HttpRequest,
    perform: Callable[[Act], dict[str, Any]],
    secret: str,
    page_of: Callable[..., HttpResponse],
) -> HttpResponse:
    """The page with what an act `made`, whose `secret` is shown this once and kept nowhere; or with
    the `problem` that it met."""

    def kept(body: dict[str, Any]) -> dict[str, Any]:
        return {**body, secret: None} if secret in body else body

    try:
        return page_of(made=once_a_form(request, perform, kept))
    except Problem as problem:
        return page_of(problem=problem)


def acted(request: HttpRequest, perform: Callable[[Act], Done], *, to: str) -> HttpResponse:
    """Do the act of a form, say so on the next page, and go there (where `Done` names no other).
    Raises the Problem that kept it from being done."""
    done = once_a_form(request, lambda act: asdict(perform(act)))
    say(request, done["says"], done["entry"])
    return redirect(done["to"] or to)


def say(request: HttpRequest, text: str, entry: int | None = None) -> None:
    """Have the next page say what was done, with *undo*: it is their own act, done just now."""
    messages.success(request, text, extra_tags=f"undo-{entry}" if entry is not None else "")


def back_to(request: HttpRequest, otherwise: str) -> str:
    """Where the form asked to go afterwards, if that is an address of ours."""
    to = request.POST.get("to", "") or request.GET.get("to", "")
    return to if to.startswith("/") and not to.startswith(("//", "/\\")) else otherwise


def _content(request: HttpRequest) -> dict[str, Any]:
    content: dict[str, Any] = {
        name: values for name, values in request.POST.lists() if name not in NOT_CONTENT
    }
    for name, files in request.FILES.lists():
        content[name] = {"sha256": hashlib.sha256(b"".join(files[-1].chunks())).hexdigest()}
        files[-1].seek(0)
    return content
