"""A new kit list like a version of another, except for some lines."""

from collections.abc import Sequence

from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Problem
from gearroom.site.web.lists.packing_lists import address
from gearroom.site.web.page import (
    Done,
    PageForm,
    ShortText,
    WholeNumber,
    form_view,
    read_field,
    show,
)
from kits.models import Item
from kits.services.lists import changes, drafts
from kits.services.lists.changes import Changes, Numbers
from kits.services.lists.drafts import SectionDraft
from kits.services.lists.packing_lists import version_of
from kits.services.lookup import find
from kits.services.text.planning import draft_texts

MORE_ROWS = range(1, 4)
"""So many items besides can be added here; the draft takes more."""


class NumbersForm(PageForm):
    """How many a line carries, and its minimum."""

    carry = WholeNumber()
    never = WholeNumber(required=False, initial=0)


def _row(section: SectionDraft, item: Item) -> str:
    """What ends the names of a line's inputs."""
    return f"{section.key}-{item.pk}"


def _page(
    request: HttpRequest, id: int, number: int, problem: Problem | None = None
) -> HttpResponse:
    version, sent = version_of(id, number), request.POST
    sections = [
        (section, [(line, *_shown(sent, section, line)) for line in section.lines])
        for section in drafts.draft_of(version).sections
    ]
    return show(
        request,
        "site/lists/copy.html",
        problem=problem,
        version=version,
        version_name=draft_texts.version(version),
        sections=sections,
        more=[
            (row, sent.get(f"thing-{row}", ""), sent.get(f"units-{row}", "")) for row in MORE_ROWS
        ],
        name=sent.get("name", ""),
        things=Item.objects.active().values_list("name", flat=True),
    )


def _shown(sent: QueryDict, section: SectionDraft, line: drafts.LineDraft) -> tuple[str, str, str]:
    """The end of a line's inputs, and what they hold: as sent, else as the list has it. What is
    retired isn't put on a new list."""
    row = _row(section, line.item)
    retired = line.item.retired_on is not None
    carry, never = (0, 0) if retired else (line.carry, line.never_below)
    return row, sent.get(f"carry-{row}", str(carry)), sent.get(f"never-{row}", str(never))


@form_view("edit_list", "list-copy", page_of=_page)
def copy(act: Act, request: HttpRequest, id: int, number: int) -> Done:
    """Make a new list like this version, with other numbers, without some items, with others."""
    version, sent = version_of(id, number), request.POST
    said = Changes(_numbers(sent, drafts.draft_of(version).sections), _more(sent), _("Other items"))
    name = read_field(ShortText(80), sent, "name")
    made = changes.make_like(act, version, name=name, changes=said)
    return Done(draft_texts.made(made), to=address("list-edit", made))


def _numbers(sent: QueryDict, sections: Sequence[SectionDraft]) -> dict[tuple[str, int], Numbers]:
    """The numbers of the lines that were sent. Raises Invalid."""
    labels = {"carry": _("%(thing)s, number to carry"), "never": _("%(thing)s, minimum")}
    found = {}
    for section in sections:
        for line in section.lines:
            row, thing = _row(section, line.item), {"thing": line.item.name}
            if f"carry-{row}" in sent:
                named = {field: label % thing for field, label in labels.items()}
                values = NumbersForm.read(sent, row=row, labels=named)
                found[section.key, line.item.pk] = Numbers(values["carry"], values["never"])
    return found


def _more(sent: QueryDict) -> dict[Item, int]:
    """The items that are carried besides. Raises Invalid, NotFound."""
    found: dict[Item, int] = {}
    for row in MORE_ROWS:
        if name := read_field(ShortText(120), sent, f"thing-{row}"):
            label = _("%(thing)s, number to carry") % {"thing": name}
            units = read_field(WholeNumber(least=1, label=label), sent, f"units-{row}")
            item = find.item(name)
            found[item] = found.get(item, 0) + units
    return found
