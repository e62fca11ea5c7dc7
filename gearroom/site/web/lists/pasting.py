"""Lines pasted from anywhere: matched with items, put right by hand, and made a draft."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils.translation import gettext as _, gettext_lazy

from gearroom.core.acts import Act, Invalid, Problem
from gearroom.site.web.lists.packing_lists import address
from gearroom.site.web.page import (
    Done,
    PageForm,
    ShortText,
    WholeNumber,
    acted,
    id_of,
    page,
    read_field,
    show,
)
from kits.models import Item, PackingList, PackingListVersion
from kits.services.lists import changes, drafts, pasting
from kits.services.lists.changes import Changes
from kits.services.lists.drafts import Draft
from kits.services.lists.pasting import Candidates
from kits.services.lookup import find
from kits.services.text.planning import draft_texts

LEAVE_OUT = ""


@dataclass(frozen=True)
class Row:
    """A pasted line with what its inputs hold: an item (its number, or LEAVE_OUT), another by name,
    how many."""

    at: int
    of: Candidates
    item: str
    other: str
    units: str


def _rows(sent: QueryDict) -> list[Row]:
    """A row of each pasted line; as it was sent, else with the likeliest item. Raises Invalid."""
    rows = []
    for at, of in enumerate(pasting.candidates(sent.get("text", ""))):
        item = str(of.best.pk) if of.best else LEAVE_OUT
        rows.append(
            Row(
                at,
                of,
                sent.get(f"item-{at}", item),
                sent.get(f"other-{at}", ""),
                sent.get(f"units-{at}", str(of.line.units or 1)),
            )
        )
    return rows


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    sent, rows = request.POST, list[Row]()
    if "text" in sent:
        try:
            rows = _rows(sent)
        except Invalid as wrong:
            problem = problem or wrong
    return show(
        request,
        "site/lists/pasting/pasting.html",
        problem=problem,
        text=sent.get("text", ""),
        rows=rows,
        without=sum(not row.item and not row.other for row in rows),
        lists=PackingList.objects.order_by("name"),
        things=Item.objects.active().values_list("name", flat=True) if rows else (),
        values=sent,
    )


@page("edit_list")
def paste(request: HttpRequest) -> HttpResponse:
    """Paste lines; see which items they are; make them a draft. Only the last is an act."""
    if "make" not in request.POST:
        return _page(request)
    try:
        return acted(request, lambda act: _make(act, request.POST), to="")
    except Problem as problem:
        return _page(request, problem)


class NewListForm(PageForm):
    """A new list of what was pasted."""

    name = ShortText(80)
    people = WholeNumber(least=1, most=drafts.MOST_PEOPLE, label=gettext_lazy("People"))
    days = WholeNumber(least=1, most=drafts.MOST_DAYS, label=gettext_lazy("Days"))


def _make(act: Act, sent: QueryDict) -> Done:
    rows = _rows(sent)
    said = Changes({}, _more(rows, sent), _("Contents"))
    made = _next(act, sent, said) if sent["make"] == "next" else _new(act, sent, said)
    left_out = [row.of.line.text for row in rows if not row.item and not row.other.strip()]
    left = _("Left out: %(lines)s.") % {"lines": "; ".join(left_out)} if left_out else ""
    return Done(f"{draft_texts.made(made)} {left}".strip(), to=address("list-edit", made))


def _next(act: Act, sent: QueryDict, said: Changes) -> PackingListVersion:
    of = PackingList.objects.filter(pk=id_of(sent.get("list", "")) or 0).first()
    if of is None:
        raise Invalid(_("Choose a kit list from the list."), field="list")
    return changes.make_next(act, of, said)


def _new(act: Act, sent: QueryDict, said: Changes) -> PackingListVersion:
    values = NewListForm.read(sent)
    draft = changes.changed(Draft(values["people"], values["days"]), said)
    return drafts.make_list(act, name=values["name"], draft=draft)


def _more(rows: Sequence[Row], sent: QueryDict) -> dict[Item, int]:
    """How many of each item the lines come to. Raises Invalid, NotFound."""
    found: dict[Item, int] = {}
    for row in rows:
        if name := row.other.strip() or row.item:
            item = find.item(name)
            label = _("%(thing)s, number to carry") % {"thing": item.name}
            units = read_field(WholeNumber(least=1, label=label), {"": row.units}, "")
            found[item] = found.get(item, 0) + units
    if not found:
        raise Invalid(_("Choose an item for at least one line."), field="item-0")
    return found
