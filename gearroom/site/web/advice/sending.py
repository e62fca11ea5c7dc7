"""Advice as whoever may send it sees it: all of it, one draft to edit, sent copies."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import get_language, gettext as _, gettext_lazy

from gearroom.core import clock
from gearroom.core.acts import Act, Invalid, Problem
from gearroom.core.models.installation import current
from gearroom.site.web.page.form_acts import Done, shown_once
from gearroom.site.web.page.form_views import form_view
from gearroom.site.web.page.forms import (
    Day,
    Line as LineOfText,
    PageForm,
    ShortText,
    Tick,
    WholeNumber,
    read_field,
)
from gearroom.site.web.page.shell import actor, post_page, read_page, show
from kits.models import Advice, Item, Need
from kits.rules.planning.advice import State, latest_day
from kits.services.advice import document, drafts, links, register, sending
from kits.services.advice.drafts import Answers, Draft, Line, Omitted
from kits.services.lookup import find
from kits.services.planning.vocabulary import need_of
from kits.services.text.planning import advice_texts, rate_texts

_MARKS = {State.WAITING: "unset", State.DRAFT: "short", State.SENT: "ok", State.WITHDRAWN: "stop"}


class NewLineForm(PageForm):
    """A line that is added: an item by its name, or (of what is not carried) a need."""

    thing = ShortText(120)
    need = ShortText(40)


class SendForm(PageForm):
    """That a draft, as it was read, is sent."""

    revision = WholeNumber(least=1, label=gettext_lazy("Draft"))
    not_after = Day(required=False, label=gettext_lazy("Valid for trips up to"))
    duty = Tick()


# ----------------------------------------------------------------------------------- all of it
def _all(
    request: HttpRequest,
    problem: Problem | None = None,
    made: Mapping[str, Any] | None = None,
) -> HttpResponse:
    who = actor(request)
    rows = list(register.rows(who)[:_MOST])
    seen = set(find.people_of(who).values_list("pk", flat=True))
    return show(
        request,
        "site/advice/list.html",
        problem=problem,
        made=made,
        rows=[_row(row, row.made_by_id in seen) for row in rows],
    )


_MOST = 200


def _row(advice: Advice, is_visible: bool) -> dict[str, Any]:
    state = register.state_of(advice)
    copies = list(advice.copies.all())
    return {
        "advice": advice,
        "state": advice_texts.STATES[state],
        "mark": _MARKS[state],
        "trip": document.title(Answers(**advice.answers)) if advice.answers else "",
        "by": advice.made_by if is_visible else None,
        "copy": copies[-1] if copies else None,
    }


@read_page()
def all_advice(request: HttpRequest) -> HttpResponse:
    """All advice: waiting for answers, drafts, sent and withdrawn."""
    return _all(request)


@post_page()
def new_link(request: HttpRequest) -> HttpResponse:
    """Make a link, which is shown this once."""

    def perform(act: Act) -> dict[str, Any]:
        _made, link = links.make(act)
        path = reverse("trip-advice", args=[link])
        return {
            "address": current().public_url + path
            if current().public_url
            else request.build_absolute_uri(path)
        }

    return shown_once(request, perform, "address", lambda **facts: _all(request, **facts))


# ------------------------------------------------------------------------------------- a draft
@dataclass(frozen=True)
class Row:
    """A line as its form shows it: `name` ends the names of its inputs; a text by language, with
    the language's own name."""

    name: str
    what: str
    texts: list[tuple[str, str, str]]
    quantity: str = ""
    removed: bool = False


def _one(request: HttpRequest, id: int, problem: Problem | None = None) -> HttpResponse:
    who = actor(request)
    advice = register.get(who, id)
    state = register.state_of(advice)
    facts: dict[str, Any] = {}
    if state in (State.DRAFT, State.SENT):
        facts = _draft_facts(request, advice, problem)
    seen = set(find.people_of(who).values_list("pk", flat=True))
    return show(
        request,
        "site/advice/one.html",
        problem=problem,
        row=_row(advice, advice.made_by_id in seen),
        copies=list(advice.copies.all()),
        withdrawal=getattr(advice, "withdrawal", None),
        most_why=sending.MOST_WHY,
        described=document.described(Answers(**advice.answers)) if advice.answers else (),
        **facts,
    )


def _draft_facts(request: HttpRequest, advice: Advice, problem: Problem | None) -> dict[str, Any]:
    answers, draft = register.content(advice)
    sent = request.POST if problem and "save" in request.POST else None
    items = Item.objects.in_bulk([line.item for line in draft.all_lines if line.item])
    needs = {need.key: need for need in Need.objects.order_by("name")}
    today = clock.today(settings.TIME_ZONE)
    until = latest_day(today)
    return {
        "editable": True,
        "revision": sent.get("revision", "") if sent else advice.revision,
        "lines": [
            _shown(f"line-{line.item}", items[line.item].name, line, sent) for line in draft.lines
        ],
        "not_carried": [
            _shown(
                f"out-{line.item}" if line.item else f"out-{line.need}",
                items[line.item].name
                if line.item
                else rate_texts.word(needs[line.need or ""].name),
                line,
                sent,
            )
            for line in draft.not_carried
        ],
        "new": _new_texts("new", sent),
        "new_out": _new_texts("new-out", sent),
        "sent": sent or {},
        "things": Item.objects.active().exclude(kind="medicine").values_list("name", flat=True),
        "needs": needs.values(),
        "paper": document.preview(answers, draft, actor(request), not_after=until),
        "not_after": (today, until),
        "chosen_day": request.POST.get("not_after", "") if problem else until.isoformat(),
        "duty": advice_texts.DUTY,
        "most_reason": drafts.MOST_REASON,
        "most_units": drafts.MOST_UNITS,
    }


