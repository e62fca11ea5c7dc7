"""Scanning by hand, by USB scanner, by photo and by camera: one form, one answer.

The camera's script reads frames through the API and sends what was read through this same form,
so that the page is the same however a label came in, and works without the script.

In the common case there is no mode to choose. A kit brings up its trip and guide; the guide's tag,
scanned before or after it, takes it out without a tap. What was scanned last waits for a moment
(`PATIENCE`) in hidden fields of the form. A chosen mode stays: what it waits for (the guide who
takes many kits, the shelf that is filled or counted) waits as long.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from gearroom.core import clock
from gearroom.core.acts.act import Act, Actor
from gearroom.core.acts.idempotency import KEPT
from gearroom.core.acts.problems import Invalid, NotFound, PersonNeeded, PinNeeded, Problem
from gearroom.core.models import Person
from gearroom.core.services.people import people
from gearroom.site.http.middleware import reads_labels
from gearroom.site.web.page.act_forms import backdated, new_person
from gearroom.site.web.page.shell import actor, here, once_a_form, page, show
from gearroom.site.web.scan.recent import just_done
from kits.models import AsFound, Checkout
from kits.services.kits.history import MAY_BE_ANOTHER_KITS
from kits.services.lookup import find, holders
from kits.services.trips import due_times
from kits.services.trips.purpose import NOT_GIVEN
from labels.api.outcomes import shown
from labels.rules.codes.scans import QUESTIONS, Intent, Look, Means, typed_texts
from labels.rules.codes.typed import Kind, resolve
from labels.services.scan import scanning, views
from labels.services.scan.read_picture import look
from labels.services.scan.resolve import Meaning, meanings
from labels.services.scan.results import Ask

PATIENCE = timedelta(seconds=90)
"""How long a kit waits for its guide's tag, or a tag for its kit."""


@dataclass(frozen=True)
class Mode:
    """A way of going on from scan to scan, for whoever may do its use case; `says` what to scan."""

    label: str | Promise
    says: str | Promise = ""
    use_case: str = "identify"


MODES = {
    "next": Mode(_lazy("One after another")),
    "many": Mode(
        _lazy("Many kits to one guide"),
        _lazy("Scan the guide’s tag once, then one kit after another."),
        "check_out",
    ),
    "look": Mode(_lazy("Only look"), _lazy("Nothing is taken out or handed back by scanning.")),
    "receive": Mode(
        _lazy("Receive"), _lazy("Receiving: scan the shelf, then each pack."), "receive"
    ),
    "count": Mode(_lazy("Count"), _lazy("Counting: scan the shelf, kit or pouch."), "count"),
}
_INTENTS = {"receive": Intent.RECEIVE, "count": Intent.COUNT}
_LONGEST = 8000

_OFFERED = ("not-fit", "short-needs-a-reason")
"""Outcomes that say what settles them: whoever came for the kit waits for it, or for another."""

MENDED = ("checked", "added")
"""Outcomes after which a kit that was stopped may go."""


@dataclass(frozen=True)
class State:
    """What the form remembers from the scan before: whose tag (an id), which kit (its name), which
    shelf (an id), and the chosen mode."""

    holder: str = ""
    kit: str = ""
    mode: str = "next"
    shelf: str = ""


@reads_labels
@page("identify")
def scan(request: HttpRequest) -> HttpResponse:
    """The page, and each reading event sent by its form. An address with a text in it, as a label
    or a button has, shows what that is and writes nothing."""
    text = request.GET.get("text", "")
    if request.method != "POST" and not text:
        return _shown(request, State(mode=_mode(request, request.GET.get("mode", ""))), None)
    state = _state(request)
    if request.method != "POST":
        answer = _identified(request, typed_texts([text[:_LONGEST]]))
        return _shown(request, _after(state, answer), answer)
    try:
        seen = _seen(request)
        answer = once_a_form(request, lambda act: _done(request, act, seen, state), kept=_kept)
    except (PersonNeeded, PinNeeded):
        raise
    except Problem as problem:
        return _shown(request, state, None, problem)
    if request.POST.get("intent") and answer.get("holder"):  # they wait too, if it is elsewhere
        state = replace(state, holder=str(answer["holder"]))
    return _shown(request, _after(state, answer), answer)


