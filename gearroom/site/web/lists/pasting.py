"""Lines pasted from anywhere: matched with items, put right by hand, and made a draft."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

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
from kits.models import Item, PackingList
from kits.services.lists import changes, drafts, pasting
from kits.services.lists.changes import Changes
from kits.services.lists.drafts import Draft
from kits.services.lists.pasting import Candidates
from kits.services.lookup import find
from kits.services.text.planning import draft_texts

CHOOSE, LEAVE_OUT = "", "out"
"""What a line's input holds where it is no item."""


@dataclass(frozen=True)
class Row:
    """A pasted line with what its inputs hold: an item (its number, CHOOSE or LEAVE_OUT), another
    by name, how many; `asked`: whether somebody was asked to choose an item and has not."""

    at: int
    of: Candidates
    item: str
    other: str
    units: str
    asked: bool

    @property
    def named(self) -> str:
        """The item that is chosen, by its number or its name; empty: none."""
        return self.other.strip() or ("" if self.item == LEAVE_OUT else self.item)

    @property
    def unchosen(self) -> bool:
        """Whether nobody chose an item, nor to leave the line out."""
        return not self.named and self.item == CHOOSE


def rows_of(sent: QueryDict) -> list[Row]:
    """A row of each pasted line; as it was sent, else with the likeliest item. Raises Invalid."""
    rows = []
    for at, of in enumerate(pasting.candidates(sent.get("text", ""))):
        item = str(of.best.pk) if of.best else CHOOSE
        rows.append(
            Row(
                at,
                of,
                sent.get(f"item-{at}", item),
                sent.get(f"other-{at}", ""),
                sent.get(f"units-{at}", str(of.line.units or 1)),
                f"asked-{at}" in sent,
            )
        )
    return rows


def _page(request: HttpRequest, problem: Problem | None = None) -> HttpResponse:
    sent, rows = request.POST, list[Row]()
    if "text" in sent:
        try:
            rows = rows_of(sent)
        except Invalid as wrong:
            problem = problem or wrong
    if isinstance(problem, Unchosen):
        rows = [replace(row, asked=row.unchosen) for row in rows]
    return show(
        request,
        "site/lists/pasting/pasting.html",
        problem=problem,
        text=sent.get("text", ""),
        rows=rows,
        without=sum(row.unchosen for row in rows),
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


class Unchosen(Invalid):
    """Lines without an item, that nobody was asked about."""


class NewListForm(PageForm):
    """A new list of what was pasted."""

    name = ShortText(80)
    people = WholeNumber(least=1, most=drafts.MOST_PEOPLE, label=gettext_lazy("People"))
    days = WholeNumber(least=1, most=drafts.MOST_DAYS, label=gettext_lazy("Days"))


def _make(act: Act, sent: QueryDict) -> Done:
    rows = rows_of(sent)
    more = _more(rows, sent)
    left = draft_texts.left_out_when_pasted([row.of.line.text for row in rows if not row.named])
    said = Changes({}, more, _("Contents"), pasting.as_elsewhere(more), left)
    if sent["make"] == "next":
        of = _list(sent)
        _ask(rows)
        made = changes.make_next(act, of, said)
    else:
        values = NewListForm.read(sent)
        _ask(rows)
        draft = changes.changed(Draft(values["people"], values["days"]), said)
        made = drafts.make_list(act, name=values["name"], draft=draft)
    return Done(f"{draft_texts.made(made)} {left}".strip(), to=address("list-edit", made))


def _ask(rows: Sequence[Row]) -> None:
    """Ask once about the lines for which nobody chose. Raises Unchosen."""
    unchosen = [row for row in rows if row.unchosen]
    if any(not row.asked for row in unchosen):
        says = draft_texts.without_item([row.of.line.text for row in unchosen])
        raise Unchosen(says, field=f"item-{unchosen[0].at}")


def _list(sent: QueryDict) -> PackingList:
    """The list that was chosen. Raises Invalid."""
    of = PackingList.objects.filter(pk=id_of(sent.get("list", "")) or 0).first()
    if of is None:
        raise Invalid(_("Choose a kit list from the list."), field="list")
    return of


def _more(rows: Sequence[Row], sent: QueryDict) -> dict[Item, int]:
    """How many of each item the lines come to. Raises Invalid, NotFound."""
    found: dict[Item, int] = {}
    for row in rows:
        if name := row.named:
            item = find.item(name)
            label = _("%(thing)s, number to carry") % {"thing": item.name}
            units = read_field(WholeNumber(least=1, label=label), {"": row.units}, "")
            found[item] = found.get(item, 0) + units
    if not found:
        raise Invalid(_("Choose an item for at least one line."), field="item-0")
    return found
