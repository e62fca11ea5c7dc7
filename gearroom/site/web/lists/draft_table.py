"""A draft of a kit list on its page: one table, edited whole and saved at once.

Every button but those that save sends the whole table and gets it back changed, with nothing
written; where scripts run, moving, adding and removing rows need no sending.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from django.http import HttpRequest, HttpResponse, QueryDict
from django.utils.translation import gettext as _

from gearroom.core.acts import Act, Invalid, Problem, Stale
from gearroom.core.services.people import people
from gearroom.site.web.lists.packing_lists import address, kits_of_list, substitutes
from gearroom.site.web.lists.table_draft import WrongRows, draft_from
from gearroom.site.web.lists.table_form import NEW_LINE, packed, sent_table, unpacked
from gearroom.site.web.page import Done, acted, actor, id_of, page, show, words
from gearroom.site.web.planning import fits
from kits.models import Activity, Item, Need, PackingListVersion, Substitute
from kits.rules.lists import table as rules
from kits.rules.lists.table import NEW, Row, Table
from kits.services.ledger import hazards_covered
from kits.services.lists import draft_table, drafts, packing_lists, pasting
from kits.services.lists.packing_lists import version_of
from kits.services.text.planning import not_carried_texts

_SAVES = ("", "save", "view", "instead")


# ------------------------------------------------------------------------------------ what is shown
@dataclass(frozen=True)
class ShownRow:
    """A row with what a page says beside it: what is wrong (`says`), what can be used instead;
    `unknown`: no item is called so, but perhaps one of `like` is meant."""

    row: Row
    says: Sequence[str] = ()
    instead: Sequence[Substitute] = ()
    unknown: bool = False
    like: Sequence[str] = ()


@dataclass(frozen=True)
class _Beside:
    """What rows of a table are shown with."""

    faults: Mapping[str, Sequence[str]]
    names: Mapping[int, str]
    instead: Mapping[str, Sequence[Substitute]]

    def of(self, row: Row) -> ShownRow:
        name = str(row.values.get("item", "")).strip()
        known = {each.casefold() for each in self.names.values()}
        unknown = bool(name) and not row.gone and name.casefold() not in known
        return ShownRow(
            row,
            self.faults.get(row.id, ()),
            self.instead.get(name.casefold(), ()),
            unknown,
            pasting.like(name, self.names) if unknown else (),
        )


def _page(
    request: HttpRequest,
    version: PackingListVersion,
    table: Table,
    *,
    read: Table | str,
    problem: Problem | None = None,
    focus: str = "",
) -> HttpResponse:
    who = actor(request)
    items = dict(Item.objects.active().values_list("pk", "name"))
    faults = problem.faults if isinstance(problem, WrongRows) else {}
    beside = _Beside(faults, items, _instead(table, items))
    groups = [
        (beside.of(group.head), [beside.of(row) for row in group.rows]) for group in table.groups
    ]
    return show(
        request,
        "site/lists/draft/draft.html",
        problem=problem,
        version=version,
        read=read if isinstance(read, str) else packed(read),
        facts=beside.of(table.facts),
        groups=groups,
        left_out=[beside.of(row) for row in table.left_out],
        empty=ShownRow(Row(f"{NEW}NEW", NEW_LINE)),
        faults=faults,
        focus=focus,
        make_all=request.POST.get("do") == "make-all",
        unknown=sum(shown.unknown for _head, rows in groups for shown in rows),
        sent=request.POST,
        things=items.values(),
        sources=_sources(version) if version.published_at is None else (),
        hazards=words.HAZARDS.items(),
        criticalities=words.CRITICALITIES.items(),
        kinds=words.ITEM_KINDS.items(),
        reasons=not_carried_texts.WHY.items(),
        needs=Need.objects.active(),
        activities=Activity.objects.filter(retired_on=None),
        people=people.choices(who),
        lacking=hazards_covered.lacking_needs(version),
        fit=fits.shown(version, kits_of_list(who, version.packing_list_id)),
        may_edit_items=who.may("edit_item"),
    )


def _instead(table: Table, items: Mapping[int, str]) -> dict[str, Sequence[Substitute]]:
    """What can be used instead of the table's items, by their names in small letters."""
    named = {str(row.values.get("item", "")).strip().casefold() for row in table.parts}
    pks = {pk: name.casefold() for pk, name in items.items() if name.casefold() in named}
    return {pks[pk]: rows for pk, rows in substitutes(pks).items()}