def _modes(request: HttpRequest) -> dict[str, Mode]:
    may = actor(request).may
    return {name: mode for name, mode in MODES.items() if may(mode.use_case)}


def _mode(request: HttpRequest, said: str) -> str:
    return said if said in _modes(request) else "next"


def _state(request: HttpRequest) -> State:
    said = request.POST
    mode = _mode(request, said.get("mode", ""))
    if mode in _INTENTS:
        return State(mode=mode, shelf=said.get("waiting_shelf", ""))
    try:
        since = parse_datetime(said.get("since", ""))
    except ValueError:
        since = None
    if since is None or timezone.is_naive(since) or clock.now() - since > PATIENCE:
        kept = said.get("waiting_holder", "") if mode == "many" else ""
        return State(kept, "", mode)
    return State(said.get("waiting_holder", ""), said.get("waiting_kit", ""), mode)


def _seen(request: HttpRequest) -> Look:
    picture = request.FILES.get("image")
    if isinstance(picture, UploadedFile) and picture.size:
        found = look(picture.read())
        picture.seek(0)
        return found
    texts = [text[:_LONGEST] for text in request.POST.getlist("text") if text.strip()]
    if not texts:
        raise Invalid(
            _("There is nothing to read yet. Scan a label, take a photo of it, or type its code.")
        )
    return typed_texts(texts[: scanning.MOST_LABELS])


def _identified(request: HttpRequest, seen: Look) -> dict[str, Any]:
    return shown(scanning.identify(Act(actor=actor(request), room=here(request)), seen))


def _done(request: HttpRequest, act: Act, seen: Look, state: State) -> dict[str, Any]:
    """Do what the form asks with what was read, or what is plainly meant."""
    if request.POST.get("intent"):
        ask = _asked(request, act)
    else:
        seen, ask = _meant(act, seen, state)
    act = backdated(act, request.POST, views.today_for(act))
    answer = scanning.scan(act, seen, ask)
    if answer.stop is not None:
        raise answer.stop
    return {**shown(answer), "holder": ask.holder.pk if ask.holder else None}


def _kept(answer: dict[str, Any]) -> dict[str, Any] | None:
    """What may be kept of an answer: nothing where it only asked, or what it asked was wrong."""
    outcomes = answer["outcomes"]
    problem = outcomes[0]["problem"] if len(outcomes) == 1 else None
    asks = answer["intent"] in QUESTIONS or (problem and problem["status"] not in KEPT)
    return None if asks else answer


def _asked(request: HttpRequest, act: Act) -> Ask:
    """What a button of an answer says."""
    said = request.POST
    holder = said.get("holder", "").strip()
    try:
        intent = Intent(said["intent"])
        as_found = AsFound(said.get("as_found") or AsFound.SORT_LATER)
        due_at = parse_datetime(said.get("due_at", ""))
        line = int(said["line"][:18]) if said.get("line") else None
        through = date.fromisoformat(said["through"]) if said.get("through") else None
    except ValueError:
        raise Invalid(_("This form did not come from this page. Load the page again.")) from None
    if due_at is not None and timezone.is_naive(due_at):
        due_at = due_at.replace(tzinfo=ZoneInfo(views.today_for(act)))
    new = new_person(act, said)
    return Ask(
        intent=intent,
        holder=find.person(act.actor, _code_in(holder)) if holder and new is None else new,
        trip=find.trip(act.actor, said["trip"]) if said.get("trip") else NOT_GIVEN,
        due_at=due_at or NOT_GIVEN,
        short_reason=said.get("short_reason", "").strip()[:300],
        cleared_by=find.person(act.actor, said["cleared_by"]) if said.get("cleared_by") else None,
        line=line,
        through=through,
        take_reason=said.get("take_reason", "").strip()[:300],
        swap=bool(said.get("swap")),
        emergency=bool(said.get("emergency")),
        already_gone=bool(said.get("occurred_at")) and intent == Intent.CHECK_OUT,
        as_found=as_found,
        wet=bool(said.get("wet")),
    )