def _shown(name: str, what: str, line: Line | Omitted, sent: QueryDict | None) -> Row:
    return Row(
        name,
        what,
        [
            (f"reason-{language}-{name}", label, _sent(sent, f"reason-{language}-{name}",
             line.reason.get(language, "")))
            for language, label in settings.LANGUAGES
        ],
        _sent(sent, f"quantity-{name}", str(line.quantity)) if isinstance(line, Line) else "",
        sent is not None and f"remove-{name}" in sent,
    )  # fmt: skip


def _new_texts(name: str, sent: QueryDict | None) -> list[tuple[str, str, str]]:
    return [
        (f"reason-{language}-{name}", label, _sent(sent, f"reason-{language}-{name}", ""))
        for language, label in settings.LANGUAGES
    ]


def _sent(sent: QueryDict | None, name: str, otherwise: str) -> str:
    return otherwise if sent is None else sent.get(name, otherwise)


@form_view("look", "one-advice", page_of=_one)
def one(act: Act, request: HttpRequest, id: int) -> Done:
    """One piece of advice; what is sent gives its draft other lines."""
    advice = register.get(act.actor, id)
    _answers, draft = register.content(advice)
    sent = request.POST
    sending.edit(
        act,
        advice,
        revision=_revision(sent),
        lines=[*_lines(draft, sent), *_new_line(sent)],
        not_carried=[*_omitted(draft, sent), *_new_omitted(sent)],
    )
    return Done(_("The draft has been saved."))


def _revision(sent: QueryDict) -> int:
    number: int = read_field(
        WholeNumber(least=1, label=_("Draft"), message=_("Reload the page.")), sent, "revision"
    )
    return number


def _lines(draft: Draft, sent: QueryDict) -> Iterator[Line]:
    for line in draft.lines:
        name = f"line-{line.item}"
        if f"remove-{name}" not in sent:
            yield Line(line.item, _quantity(sent, name), _texts(sent, name))


def _omitted(draft: Draft, sent: QueryDict) -> Iterator[Omitted]:
    for line in draft.not_carried:
        name = f"out-{line.item}" if line.item else f"out-{line.need}"
        if f"remove-{name}" not in sent:
            yield Omitted(_texts(sent, name), line.item, line.need)


def _new_line(sent: QueryDict) -> Iterator[Line]:
    thing = NewLineForm.read(sent, row="new")["thing"]
    if thing:
        yield Line(find.item(thing).pk, _quantity(sent, "new"), _texts(sent, "new"))


def _new_omitted(sent: QueryDict) -> Iterator[Omitted]:
    values = NewLineForm.read(sent, row="new-out")
    if values["thing"] and values["need"]:
        raise Invalid(_("Choose an item or a need, not both."), field="thing-new-out")
    if values["thing"]:
        yield Omitted(_texts(sent, "new-out"), item=find.item(values["thing"]).pk)
    elif values["need"]:
        yield Omitted(_texts(sent, "new-out"), need=need_of(values["need"]).key)


def _quantity(sent: QueryDict, name: str) -> int:
    field = WholeNumber(least=1, most=drafts.MOST_UNITS, label=_("How many"))
    number: int = read_field(field, sent, f"quantity-{name}")
    return number


def _texts(sent: QueryDict, name: str) -> drafts.Texts:
    field = LineOfText(drafts.MOST_REASON, required=False)
    return {
        language: read_field(field, sent, f"reason-{language}-{name}")
        for language, _label in settings.LANGUAGES
    }


# --------------------------------------------------------------------- sending, withdrawing, copies
@form_view("look", "one-advice", refused=_one)
def send(act: Act, request: HttpRequest, id: int) -> Done:
    """Send the draft as it was read."""
    values = SendForm.read(request.POST)
    sending.send(
        act,
        register.get(act.actor, id),
        revision=values["revision"],
        not_after=values["not_after"],
        duty_confirmed=values["duty"],
    )
    return Done(_("Sent: the link now shows the answer."))


@form_view("look", "one-advice", refused=_one)
def withdraw(act: Act, request: HttpRequest, id: int) -> Done:
    """Withdraw it: its link says so from then on."""
    advice = register.get(act.actor, id)
    sending.withdraw(act, advice, reason=request.POST.get("reason", ""))
    return Done(_("Withdrawn: the link now says that this advice should no longer be used."))


@read_page()
def copy(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """An answer as it was sent."""
    found = register.copy(actor(request), id, number)
    return show(
        request,
        "site/advice/copy.html",
        copy=found,
        paper=document.page_of(found.text, get_language()),
    )