def _sources(version: PackingListVersion) -> list[tuple[PackingListVersion, Iterable[str]]]:
    """The newest version of every other list, and the names of its sections, to copy from."""
    newest = [list(each.versions.all())[-1] for each in packing_lists.all_lists()]
    others = [each.pk for each in newest if each.packing_list_id != version.packing_list_id]
    rows = packing_lists.all_versions().filter(pk__in=others).order_by("packing_list__name")
    return [(each, [section.name for section in each.sections.all()]) for each in rows]


# ------------------------------------------------------------------------------------ what is done
@page("edit_list")
def edit(request: HttpRequest, id: int, number: int) -> HttpResponse:
    """The table of a draft: shown, changed without saving, and saved."""
    version, sent = version_of(id, number), request.POST
    now = draft_table.table_of(drafts.draft_of(version))
    if request.method != "POST":
        return _page(request, version, now, read=now)
    table, do = sent_table(sent), sent.get("do", "")
    if do in _SAVES:
        return _saved(request, version, table, now)
    try:
        changed = _changed(table, do, sent)
    except Problem as problem:
        return _page(request, version, table, read=sent.get("read", ""), problem=problem)
    focus = next((row.id for row in _new_rows(changed, table)), "")
    return _page(request, version, changed, read=sent.get("read", ""), focus=focus)


def _saved(
    request: HttpRequest, version: PackingListVersion, table: Table, now: Table
) -> HttpResponse:
    sent = request.POST

    def perform(act: Act) -> Done:
        read = unpacked(sent.get("read", ""))
        draft_table.save(act, version, draft_from(act, table, sent), read=read)
        to = {"view": "list-version", "instead": "list-instead"}.get(sent.get("do", ""), "")
        return Done(_("The draft has been saved."), to=address(to or "list-edit", version))

    try:
        return acted(request, perform, to="")
    except Stale as problem:
        both = rules.merged(table, unpacked(sent.get("read", "")), now)
        return _page(request, version, both, read=now, problem=problem)
    except Problem as problem:
        return _page(request, version, table, read=sent.get("read", ""), problem=problem)


def _new_rows(after: Table, before: Table) -> Iterable[Row]:
    known = {row.id for row in before.parts}
    return [row for row in after.parts if row.id not in known]


def _changed(table: Table, do: str, sent: QueryDict) -> Table:
    """The table after a button that saves nothing. Raises Invalid."""
    what, _space, id = do.partition(" ")
    match what:
        case "up" | "down":
            return rules.moved(table, id, -1 if what == "up" else 1)
        case "remove" | "back":
            return rules.changed(table, id, lambda row: replace(row, gone=what == "remove"))
        case "row":
            return rules.with_row(table, id, NEW_LINE)
        case "section":
            return rules.with_group(table, {"name": "", "outside": ""}, NEW_LINE)
        case "out":
            return rules.with_left_out(table)
        case "paste":
            more = draft_table.pasted(sent.get("pasted", ""), _into(table))
            return rules.appended(table, more, again=True)
        case "copy":
            return rules.appended(table, _copied(sent.get("from", "")))
    return table


def _into(table: Table) -> str:
    """The section of what was pasted without one: the last, else a new one."""
    there = [group.name for group in table.groups if not group.head.gone and group.name]
    return there[-1] if there else _("Contents")


def _copied(choice: str) -> Table:
    """The lines of another list, or of a section of it."""
    pk, _dot, section = choice.partition(".")
    version = packing_lists.all_versions().filter(pk=id_of(pk) or 0).first()
    if version is None:
        raise Invalid(_("Choose a kit list to copy from."), field="from")
    table = draft_table.table_of(drafts.draft_of(version))
    if not section:
        return table
    groups = [group for group in table.groups if group.name == section]
    return Table(table.facts, tuple(groups))