def _meant(act: Act, seen: Look, state: State) -> tuple[Look, Ask]:
    """What somebody wants who scans and presses nothing."""
    if state.mode == "look":
        return seen, Ask()
    if state.mode in _INTENTS:
        place = find.place(act.actor, state.shelf) if state.shelf else None
        return seen, Ask(_INTENTS[state.mode], place=place)
    found = meanings(act.actor, seen.seen, today=clock.today(views.today_for(act)))
    kits_in = [m for m in found if m.means == Means.KIT and not _is_out(m)]
    tags = [m for m in found if m.means == Means.PERSON]
    if len(tags) == 1 and not kits_in and state.kit and len(found) == 1:
        tag = tags[0]
        assert tag.label is not None and tag.label.person is not None  # PERSON says so
        out = Ask(Intent.CHECK_OUT, holder=tag.label.person)
        return typed_texts([state.kit]), out
    holder = _holder(act.actor, state)
    if kits_in and len(kits_in) == len(found) and holder is not None:
        return seen, Ask(Intent.CHECK_OUT, holder=holder)
    if kits_in and len(tags) == 1 and len(found) == len(kits_in) + 1:
        return seen, Ask(Intent.CHECK_OUT)
    if tags and len(tags) == len(found):
        return seen, Ask(Intent.CHECK_OUT)  # says whose tag it is, and waits for the kit
    return seen, Ask()


def _holder(who: Actor, state: State) -> Person | None:
    """Who waits for the next kit, as long as they may be seen."""
    try:
        return find.person(who, state.holder) if state.holder else None
    except NotFound:
        return None


def _is_out(meaning: Meaning) -> bool:
    return meaning.kit is not None and holders.open_checkout(meaning.kit) is not None


def _code_in(text: str) -> str:
    typed = resolve(text, today=clock.now().date())
    return typed.code if typed.kind == Kind.OWN and typed.code else text


def _after(state: State, answer: dict[str, Any]) -> State:
    """What waits for the next scan."""
    outcomes = answer["outcomes"]
    if state.mode in _INTENTS:
        places = [each["shelf"] or each["section"] for each in outcomes]
        named = [place for place in places if place]
        return replace(state, shelf=str(named[-1]["id"]) if named else state.shelf)
    tags = [each["person"] for each in outcomes if each["outcome"] in ("holder",)]
    took = any(each["outcome"] == "taken-out" for each in outcomes)
    if state.mode == "many" and (took or not tags):
        return State(state.holder, "", state.mode)
    if len(tags) == 1 and not took:
        return State(str(tags[0]["id"]), "", state.mode)
    checked = next((e["kit"] for e in outcomes if e["kit"] and e["outcome"] in MENDED), None)
    if checked is not None:  # whoever waited for it waits on, and takes it by one tap
        return State(state.holder, checked["name"], state.mode)
    kits = [each["kit"] for each in outcomes if each["kit"] and each["outcome"] == "identified"]
    if len(kits) == 1 and not kits[0]["out_since"]:
        return State("", kits[0]["name"], state.mode)
    # Somebody else has what the guide came for: it is taken back first, and the guide waits.
    refused = next((each["problem"] for each in outcomes if each["outcome"] == "kit-is-out"), None)
    if refused is not None:
        return State(state.holder or str(refused["person"] or ""), mode=state.mode)
    stopped = (kits and kits[0]["out_since"]) or any(
        each["outcome"] in ("handed-back", *_OFFERED) for each in outcomes
    )
    return State(state.holder if stopped else "", mode=state.mode)


def _same_trip(outcome: dict[str, Any], holder: Person) -> int | None:
    """The trip that a kit just handed back was out for with the very person who waits for it."""
    held = Checkout.objects.filter(
        closed_by=outcome["entry"]["id"], person=holder, trip__isnull=False
    ).first()
    return held.trip_id if held is not None else None


