"""Scanning by hand, by USB scanner, by photo and by camera: one form, one answer.

The camera's script reads frames through the API and sends what was read through this same form,
so that the page is the same however a label came in, and works without the script.

In the common case there is no mode to choose. A kit brings up its trip and guide; the guide's tag,
scanned before or after it, takes it out without a tap (see `waiting`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from datetime import timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from gearroom.core import clock
from gearroom.core.acts import (
    NOT_GIVEN,
    Act,
    Actor,
    Invalid,
    NotFound,
    PersonNeeded,
    PinNeeded,
    Problem,
)
from gearroom.core.models import Person
from gearroom.core.services.idempotency import KEPT
from gearroom.core.services.people import people
from gearroom.site.http.middleware import reads_labels
from gearroom.site.web.page import (
    FOREIGN,
    MOST_ID,
    Choice,
    Day,
    Done,
    Moment,
    PageForm,
    ShortText,
    Tick,
    WholeNumber,
    acted,
    actor,
    back_to,
    backdated,
    form_view,
    here,
    is_offered,
    new_person,
    once_a_form,
    page,
    read_field,
    show,
)
from gearroom.site.web.scan.cards import (
    LOOK,
    MODES,
    State,
    after,
    card,
    mode_of,
    modes_of,
    state_of,
)
from gearroom.site.web.scan.pictures import picture_of
from kits.models import AsFound, Checkout, Entry, EntryKind
from kits.services.custody import wrong_kit
from kits.services.kits.history import MAY_BE_ANOTHER_KITS
from kits.services.ledger.undo import kit_summary, reversal
from kits.services.lookup import find, holders
from kits.services.text import irregular_texts
from kits.services.trips import due_times
from labels.rules.codes.scans import QUESTIONS, Intent, Means, Readings, typed_texts
from labels.services.scan import scanning, views
from labels.services.scan.read_picture import read
from labels.services.scan.resolve import code_in, meanings
from labels.services.scan.results import ScanAnswer, ScanRequest

_LONGEST = 8000


class AskForm(PageForm):
    """What a button of a card says."""

    intent = Choice(Intent)
    as_found = Choice(AsFound, required=False, initial=AsFound.SORT_LATER)
    due_at = Moment(required=False, message=FOREIGN)
    line = WholeNumber(required=False, most=MOST_ID, message=FOREIGN)
    through = Day(required=False, message=FOREIGN)
    short_reason = ShortText()
    take_reason = ShortText()
    swap = Tick()
    emergency = Tick()
    wet = Tick()


@reads_labels
@page("identify")
def scan(request: HttpRequest) -> HttpResponse:
    """The page, and each reading event sent by its form. An address with a text in it, as a label
    or a button has, shows what that is and writes nothing."""
    text = request.GET.get("text", "")
    state = state_of(request)
    if request.method == "POST":
        try:
            read = _read(request)
            answer = once_a_form(
                request,
                lambda act: _scan(request, act, read, state),
                kept=lambda result: result if result["keep"] else None,
            )
        except (PersonNeeded, PinNeeded):
            raise
        except Problem as problem:
            return _page(request, state, problem=problem)
        return _page(request, State(**answer.get("state", {})), answer.get("cards", ()))
    if not text:
        return _page(request, State(mode=mode_of(request, request.GET.get("mode", ""))))
    act = Act(actor=actor(request), room=here(request))
    result = _result(scanning.identify(act, typed_texts([text[:_LONGEST]])), state)
    return _page(request, State(**result["state"]), result["cards"])


def _read(request: HttpRequest) -> Readings:
    if picture := picture_of(request, "image"):
        return read(picture)
    texts = [text[:_LONGEST] for text in request.POST.getlist("text") if text.strip()]
    if not texts:
        raise Invalid(
            _(
                "Nothing has been scanned or entered yet. Scan a label, take a photo of it, or "
                "type its code."
            )
        )
    return typed_texts(texts[: scanning.MOST_LABELS])


def _scan(request: HttpRequest, act: Act, read: Readings, state: State) -> dict[str, Any]:
    """Do what the form asks with what was read, or what is plainly meant."""
    if request.POST.get("intent"):
        ask = _request_of_form(request, act)
        if ask.holder is not None:  # they wait too, if it is elsewhere
            state = replace(state, holder=str(ask.holder.pk))
    else:
        read, ask = _usual_request(act, read, state)
    act = backdated(act, request.POST, views.zone_for(act))
    answer = scanning.scan(act, read, ask)
    if answer.stop is not None:
        raise answer.stop
    return _result(answer, state)


def _result(answer: ScanAnswer, state: State) -> dict[str, Any]:
    """What the page shows, what waits then, and whether it may be kept: not where it only asked, or
    what it asked was wrong."""
    waits = after(state, answer)
    problem = answer.refusal.problem if answer.refusal else None
    asks = answer.intent in QUESTIONS or (problem is not None and problem.status not in KEPT)
    return {
        "cards": [card(outcome, waits.shelf) for outcome in answer.outcomes],
        "state": asdict(waits),
        "keep": not asks,
    }


def _request_of_form(request: HttpRequest, act: Act) -> ScanRequest:
    """What a button of a card asks for."""
    sent, who = request.POST, act.actor
    values = AskForm.read(sent, zone=views.zone_for(act))
    values["due_at"] = values["due_at"] or NOT_GIVEN
    holder = new_person(act, sent)
    if holder is None and (ref := sent.get("holder", "").strip()):
        holder = find.person(who, code_in(ref))
    return ScanRequest(
        **values,
        holder=holder,
        trip=find.trip(who, sent["trip"]) if sent.get("trip") else NOT_GIVEN,
        cleared_by=find.person(who, sent["cleared_by"]) if sent.get("cleared_by") else None,
        already_gone=bool(sent.get("occurred_at")) and values["intent"] == Intent.CHECK_OUT,
    )


def _usual_request(act: Act, read: Readings, state: State) -> tuple[Readings, ScanRequest]:
    """What somebody wants who scans and presses nothing."""
    if state.mode == LOOK:
        return read, ScanRequest()
    if state.intent is not None:
        place = find.place(act.actor, state.shelf) if state.shelf else None
        return read, ScanRequest(state.intent, place=place)
    every = meanings(act.actor, read.seen, today=clock.today(views.zone_for(act)))
    kits_in = [
        m for m in every if m.means == Means.KIT and not (m.kit and holders.open_checkout(m.kit))
    ]
    tags = [m.label.person for m in every if m.means == Means.PERSON and m.label]
    if len(tags) == len(every) == 1 and state.kit:
        return typed_texts([state.kit]), ScanRequest(Intent.CHECK_OUT, holder=tags[0])
    holder = _holder(act.actor, state)
    if kits_in and len(kits_in) == len(every) and holder is not None:
        return read, ScanRequest(Intent.CHECK_OUT, holder=holder)
    takes = kits_in and len(tags) == 1 and len(every) == len(kits_in) + 1
    if takes or (tags and len(tags) == len(every)):  # a tag alone waits for the kit
        return read, ScanRequest(Intent.CHECK_OUT)
    return read, ScanRequest()


def _holder(who: Actor, state: State) -> Person | None:
    """Who waits for the next kit, as long as they may be seen."""
    try:
        return find.person(who, state.holder) if state.holder else None
    except NotFound:
        return None


def _page(
    request: HttpRequest,
    state: State,
    cards: Sequence[dict[str, Any]] = (),
    problem: Problem | None = None,
) -> HttpResponse:
    who = actor(request)
    holder = _holder(who, state)
    kits = [each["kit"] for each in cards if each["kit"]]
    facts: dict[str, Any] = {
        "state": state,
        "since": clock.now().isoformat(),
        "holder": holder,
        "shelf": find.place(who, state.shelf) if state.shelf else None,
        "outcomes": [_offered(request, _with_changes_since(who, each, holder)) for each in cards],
        "modes": modes_of(request),
        "mode_says": MODES[state.mode].says,
        "just_done": just_done(who),
        "may_be_another": MAY_BE_ANOTHER_KITS,
        "may_ask": who.may("see_people"),
        "waiting": next((kit for kit in kits if kit["name"] == state.kit), None)
        if is_offered(request, "check_out")
        else None,
    }
    if any(each["may_have_gone"] or any(s["who"] for s in each["steps"]) for each in cards):
        facts["people"] = people.may_take(who)
        facts["may_add"] = who.may("add_holder")
    if "HX-Request" in request.headers:
        facts["in_place"] = True
        return show(request, "site/scan/answer.html", problem=problem, status=200, **facts)
    return show(request, "site/scan/scan.html", problem=problem, **facts)


def _offered(request: HttpRequest, outcome: dict[str, Any]) -> dict[str, Any]:
    """A card with the steps that its page offers: taking out takes somebody to take it."""
    if is_offered(request, "check_out"):
        return outcome
    steps = [each for each in outcome["steps"] if each["fields"].get("intent") != Intent.CHECK_OUT]
    return {**outcome, "steps": steps, "may_have_gone": False}


def _with_changes_since(who: Actor, kept: dict[str, Any], holder: Person | None) -> dict[str, Any]:
    """A card with what is so now: when its kit is due; the trip that a kit just handed back was out
    for with the very person who waits for it."""
    facts = dict(kept)
    if kept["kit"] and kept["kit"]["out_since"]:
        held = holders.open_checkout(find.kit(who, kept["kit"]["name"]))
        facts["due"] = due_times.due(who, held) if held else None
    if kept["handed_back"] and holder:
        facts["trip_again"] = (
            Checkout.objects.filter(closed_by=kept["entry"], person=holder, trip__isnull=False)
            .values_list("trip", flat=True)
            .first()
        )
    return facts


# ----------------------------------------------------------------------- what somebody did just now
_KINDS = (
    *MAY_BE_ANOTHER_KITS,
    EntryKind.USE,
    EntryKind.RESTOCK,
    EntryKind.RESEAL,
    EntryKind.LOOK_INSIDE,
    EntryKind.TAKE_OUT,
    EntryKind.WITHHOLD,
    EntryKind.RELEASE,
)
_SHIFT = timedelta(hours=4)
_MOST_KITS = 24
_MOST_CHANGES = 6


def just_done(actor: Actor, most: int = 10) -> list[Entry]:
    """The last acts of somebody on kits, newest first, without those that were put right."""
    return list(
        Entry.objects.filter(
            person=actor.person,
            kit__isnull=False,
            kind__in=_KINDS,
            part=0,  # an act is undone whole: what a hand-back wrote along with it goes with it
            reversed_by__isnull=True,
            recorded_at__gte=clock.now() - _SHIFT,
        )
        .select_related("kit__home_room", "trip")
        .prefetch_related("checkouts_opened__person")
        .order_by("-id")[:most]
    )


@page("take_back")
def undo(request: HttpRequest, entry: int) -> HttpResponse:
    """Put an act right by its reversal: one's own last act at once, any other after a look at what
    stands on it and what is so afterwards."""
    who, together = actor(request), "sure" in request.POST
    if request.method == "POST" and (together or reversal.is_own_last(who, entry)):
        try:
            return acted(
                request,
                lambda act: _undo(act, entry, request.POST),
                to=back_to(request, reverse("board")),
            )
        except Problem as refused:
            if not refused.facts.get("together"):
                raise
    named, would = reversal.preview(Act(actor=who, room=here(request)), entry)
    later = [kit_summary.act(each) for each in would.later]
    return show(
        request,
        "site/custody/undo.html",
        status=409 if together else 200,
        entry=named,
        says=kit_summary.act(named)["text"],
        later=later,
        changes=would.changes,
        through=later[-1]["entry"] if later else 0,
        anew=together,
        to=back_to(request, reverse("board")),
    )


def _undo(act: Act, entry: int, sent: Mapping[str, str]) -> Done:
    through = read_field(WholeNumber(required=False, most=MOST_ID), sent, "through")
    done = reversal.reverse(act, entry, together="sure" in sent, through=through)
    changes = [change.text for change in done.changes[:_MOST_CHANGES]]
    return Done(" ".join([_("Undone."), *changes]))


def _wrong_kit_page(
    request: HttpRequest, entry: int, problem: Problem | None = None
) -> HttpResponse:
    wrong, kit = wrong_kit.entry_and_kit(actor(request), entry)
    kits = wrong_kit.candidates(actor(request), wrong, kit)[:_MOST_KITS]
    return show(request, "site/custody/wrong_kit.html", problem=problem, entry=wrong, kits=kits)


@form_view("take_back", page_of=_wrong_kit_page)
def correct_kit(act: Act, request: HttpRequest, entry: int) -> Done:
    """Which kit it really was: the act moves to that one."""
    done = wrong_kit.correct_kit(
        act, entry, find.kit(act.actor, request.POST.get("kit", "").strip())
    )
    to, facts = back_to(request, reverse("scan")), {"kit": done.kit.name, "wrong": done.wrong.name}
    if done.entry is None:
        sentence = _(
            "%(wrong)s has been set back to how it was. %(kit)s already has a record of its "
            "own, which is kept."
        )
        return Done(sentence % facts, to=to)
    sentence = (
        _("Corrected: the kit was %(kit)s. %(wrong)s has been set back to how it was.") % facts
    )
    if done.entry.irregular:
        why = " ".join(map(irregular_texts.irregular, done.entry.irregular))
        sentence += f" {why} " + _("The keeper will be notified.")
    return Done(sentence, done.entry.pk, to)