def _shown(
    request: HttpRequest,
    state: State,
    answer: dict[str, Any] | None,
    problem: Problem | None = None,
) -> HttpResponse:
    part = "HX-Request" in request.headers
    who = actor(request)
    facts: dict[str, Any] = {
        "state": state,
        "since": clock.now().isoformat(),
        "holder": _holder(who, state),
        "shelf": find.place(who, state.shelf) if state.shelf else None,
        "outcomes": [_for_people(each, state) for each in answer["outcomes"]] if answer else [],
        "problem": problem,
        "modes": _modes(request),
        "mode_says": MODES[state.mode].says,
        "just_done": just_done(who),
        "may_be_another": MAY_BE_ANOTHER_KITS,
        "may_ask": who.may("see_people"),
        "waiting": None,
    }
    for each in facts["outcomes"]:
        if each["kit"] and each["kit"]["name"] == state.kit:
            facts["waiting"] = each["kit"]
        each["mended"] = each["outcome"] in MENDED
        if each["kit"] and each["kit"]["out_since"]:
            held = holders.open_checkout(find.kit(who, each["kit"]["name"]))
            each["due"] = due_times.due(who, held) if held else None
        if each["outcome"] == "handed-back" and facts["holder"]:
            each["trip_again"] = _same_trip(each, facts["holder"])
    if any(
        each["may_have_gone"] or any(step["who"] for step in each["steps"])
        for each in facts["outcomes"]
    ):
        facts["people"] = people.may_take(who)
        facts["may_add"] = who.may("add_holder")
    template = "site/scan/answer.html" if part else "site/scan/scan.html"
    status = problem.status if problem and not part else 200
    return show(request, template, facts, status=status)


def _for_people(outcome: dict[str, Any], state: State) -> dict[str, Any]:
    """An outcome with what can be done next apart: by scanning on, and by other pages."""
    kit = outcome["kit"]
    steps = [
        {**step, "who": _takes_somebody(step)}
        for step in outcome["next"]
        if "intent" in step["fields"]
    ]
    if kit and kit["out_since"]:  # three ways of handing back have a form of their own
        steps = [step for step in steps if step["fields"]["intent"] != "check-in"]
    if outcome["outcome"] == "kit-is-out":  # taking it out comes up once it is handed back
        steps = [step for step in steps if step["fields"]["intent"] != "check-out"]
    pages = {step["do"] for step in outcome["next"]} & {"restock", "log-use", "look-inside"}
    text = outcome["label"] or (kit["name"] if kit else outcome["read"]["text"])
    others = [step for step in outcome["next"] if "intent" not in step["fields"]]
    gone = bool(kit) and not kit["out_since"] and outcome["outcome"] != "handed-back"
    links = dict(_link(outcome, step, state) for step in others if step["do"] in _LINKED)
    return {
        **outcome,
        "steps": steps,
        "pages": pages,
        "text": text,
        "links": links,
        "may_have_gone": gone,
    }


def _takes_somebody(step: dict[str, Any]) -> bool:
    """Whether a step takes a kit out, by itself and to whom may be chosen."""
    said = step["fields"]
    out = said["intent"] == "check-out" and "text" not in step["needs"]
    return out and not said.get("holder") and not said.get("emergency")


_LINKED = ("receive", "count", "count-kit", "bind")


def _link(outcome: dict[str, Any], step: dict[str, Any], state: State) -> tuple[str, str]:
    """The page on which a step of receiving, counting or binding is taken, and its name."""
    fields = step["fields"]
    if step["do"] == "receive":
        said = {"shelf": state.shelf} if state.shelf else {}
        known = {"item": fields["item"]} if outcome["label"] else {"text": outcome["read"]["text"]}
        return reverse("receive") + "?" + urlencode({**known, **said}), step["says"]
    if step["do"] == "count-kit":
        return reverse("kit-count", args=[step["about"]]), step["says"]
    if step["do"] == "bind":
        return reverse("bind-label", args=[step["about"]]), step["says"]
    shelf = fields.get("shelf")
    return reverse("count-shelf", args=[shelf]) if shelf else reverse("count"), step["says"]
